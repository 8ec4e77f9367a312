// Keys: one list, from which both the help and the handling are made.

import { button, h } from "./dom.js";

const KEYS = [
  ["Everywhere", [
    ["undo", ["Ctrl+Z", "U"], "undo"],
    ["redo", ["Ctrl+Shift+Z", "Ctrl+Y"], "do again"],
    ["help", ["?"], "this list"],
    ["home", ["Escape"], "cancel; then back to all letters"],
  ]],
  ["An attempt", [
    ["next", ["N"], "next attempt"],
    ["previous", ["Shift+N"], "attempt before"],
    ["nextOpen", ["M"], "next letter to look at"],
    ["keep", ["K"], "keep it"],
    ["aside", ["R"], "set it aside"],
    ["label", ["C"], "correct its label"],
    ["replay", ["P"], "write it before my eyes"],
    ["readings", ["O"], "other readings"],
    ["alike", ["A"], "mend the others alike"],
    ["baseline", ["B"], "move the baseline"],
  ]],
  ["A page", [
    ["again", ["G"], "write it again, differently"],
    ["next", ["N"], "next card of a table"],
    ["previous", ["Shift+N"], "card before"],
    ["replay", ["P"], "watch it being written"],
  ]],
  ["The chosen stroke", [
    ["choose", ["1 … 9"], "choose a stroke"],
    ["turn", ["T"], "turn it round"],
    ["earlier", ["E"], "write it earlier"],
    ["later", ["L"], "write it later"],
    ["join", ["J"], "join it to the next"],
    ["split", ["S"], "split it: arrows move the cut, Enter cuts"],
    ["delete", ["Delete"], "delete it"],
    ["draw", ["D"], "draw it anew: arrows move, Space sets a point, Enter ends"],
    ["point", ["[", "]"], "choose a point of it"],
    ["nudge", ["Arrows"], "move the stroke or the point (Shift: further)"],
  ]],
];

const acts = new Map();

/** Do `act` when the key of that name is pressed; returns a way to stop. */
export function onKey(name, act) {
  acts.set(name, act);
  return () => acts.get(name) === act && acts.delete(name);
}

const stored = "ownhand-single-keys";
const singleKeys = () => localStorage.getItem(stored) !== "off";

function typing(target) {
  return target.closest?.("input:not([type=checkbox]):not([type=radio]), textarea, select, [contenteditable]");
}

function nameOf(event) {
  const mod = event.ctrlKey || event.metaKey;
  const key = event.key.length === 1 ? event.key.toUpperCase() : event.key;
  if (mod && key === "Z") return event.shiftKey ? "redo" : "undo";
  if (mod && key === "Y") return "redo";
  if (mod || event.altKey) return "";
  if (event.key === "Escape") return "home";
  if (!singleKeys()) return "";
  if (/^[1-9]$/.test(key)) return "choose";
  if (key.startsWith("Arrow")) return "nudge";
  if (key === "[" || key === "]") return "point";
  if (key === "Backspace") return "delete";
  if (key === "N") return event.shiftKey ? "previous" : "next";
  for (const [, list] of KEYS) for (const [name, keys] of list) if (keys.includes(key)) return name;
  return { Enter: "enter", " ": "space" }[key] ?? "";
}

export function wireKeys() {
  document.addEventListener("keydown", (event) => {
    if (document.querySelector("dialog[open]")) return;
    const field = typing(event.target);
    const name = nameOf(event);
    if (field) {
      // A text field has its own undo; only Escape leaves it.
      if (event.key === "Escape") field.blur();
      return;
    }
    if (event.target.closest?.("[role=slider]") && ["nudge"].includes(name)) return;
    if (event.target.closest?.("button, a, summary") && ["enter", "space"].includes(name)) return;
    if (name === "help") {
      showKeys();
      return;
    }
    const act = acts.get(name);
    if (act && act(event) !== false) event.preventDefault();
  });
}

export function showKeys() {
  const dialog = document.getElementById("key-list");
  const on = h("input", { type: "checkbox", id: "single-keys" });
  on.checked = singleKeys();
  on.addEventListener("change", () => localStorage.setItem(stored, on.checked ? "on" : "off"));
  dialog.replaceChildren(
    h("h2", { id: "key-title" }, "Keys"),
    ...KEYS.flatMap(([title, list]) => [
      h("h3", {}, title),
      h("ul", { class: "key-columns" }, list.map(([, keys, words]) => h("li", {}, h("span", {}, keys.map((k, i) => [i ? " " : "", h("kbd", {}, k)])), h("span", {}, words)))),
    ]),
    h("label", { class: "tick" }, on, h("span", {}, "Single keys work (switch them off if you speak to the computer or touch keys by accident)")),
    h("p", { class: "row" }, button("Close", () => dialog.close(), { class: "main" })),
  );
  dialog.showModal();
}
