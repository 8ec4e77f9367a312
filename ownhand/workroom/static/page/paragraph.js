// How the paragraph stands in which the cursor is, and in which hand: marks at its beginning, as the command reads them.

import { h } from "../core/dom.js";
import { field, select } from "./fields.js";

const MARKS = /^(?:~in ([^\s~]{1,60}) +)?(?:~(left|centre|right) ?)?/;
const STANDS = [["", "as the rest"], ["left", "to the left"], ["centre", "in the middle"], ["right", "to the right"]];

/** The line of a text in which the cursor stands: where it begins, what its marks say, where they end. */
export function paragraphAt(text, at) {
  const from = text.lastIndexOf("\n", at - 1) + 1;
  const line = text.slice(from).split("\n", 1)[0];
  const [marks, hand = "", stands = ""] = MARKS.exec(line);
  return { from, marks, hand, stands };
}

/** The text with other marks before the paragraph in which the cursor stands. */
export function marked(text, at, { hand, stands }) {
  const { from, marks } = paragraphAt(text, at);
  const begin = `${hand ? `~in ${hand} ` : ""}${stands ? `~${stands} ` : ""}`;
  return { text: text.slice(0, from) + begin + text.slice(from + marks.length), at: Math.max(from, at + begin.length - marks.length) };
}

/** Choices for the paragraph under the cursor of a text field; folded until they are wanted. */
export function paragraphPart(desk, area) {
  const inside = h("div", { class: "row bottom" });
  const change = (changes) => {
    const is = paragraphAt(area.value, area.selectionStart);
    const done = marked(area.value, area.selectionStart, { ...is, ...changes });
    area.value = done.text;
    area.setSelectionRange(done.at, done.at);
    area.dispatchEvent(new Event("input"));
  };
  const draw = () => {
    if (!el.open || inside.contains(document.activeElement)) return;
    const { hand, stands } = paragraphAt(area.value, area.selectionStart);
    const { hands } = desk.told;
    const all = [["", "this hand"], ...hands.map((o) => [o.id, o.family]), ...(hand && !hands.some((o) => o.id === hand) ? [[hand, `${hand}: whose?`]] : [])];
    inside.replaceChildren(
      field("It stands", select(STANDS, stands, (v) => change({ stands: v }))),
      hands.length || hand ? field("Hand", select(all, hand, (v) => change({ hand: v }))) : "");
  };
  const el = h("details", { class: "more", ontoggle: draw }, h("summary", {}, "The paragraph at the cursor"), inside);
  for (const name of ["keyup", "click", "input"]) area.addEventListener(name, draw);
  return el;
}
