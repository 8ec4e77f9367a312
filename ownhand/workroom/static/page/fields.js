// The fields of settings: each with its label; what is left empty is left to its default.

import { h } from "../core/dom.js";

export const field = (label, el, more = "") => h("label", { class: `field ${more}` }, h("span", {}, label), el);

export const number = (value, change, attributes = {}) => h("input", { type: "number", step: 0.5, value: value ?? "", onchange: (e) => change(e.target.value === "" ? null : Number(e.target.value)), ...attributes });

export const select = (options, value, change, attributes = {}) => h("select", { onchange: (e) => change(e.target.value), ...attributes }, options.map(([v, l]) => h("option", { value: v, selected: String(v) === String(value) }, l)));

export const words = (value, change, attributes = {}) => h("input", { type: "text", value: value ?? "", onchange: (e) => change(e.target.value.trim()), ...attributes });

export function tick(on, label, change, attributes = {}) {
  const el = h("input", { type: "checkbox", onchange: (e) => change(e.target.checked), ...attributes });
  el.checked = Boolean(on);
  return h("label", { class: "tick" }, el, h("span", {}, label));
}

export const part = (title, open, ...inside) => h("details", { class: "slip setting", open }, h("summary", {}, title), h("div", { class: "stack" }, inside));

/** What only some need: folded inside a part, and left open when the part is drawn anew. */
export function more(title, within, ...inside) {
  const open = [...within.querySelectorAll("details.more[open] > summary")].some((s) => s.textContent === title);
  return h("details", { class: "more", open }, h("summary", { "data-act": `more-${title}` }, title), h("div", { class: "stack" }, inside));
}

/** The pens to choose from, by number and name. */
export const penChoice = (desk, pen, change, attributes = {}) => field("Pen", select((desk.layout.pens ?? [{}]).map((p, k) => [k + 1, `${k + 1}${p.name ? ` ${p.name}` : ""}`]), pen ?? 1, (v) => change(Number(v) === 1 ? null : Number(v)), attributes));

/** The hands to choose from; a name that a layout brought and that is no hand here can be told whose it is. */
export function handChoice(desk, name, change, attributes = {}) {
  const { hands } = desk.told;
  if (!hands.length && !name) return "";
  const strange = name && !hands.some((o) => o.id === name);
  const all = [["", "this hand"], ...hands.map((o) => [o.id, o.family]), ...(strange ? [[name, `${name}: whose?`]] : [])];
  return field("Hand", select(all, name ?? "", (v) => change(v || null), attributes));
}

/** A copy of an object without what is null or empty. */
export const trimmed = (object) => Object.fromEntries(Object.entries(object).filter(([, v]) => v !== null && v !== undefined && v !== ""));

const STEP = 0.5;
export const round = (mm) => Math.round(mm / STEP) * STEP;

/** Arrows move what stands on the paper, Shift with arrows resizes it. */
export const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * Let an element of the paper be dragged. `grab(event)` says what is under the pointer (null: nothing); `by(what, dx, dy)`
 * shows it so many mm away; `drop(what, dx, dy)` takes it there.
 */
export function draggable(el, { mmPerPx, grab, by, drop }) {
  let held = null;
  el.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || held) return;
    const what = grab(event);
    if (!what) return;
    el.focus({ preventScroll: true });
    el.setPointerCapture(event.pointerId);
    held = { what, id: event.pointerId, from: [event.clientX, event.clientY], k: mmPerPx(), far: false };
    event.preventDefault();
    event.stopPropagation();
  });
  const away = (event) => [(event.clientX - held.from[0]) * held.k, (event.clientY - held.from[1]) * held.k];
  el.addEventListener("pointermove", (event) => {
    if (held?.id !== event.pointerId) return;
    held.far ||= Math.hypot(event.clientX - held.from[0], event.clientY - held.from[1]) > 3;
    if (held.far) by(held.what, ...away(event));
  });
  const end = (event) => {
    if (held?.id !== event.pointerId) return;
    const { what, far } = held;
    const [dx, dy] = away(event);
    held = null;
    if (far) drop(what, dx, dy);
  };
  el.addEventListener("pointerup", end);
  el.addEventListener("pointercancel", end);
}
