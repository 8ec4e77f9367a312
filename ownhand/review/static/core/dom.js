// Small helpers to make elements; text is always text, never markup.

import { isInSight, wasInSight } from "./in_sight.js";

const SVG = "http://www.w3.org/2000/svg";

function fill(el, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) el.addEventListener(name.slice(2), value);
    else if (name === "style") Object.assign(el.style, value);
    else if (name === "value") el.value = value;
    else el.setAttribute(name, value === true ? "" : value);
  }
  el.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return el;
}

export const h = (name, attributes = {}, ...children) => fill(document.createElement(name), attributes, children);

export const s = (name, attributes = {}, ...children) => fill(document.createElementNS(SVG, name), attributes, children);

export const button = (label, act, attributes = {}) => h("button", { type: "button", onclick: (event) => act(event), ...attributes }, label);

/**
 * Fill `box` anew; the focus stays on what bears the same `data-act`, or is a link or button of the same words, or goes to
 * what is chosen there; and it stays in sight.
 */
export function keepFocus(box, fillIt) {
  const el = document.activeElement;
  const within = box.contains(el) && el !== box;
  const name = within ? el.dataset.act : "";
  const words = within && el.matches("a, button, summary") ? el.textContent : "";
  const seen = within && wasInSight(el);
  fillIt();
  if (!(name || words) || box.contains(document.activeElement)) return;
  const alike = name ? box.querySelector(`[data-act="${CSS.escape(name)}"]:not(:disabled)`) : [...box.querySelectorAll("a, button:enabled, summary")].find((other) => other.textContent === words);
  const again = alike ?? box.querySelector('[aria-pressed="true"]');
  again?.focus({ preventScroll: true });
  if (again && seen && !isInSight(again)) again.scrollIntoView({ block: "nearest" });
}

const said = document.getElementById("said");
const warned = document.getElementById("warned");
let timer = 0;

function show(box, text) {
  clearTimeout(timer);
  said.replaceChildren();
  warned.replaceChildren();
  box.replaceChildren(h("p", {}, text), button("Close", () => box.replaceChildren()));
  if (box === said) timer = setTimeout(() => said.replaceChildren(), 7000);
}

/** Tell the person something in passing. */
export const say = (text) => show(said, text);

/** Tell the person something that must not be missed. */
export const warn = (text) => show(warned, text);

/** Take away what was told of a part that the person has left. */
export const hush = () => warned.replaceChildren();

/** What to do where a hand has no letters yet; a link, where the page has a part for scans. */
export function toTheScans() {
  const there = document.querySelector('[data-part="reading"]');
  return there ? h("a", { href: "#reading" }, "To the scans") : "";
}

/** The character as it is shown in a heading: a mark alone gets a ring to stand on, a space is written out. */
export const shown = (char) => (/^\p{M}/u.test(char) ? `◌${char}` : char === " " ? "␣" : char);

export const plural = (n, one, many = `${one}s`) => `${n} ${n === 1 ? one : many}`;
