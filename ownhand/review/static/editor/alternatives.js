// What else could be: the tracer's other readings, and the other attempts mended alike.

import { get } from "../core/api.js";
import { button, h, plural, shown } from "../core/dom.js";
import { sketch } from "./strokes.js";

/** Fill `box` with the other readings; `take` is called with the number of the one that is chosen. */
export async function readingsList(box, attempt, take) {
  box.replaceChildren(h("p", { class: "hint" }, "Reading the ink again …"));
  try {
    const { readings } = await get("readings", { id: attempt.id });
    box.replaceChildren(
      readings.length ? "" : h("p", { class: "hint" }, "The tracer finds no stroke in this ink."),
      h("div", { class: "cards" }, readings.map((r, i) => h("div", { class: "card" }, sketch(attempt, r.lines, { width: 120, height: 110 }), h("span", {}, r.words), button("Take this one", () => take(i), { "aria-label": `Take ${r.words}` })))),
    );
  } catch (error) {
    box.replaceChildren(h("p", { class: "hint" }, error.message));
  }
}

/** Offer what would become of others; each that changes is ticked, and those that do not are listed with the reason.
 *
 * `card` gives the class of a card, its picture and its words; `name` what one that is left is called; `doing` what the
 * button says for a number of ticked ones; `goesOnWithNone` whether it can be pressed without any; `apply` is called
 * with their ids. */
function offerDialog({ id, title, hint, others, kind, card, name, doing, goesOnWithNone = false, apply }) {
  document.getElementById(id)?.remove();
  const changing = others.filter((o) => o.changes);
  const rest = others.filter((o) => !o.changes);
  const ticks = new Map();
  const chosen = () => [...ticks].filter(([, tick]) => tick.checked).map(([of]) => of);
  const go = button("", () => {
    dialog.close();
    apply(chosen());
  }, { class: "main" });
  const count = () => {
    const n = chosen().length;
    go.disabled = !n && !goesOnWithNone;
    go.textContent = doing(n);
  };
  const ticked = (o) => {
    const tick = h("input", { type: "checkbox", onchange: count });
    tick.checked = true;
    ticks.set(o.id, tick);
    const { look, picture, words } = card(o);
    return h("label", { class: look }, picture, h("span", {}, tick, ` ${words}`), h("span", { class: "hint" }, o.why));
  };
  const dialog = h(
    "dialog",
    { id, "aria-labelledby": `${id}-title` },
    h("h2", { id: `${id}-title` }, title(changing.length)),
    h("p", { class: "hint" }, hint),
    h("div", { class: "cards" }, changing.map(ticked)),
    rest.length ? h("details", {}, h("summary", {}, `${plural(rest.length, kind)} left as ${rest.length === 1 ? "it is" : "they are"}`), h("ul", {}, rest.map((o) => h("li", {}, `${name(o)}: ${o.why}`)))) : null,
    h("div", { class: "row dialog-end" }, changing.length || goesOnWithNone ? go : null, button("Leave it", () => dialog.close())),
  );
  count();
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

const those = (n) => (n === 1 ? "this one" : `these ${n}`);
const named = ({ char, number }) => `${shown(char)}, attempt ${number}`;

/** Show what mending alike would do; `apply` is called with the ids of the attempts that were left ticked. */
export function alikeDialog(attempt, others, apply) {
  offerDialog({
    id: "alike",
    title: (n) => (n ? `How ${plural(n, "other attempt")} would be written` : "No other attempt would change"),
    hint: `The ink stays as it is; only the strokes' number, order and direction follow attempt ${attempt.number}. All of it is one step, and can be undone. New sheets are read with this way of writing in mind.`,
    others,
    kind: "attempt",
    card: (o) => ({ look: "card", picture: sketch(o, o.lines, { width: 120, height: 110 }), words: named(o) }),
    name: named,
    doing: (n) => (n ? `Mend ${those(n)} alike, and remember` : "Only remember this way"),
    goesOnWithNone: true,
    apply,
  });
}

/** Show how the same pair of letters would be cut elsewhere; `apply` is called with the ids of those left ticked. */
export function cutsDialog(pair, others, apply) {
  const sketches = (letters) => letters.map((a) => sketch(a, a.lines, { width: 108, height: 110 }));
  offerDialog({
    id: "cuts",
    title: (n) => (n ? `How ${plural(n, "other pair")} ${pair} would be cut` : `No other pair ${pair} would change`),
    hint: "The lines stay as they are; only where the one letter ends and the next begins is moved. All of it is one step, and can be undone.",
    others,
    kind: "pair",
    card: ({ letters }) => ({ look: "card pair", picture: h("span", { class: "pair-letters" }, sketches(letters)), words: letters.map(named).join("; ") }),
    name: ({ letters }) => named(letters[0]),
    doing: (n) => `Cut ${those(n)} alike`,
    apply,
  });
}
