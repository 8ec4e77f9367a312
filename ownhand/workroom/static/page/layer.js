// What lies on the paper and can be chosen there, of one kind of the layout, with the fields of the chosen one.

import { h, keepFocus } from "../core/dom.js";
import { trimmed } from "./fields.js";

export class Layer {
  /** name: of the list in the layout that this shows. */
  constructor(desk, name, shown = "on-paper") {
    this.desk = desk;
    this.name = name;
    this.layer = h("div", { class: shown });
    this.chosen = 0;
    desk.picture.append(this.layer);
    this.fields = h("div", { class: "stack" });
  }

  get items() {
    return this.desk.layout[this.name] ?? [];
  }

  choose(i) {
    if (this.chosen === i) return;
    this.chosen = i;
    this.layer.querySelectorAll("[aria-pressed]").forEach((el, k) => el.setAttribute("aria-pressed", String(k === i)));
    this.drawFields();
  }

  drawFields() {
    keepFocus(this.fields, () => this.fields.replaceChildren(...this.parts()));
  }

  /** Change one; `fitted` brings the changed one to where it may be. */
  lay(i, changes, fitted = (item) => item) {
    this.desk.lay(this.name, this.items.map((item, k) => (k === i ? fitted(trimmed({ ...item, ...changes })) : item)));
  }

  /** Take one away. */
  drop(i) {
    const left = this.items.filter((_, k) => k !== i);
    this.chosen = 0;
    this.desk.lay(this.name, left.length ? left : null);
  }

  /** Whether a text is called so already: boxes and curves have their names in common. */
  isTaken(name) {
    const { boxes = [], curves = [] } = this.desk.layout;
    return [...(boxes ?? []), ...(curves ?? [])].some((item) => item.name === name);
  }

  /** Give one, and its text, another name; return whether it may have it. */
  renamed(i, name) {
    const before = this.items[i].name;
    if (!name || name === before || this.isTaken(name)) {
      this.drawFields();
      return;
    }
    const { texts } = this.desk.wish;
    texts[name] = texts[before] ?? "";
    delete texts[before];
    this.put(i, { name });
    this.desk.texts.draw();
  }
}
