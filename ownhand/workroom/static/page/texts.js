// The text of each box; what the hand lacks is marked where it stands.

import { button, h, shown } from "../core/dom.js";
import { paragraphPart } from "./paragraph.js";

const clusters = new Intl.Segmenter(undefined, { granularity: "grapheme" });

/** Where in `text` characters stand that are missing: [from, to, character]. */
export function placesOf(text, missing) {
  const lacks = new Set(Object.keys(missing).map((c) => c.normalize("NFC")));
  if (!lacks.size) return [];
  return [...clusters.segment(text)].filter((g) => lacks.has(g.segment.normalize("NFC"))).map((g) => [g.index, g.index + g.segment.length, g.segment]);
}

const wordAt = (text, at) => {
  const from = text.slice(0, at).search(/\S+$/);
  return (from < 0 ? text.slice(at) : text.slice(from)).match(/^\S+/)?.[0] ?? "";
};

export class TextFields {
  constructor(desk) {
    this.desk = desk;
    this.el = h("div", { class: "stack" });
    this.fields = new Map();
  }

  names() {
    const { boxes = [], curves = [] } = this.desk.layout;
    const written = boxes.filter((b) => !b.blank).map((b) => b.name);
    return [...(written.length ? written : ["body"]), ...curves.map((c) => c.name)];
  }

  isCurve(name) {
    return (this.desk.layout.curves ?? []).some((c) => c.name === name);
  }

  isBox(name) {
    return (this.desk.layout.boxes ?? []).some((b) => b.name === name);
  }

  draw() {
    const names = this.names();
    if (names.join("\n") === [...this.fields.keys()].join("\n")) return;
    this.fields.clear();
    const single = names.length === 1 && names[0] === "body";
    this.el.replaceChildren(...names.map((name) => this.field(name, single ? "Text" : name === "body" && !this.isBox(name) ? "Text of the page" : `Text of ${name}`)));
  }

  field(name, label) {
    const { texts } = this.desk.wish;
    const area = h("textarea", { class: this.isCurve(name) ? "page-text one-line" : "page-text", rows: this.isCurve(name) ? 1 : 6, maxlength: 200000, spellcheck: "true", "data-text": name });
    area.value = texts[name] ?? "";
    const marks = h("div", { class: "marks", "aria-hidden": "true" });
    const list = h("div", { class: "lacking" });
    area.addEventListener("input", () => {
      texts[name] = area.value;
      this.paint(name);
      this.desk.soon();
    });
    area.addEventListener("scroll", () => {
      marks.scrollTop = area.scrollTop;
    });
    const box = h("div", { class: "text-with-marks" }, marks, area);
    const drop = async (event) => {
      const file = event.dataTransfer.files[0];
      if (!file) return;
      event.preventDefault();
      area.value = (await file.text()).replaceAll("\r\n", "\n");
      area.dispatchEvent(new Event("input"));
    };
    box.addEventListener("dragover", (event) => event.preventDefault());
    box.addEventListener("drop", drop);
    this.fields.set(name, { area, marks, list });
    const id = `text-of-${[...this.fields.keys()].indexOf(name)}`;
    area.id = id;
    // The marks repeat the text: they are no part of what the field is called.
    return h("div", { class: "text-field" }, h("label", { class: "field", for: id }, h("span", {}, label)), box, list, this.isCurve(name) ? "" : paragraphPart(this.desk, area));
  }

  /** Mark what is missing, in every text. */
  mark(missing) {
    this.missing = missing;
    for (const name of this.fields.keys()) this.paint(name);
  }

  paint(name) {
    const { area, marks, list } = this.fields.get(name);
    const places = placesOf(area.value, this.missing ?? {});
    const parts = [];
    let at = 0;
    for (const [from, to] of places) {
      parts.push(area.value.slice(at, from), h("mark", {}, area.value.slice(from, to)));
      at = to;
    }
    marks.replaceChildren(...parts, `${area.value.slice(at)}\n`);
    marks.scrollTop = area.scrollTop;
    const told = JSON.stringify(places);
    if (list.dataset.told === told) return;
    list.dataset.told = told;
    list.replaceChildren(
      ...places.slice(0, 12).map(([from, to, char]) => {
        const line = area.value.slice(0, from).split("\n").length;
        return button(`${shown(char)} in “${wordAt(area.value, from)}”, line ${line}`, () => {
          area.focus();
          area.setSelectionRange(from, to);
        }, { class: "place" });
      }),
      places.length > 12 ? h("span", { class: "hint" }, `and ${places.length - 12} more`) : "",
    );
  }
}
