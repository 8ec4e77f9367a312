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

/** Show what mending alike would do; `apply` is called with the ids of the attempts that were left ticked. */
export function alikeDialog(attempt, others, apply) {
  document.getElementById("alike")?.remove();
  const changing = others.filter((o) => o.changes);
  const rest = others.filter((o) => !o.changes);
  const ticks = new Map();
  const go = button("", () => {
    dialog.close();
    apply([...ticks].filter(([, tick]) => tick.checked).map(([id]) => id));
  }, { class: "main" });
  const count = () => {
    const n = [...ticks.values()].filter((t) => t.checked).length;
    go.textContent = n ? `Mend ${n === 1 ? "this one" : `these ${n}`} alike, and remember` : "Only remember this way";
  };
  const card = (o) => {
    const tick = h("input", { type: "checkbox", onchange: count });
    tick.checked = true;
    ticks.set(o.id, tick);
    return h("label", { class: "card" }, sketch(o, o.lines, { width: 120, height: 110 }), h("span", {}, tick, ` ${shown(o.char)}, attempt ${o.number}`), h("span", { class: "hint" }, o.why));
  };
  const dialog = h(
    "dialog",
    { id: "alike", "aria-labelledby": "alike-title" },
    h("h2", { id: "alike-title" }, changing.length ? `How ${plural(changing.length, "other attempt")} would be written` : "No other attempt would change"),
    h("p", { class: "hint" }, `The ink stays as it is; only the strokes' number, order and direction follow attempt ${attempt.number}. All of it is one step, and can be undone. New sheets are read with this way of writing in mind.`),
    h("div", { class: "cards" }, changing.map(card)),
    rest.length ? h("details", {}, h("summary", {}, `${plural(rest.length, "attempt")} left as ${rest.length === 1 ? "it is" : "they are"}`), h("ul", {}, rest.map((o) => h("li", {}, `${shown(o.char)}, attempt ${o.number}: ${o.why}`)))) : null,
    h("div", { class: "row dialog-end" }, go, button("Leave it", () => dialog.close())),
  );
  count();
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

/** Show how the same pair of letters would be cut elsewhere; `apply` is called with the ids of those left ticked. */
export function cutsDialog(pair, others, apply) {
  document.getElementById("cuts")?.remove();
  const changing = others.filter((o) => o.changes);
  const rest = others.filter((o) => !o.changes);
  const ticks = new Map();
  const chosen = () => [...ticks].filter(([, tick]) => tick.checked).map(([id]) => id);
  const go = button("", () => {
    dialog.close();
    apply(chosen());
  }, { class: "main" });
  const count = () => {
    const n = chosen().length;
    go.disabled = !n;
    go.textContent = `Cut ${n === 1 ? "this one" : `these ${n}`} alike`;
  };
  const card = (o) => {
    const tick = h("input", { type: "checkbox", onchange: count });
    tick.checked = true;
    ticks.set(o.id, tick);
    const [one, other] = o.letters;
    return h("label", { class: "card pair" }, h("span", { class: "pair-letters" }, o.letters.map((a) => sketch(a, a.lines, { width: 108, height: 110 }))), h("span", {}, tick, ` ${shown(one.char)}, attempt ${one.number}; ${shown(other.char)}, attempt ${other.number}`), h("span", { class: "hint" }, o.why));
  };
  const dialog = h(
    "dialog",
    { id: "cuts", "aria-labelledby": "cuts-title" },
    h("h2", { id: "cuts-title" }, changing.length ? `How ${plural(changing.length, "other pair")} ${pair} would be cut` : `No other pair ${pair} would change`),
    h("p", { class: "hint" }, "The lines stay as they are; only where the one letter ends and the next begins is moved. All of it is one step, and can be undone."),
    h("div", { class: "cards" }, changing.map(card)),
    rest.length ? h("details", {}, h("summary", {}, `${plural(rest.length, "pair")} left as ${rest.length === 1 ? "it is" : "they are"}`), h("ul", {}, rest.map((o) => h("li", {}, `${shown(o.letters[0].char)}, attempt ${o.letters[0].number}: ${o.why}`)))) : null,
    h("div", { class: "row dialog-end" }, changing.length ? go : null, button("Leave it", () => dialog.close())),
  );
  count();
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
