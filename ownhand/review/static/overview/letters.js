// All characters at a glance, each as a line of writing with its attempts on it; those to look at come first.

import { get, note, post, seen, stripOf } from "../core/api.js";
import { button, h, plural, say, shown } from "../core/dom.js";
import { attemptTo, takeIn } from "../core/router.js";
import { atRest, handsOff, inTurn } from "../core/action_queue.js";

const letterLink = (char, id = "") => `#letter/${encodeURIComponent(char)}${id ? `/${encodeURIComponent(id)}` : ""}`;

const STATES = { kept: "kept", "set aside": "set aside" };

export function stateOf(a) {
  if (a.verdict) return STATES[a.verdict];
  if (a.spoiled) return "spoiled by the writer";
  if (a.doubts.length && !a.settled) return "to look at";
  return a.mended ? "mended" : "";
}

export const MARKS = { kept: "✓", "set aside": "⊘", "to look at": "!", mended: "✎", "spoiled by the writer": "⊘" };

/** The ink of an attempt, standing on the line with its own size and place: a part of its character's strip. */
function standing(a) {
  const [x, width] = a.strip;
  return h("span", { class: "standing", style: { width: `${width}px`, backgroundImage: `url("${stripOf(a.asked)}")`, backgroundPosition: `${-x}px 0` } });
}

function reasons(c) {
  const open = c.attempts.filter((a) => a.doubts.length && !a.settled);
  const alike = new Map();
  for (const a of open) alike.set(a.doubts.join("; "), [...(alike.get(a.doubts.join("; ")) ?? []), a]);
  const links = (group) => group.map((a) => h("a", { href: letterLink(c.char, a.id) }, group.length > 1 ? `${a.number}` : `attempt ${a.number}`));
  const lines = [...alike].map(([why, group]) => h("li", {}, `${why[0].toUpperCase()}${why.slice(1)}: ${group.length > 1 ? "attempts " : ""}`, links(group)));
  return h("ul", { class: "why" }, lines.slice(0, 3), lines.length > 3 ? h("li", {}, `and ${lines.length - 3} more`) : null);
}

function line(c, keepAll) {
  const kept = c.attempts.filter((a) => a.verdict === "kept").length;
  const aside = c.attempts.filter((a) => a.verdict === "set aside" || a.spoiled).length;
  const facts = [plural(c.attempts.length, "attempt")];
  if (kept) facts.push(`${kept} kept`);
  if (aside) facts.push(`${aside} set aside`);
  if (c.known) facts.push("own way known");
  return h(
    "article",
    { class: c.open ? "line open" : "line", "data-char": c.char },
    h(
      "a",
      { class: "line-link", href: letterLink(c.char), "aria-label": `${c.name}, ${facts.join(", ")}${c.open ? `, ${c.open} to look at` : ""}` },
      h("span", { class: "printed", "aria-hidden": "true" }, shown(c.char)),
      h(
        "span",
        { class: "ruled", "aria-hidden": "true" },
        c.attempts.map((a) => {
          const state = stateOf(a);
          return h("span", { class: `on-line ${state.replaceAll(" ", "-")}` }, standing(a), h("span", { class: "mark" }, MARKS[state] ?? ""));
        }),
      ),
      h("span", { class: "facts", "aria-hidden": "true" }, facts.join(" · ")),
    ),
    c.open ? h("div", { class: "margin-note" }, reasons(c), button("These are fine", () => keepAll(c), { "aria-label": `Keep the doubtful attempts of ${c.name}` })) : null,
  );
}

let last = null;
let judged = "";

/** The characters that were to look at, in the order in which they were first told: later ones come after them. */
let firstOnes = [];

/** The list's own parts, made once: the field to find a letter stays, with what was typed, when the lines change. */
const head = h("div", {});
const lists = h("div", {});
const comparing = h("p", { class: "hint", role: "status" });
const find = h("input", { type: "search", id: "find", autocomplete: "off", spellcheck: "false" });
find.addEventListener("input", hideOthers);
const opening = h("div", { class: "opening" }, head, comparing, h("label", { class: "row find" }, h("span", {}, "Find a letter"), find));
const legend = h("p", { class: "hint legend" }, "! to look at   ✓ kept   ✎ mended   ⊘ set aside");

export async function showLetters(main, current) {
  const data = note(await get("letters"));
  await handsOff();
  if (!current()) return;
  if (opening.parentNode !== main) {
    find.value = "";
    firstOnes = firstOnes.filter((char) => data.characters.some((c) => c.char === char && c.open));
    main.replaceChildren(opening, lists, legend);
  }
  draw(data);
  if (judged === seen.read) return;
  judged = seen.read;
  if (data.characters.length) compare();
}

/** The builder compares attempts with each other; that takes longer than showing them. */
async function compare() {
  comparing.textContent = "The attempts are being compared with each other; more to look at may come, at the end of the first list.";
  try {
    const found = await get("judged");
    await handsOff();
    const before = last?.doubtful ?? 0;
    const more = found.doubtful - before;
    comparing.textContent = more > 0 ? `Compared with each other: ${plural(more, "more attempt")} to look at, at the end of the first list.` : "";
    if (lists.isConnected && atRest() && found.version === seen.version && more) draw(note(found));
  } catch {
    comparing.textContent = "";
  }
}

function hideOthers() {
  const wanted = find.value.trim().toLowerCase();
  for (const el of lists.querySelectorAll("article.line")) {
    const { char, name } = el.of;
    el.hidden = Boolean(wanted) && !(char.toLowerCase() === wanted || (wanted.length > 1 && name.includes(wanted)));
  }
}

async function keepAll(c) {
  const mends = c.attempts.filter((a) => a.doubts.length && !a.settled).map((a) => ({ attempt: a.id, do: "keep" }));
  note(await post("step", { mends, words: `'${c.char}': ${plural(mends.length, "doubtful attempt")} kept` }));
  say(`${plural(mends.length, "attempt")} of ${c.name} kept.`);
  forget();
  await takeIn();
}

/** A run of cells may hold what the cells beside them ask for: say yes, or keep the letters as they stand. */
function asked(run) {
  const letters = plural(run.letters.length, "letter");
  const answer = (mends, words) => inTurn(() => attemptTo(async () => {
    note(await post("step", { mends, words: `${run.where}: ${words}` }));
    say(`${letters}: ${words}.`);
    forget();
    await takeIn();
  }));
  return h(
    "section",
    { class: "slip", "aria-label": "Filled one cell off?" },
    h("p", {}, h("strong", {}, `${run.where}: filled one cell ${run.words}?`), ` ${letters} suit what the cells beside theirs ask for far better. They stay out of the font till you say: ${run.letters.slice(0, 12).map((l) => shown(l.char)).join(" ")}${run.letters.length > 12 ? " …" : ""}`),
    h(
      "div",
      { class: "row" },
      button("Yes, rename them", () => answer(run.letters.map((l) => ({ attempt: l.attempt, do: "relabel", char: l.char })), `filled one cell ${run.words}`), { class: "main" }),
      button("No, they stand right", () => answer(run.letters.map((l) => ({ attempt: l.attempt, do: "keep" })), "kept where they stand")),
    ),
  );
}

/** Draw the lines anew; the line under the person's eyes and the focus stay where they are. */
function draw(data) {
  last = data;
  document.title = `${data.family}: all letters`;
  const focused = lists.contains(document.activeElement) ? { char: document.activeElement.closest("article").of.char, href: document.activeElement.getAttribute("href") } : null;
  const eyed = scrollY ? [...lists.querySelectorAll("article.line")].find((el) => el.getBoundingClientRect().bottom > 0) : null;
  const top = eyed?.getBoundingClientRect().top;
  drawHead(data);
  drawLists(data);
  hideOthers();
  const lineOf = (char) => [...lists.querySelectorAll("article.line")].find((el) => el.of.char === char);
  if (eyed) scrollBy(0, (lineOf(eyed.of.char)?.getBoundingClientRect().top ?? top) - top);
  if (focused) {
    const there = lineOf(focused.char);
    const again = focused.href ? there?.querySelector(`[href="${CSS.escape(focused.href)}"]`) : there?.querySelector("button");
    (again ?? there?.querySelector("a"))?.focus({ preventScroll: true });
  }
}

function drawHead(data) {
  const n = data.characters.reduce((sum, c) => sum + c.attempts.length, 0);
  const left = data.doubtful - data.settled;
  head.replaceChildren(
    h("h1", {}, left ? `${plural(left, "attempt")} to look at` : n ? "Nothing left to look at" : "No letters yet"),
    h(
      "p",
      {},
      `${plural(n, "attempt")} at ${plural(data.characters.length, "character")}. `,
      !n ? "Nothing was read yet: fill in a sheet, scan it, and drop the scans in Reading (or read it with ownhand read)." : left ? "Open a letter to see its strokes and mend them; what is right needs nothing from you." : "Open any letter to see its strokes, or set a text in the Try-out.",
    ),
    ...data.one_off.map(asked),
    data.doubtful
      ? h("p", { class: "row" }, h("progress", { max: data.doubtful, value: data.settled, "aria-label": "Doubtful attempts settled" }), h("span", {}, `${data.settled} of ${data.doubtful} doubtful attempts settled`))
      : "",
  );
}

function drawLists(data) {
  const by = new Map(data.characters.map((c) => [c.char, c]));
  firstOnes.push(...data.characters.filter((c) => c.open && !firstOnes.includes(c.char)).map((c) => c.char));
  const first = firstOnes.filter((char) => by.has(char)).map((char) => by.get(char));
  const rest = data.characters.filter((c) => !firstOnes.includes(c.char));
  const made = (c) => Object.assign(line(c, (of) => inTurn(() => attemptTo(() => keepAll(of)))), { of: c });
  lists.replaceChildren(
    ...(first.length ? [h("section", { "aria-labelledby": "first" }, h("h2", { id: "first" }, "Look at these first"), h("div", { class: "line-list wide" }, first.map(made)))] : []),
    ...(rest.length ? [h("section", { "aria-labelledby": "rest" }, h("h2", { id: "rest" }, first.length ? "Nothing speaks against these" : "All letters"), h("div", { class: "line-list" }, rest.map(made)))] : []),
  );
}

/** The characters in the order of the page, for going on to the next. */
export async function order() {
  if (!last) last = note(await get("letters"));
  return last.characters;
}

export const forget = () => {
  last = null;
};

export { letterLink };
