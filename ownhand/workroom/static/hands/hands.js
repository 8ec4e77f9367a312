// All hands in the folder, how far each is, and a new one.

import { get, post, Refused } from "../core/api.js";
import { h, plural, warn } from "../core/dom.js";
import { keepInSight } from "../core/in_sight.js";
import { caution, recordFields } from "./record.js";

const main = document.getElementById("main");

/** Where the work on a hand goes on: the first part of it that is not done. */
function next(hand) {
  if (!hand.sheets && !hand.pages_read) return ["sheet", "Plan its sheet"];
  if (!hand.pages_read) return ["reading", "Read its scans"];
  if (!hand.built) return ["letters", "Look through its letters"];
  return ["page", "Write a page"];
}

/** A hand in the list; where others are `alike` in name its folder tells which it is. */
function card(hand, alike) {
  if (hand.broken) return h("li", { class: "hand-card" }, h("h2", {}, hand.family), h("p", { class: "doubt" }, hand.broken));
  const [part, words] = next(hand);
  const facts = [plural(hand.sheets, "sheet"), `${plural(hand.pages_read, "page")} read`, hand.built ? "font built" : "no font yet"];
  return h(
    "li",
    { class: "hand-card" },
    h("h2", {}, h("a", { href: `hand/${hand.id}/#${part}` }, hand.family)),
    alike ? h("p", { class: "hint" }, `In the folder ${hand.folder.split(/[\\/]/).at(-1)}`) : null,
    h("p", {}, hand.writer ? `written by ${hand.writer}` : "no writer named"),
    h("p", { class: "hint" }, facts.join(" · ")),
    hand.stale.length && hand.built ? h("p", { class: "doubt" }, hand.stale[0].words) : null,
    h("p", {}, h("a", { href: `hand/${hand.id}/#${part}`, "aria-label": `${words}: ${hand.family}` }, words)),
  );
}

async function begin(event, fields) {
  event.preventDefault();
  const send = event.target.querySelector("button");
  send.disabled = true;
  try {
    const made = await post("hands/new", fields.read());
    location.assign(`hand/${made.id}/#sheet`);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    warn(error.message);
    send.disabled = false;
  }
}

async function show() {
  const fields = recordFields();
  const form = h(
    "form",
    { class: "slip new-hand", onsubmit: (event) => begin(event, fields), "aria-labelledby": "new-title" },
    h("h2", { id: "new-title" }, "A new hand"),
    fields.el,
    caution(),
    h("button", { type: "submit", class: "main" }, "Begin this hand"),
  );
  try {
    const { hands, folder } = await get("hands");
    main.replaceChildren(
      h("div", { class: "opening" }, h("h1", {}, hands.length ? plural(hands.length, "hand") : "No hand yet"), h("p", { class: "hint folder" }, `In the folder ${folder}`)),
      h("div", { class: "two-parts" }, hands.length ? h("ul", { class: "hand-list" }, hands.map((hand) => card(hand, hands.filter((other) => other.family === hand.family).length > 1))) : h("p", { class: "lead" }, "A hand is one person's writing: a sheet is printed, filled in, scanned and read, and becomes a font that a plotter writes with."), form),
    );
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    main.replaceChildren(h("p", { class: "wait" }, error.message));
  }
  main.setAttribute("aria-busy", "false");
}

keepInSight();
show();
