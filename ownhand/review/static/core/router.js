// Which part of the page is shown; what goes wrong is told.

import { get, note, Refused } from "./api.js";
import { button, h, hush, toTheScans, warn } from "./dom.js";
import { dropWaiting, inTurn, setShown } from "./action_queue.js";

const main = document.getElementById("main");

const GONE = "The server does not answer. It was stopped, or the computer slept. What you did before is stored; start ownhand open again.";

/** By name: `show(main, current, ...rest of the address)`, and `leave()` where there is something to leave. */
const parts = {};

export const haveParts = (named) => Object.assign(parts, named);

let turn = 0;
let here = { name: "", place: "", address: null };

/**
 * Show the part that the address names; one that stands there already takes in how things stand now.
 *
 * A part asks `current()` after each wait: when the person went elsewhere meanwhile, it draws nothing.
 */
async function show() {
  const mine = ++turn;
  const current = () => mine === turn;
  const [part, ...rest] = location.hash.slice(1).split("/").map(decodeURIComponent);
  const name = Object.hasOwn(parts, part) ? part : "letters";
  const place = `${name}/${rest[0] ?? ""}`;
  const moved = here.place !== "" && here.place !== place;
  for (const link of document.querySelectorAll("[data-part]")) {
    if (link.dataset.part === (name === "letter" ? "letters" : name)) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  if (here.name !== name) parts[here.name]?.leave?.();
  here = { name, place, address: location.hash };
  setShown(false);
  if (moved) hush();
  try {
    await parts[name].show(main, current, ...rest);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    if (current()) refused(error);
  } finally {
    if (current()) setShown(true);
  }
  if (moved && current()) {
    scrollTo(0, 0);
    main.focus({ preventScroll: true });
  }
}

/** Say why a part cannot be shown: in its place, where nothing stands there yet. */
function refused(error) {
  const words = error.status === 0 ? GONE : error.message;
  if (!main.querySelector(".wait")) {
    warn(words);
    return;
  }
  const unread = error.status === 422;
  main.replaceChildren(h("div", { class: "wait", role: "alert" }, h("p", {}, words), h("p", {}, unread ? toTheScans() : ""), button("Try again", () => inTurn(takeIn))));
}

/** Show how things stand. Keys pressed meanwhile mean the letter that is coming; what takes long holds up nothing. */
export async function takeIn() {
  const shown = show();
  if (here.name === "letter") await shown;
}

/** Show what the address names, if it does not stand there yet, once all that was asked for before is done. */
export const follow = () => inTurn(() => (here.address === location.hash ? null : takeIn()));

/** Run something that talks to the server; what goes wrong is said, and the page shows how things stand. */
export async function attemptTo(act) {
  try {
    return await act();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    dropWaiting();
    warn(error.status === 0 ? GONE : error.message);
    if (error.status === 409) {
      note(error.body);
      await get("version").then(note, () => {});
      await takeIn();
    }
    return null;
  }
}
