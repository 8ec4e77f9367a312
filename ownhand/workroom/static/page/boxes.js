// Boxes on the paper: moved and resized with the pointer, with keys, and by numbers.

import { button, h, keepFocus } from "../core/dom.js";
import { ARROWS, field, handChoice, more, number, penChoice, round, select, tick } from "./fields.js";
import { Layer } from "./layer.js";

const ALIGN = [["left", "left"], ["centre", "centre"], ["right", "right"], ["justified", "justified"]];
export const DOWN = [["top", "at the top"], ["middle", "in the middle"], ["bottom", "at the bottom"]];
const FIELDS = [["x_mm", "From the left"], ["y_mm", "From the top"], ["width_mm", "Width"], ["height_mm", "Height"]];

export const marginsOf = (layout) => layout.margins_mm ?? [20, 20, 20, 20];

/** Keep a box inside the margins, or a free one on the paper, and at least 4 mm large. */
export function kept(box, [w, hgt], margins) {
  const [top, right, bottom, left] = box.blank ? [0, 0, 0, 0] : margins;
  const width = Math.min(Math.max(4, box.width_mm), w - left - right);
  const height = Math.min(Math.max(4, box.height_mm), hgt - top - bottom);
  return { ...box, width_mm: width, height_mm: height, x_mm: Math.min(Math.max(left, box.x_mm), w - right - width), y_mm: Math.min(Math.max(top, box.y_mm), hgt - bottom - height) };
}

export class BoxLayer extends Layer {
  constructor(desk) {
    super(desk, "boxes", "box-layer");
  }

  draw(size) {
    this.size = size;
    const [w, hgt] = size;
    const [top, right, bottom, left] = marginsOf(this.desk.layout);
    const share = (x, y, width, height) => ({ left: `${(100 * x) / w}%`, top: `${(100 * y) / hgt}%`, width: `${(100 * width) / w}%`, height: `${(100 * height) / hgt}%` });
    if (this.drag) return;
    keepFocus(this.layer, () => this.layer.replaceChildren(
      h("div", { class: "margin-line", style: share(left, top, w - left - right, hgt - top - bottom) }),
      ...this.items.map((box, i) => this.boxOf(box, i, share(box.x_mm, box.y_mm, box.width_mm, box.height_mm))),
    ));
    this.drawFields();
  }

  boxOf(box, i, place) {
    const words = `Box ${box.name}: ${box.x_mm} mm from the left, ${box.y_mm} from the top, ${box.width_mm} by ${box.height_mm} mm`;
    const el = h(
      "div",
      { class: box.blank ? "box blank" : "box", style: place, tabindex: 0, role: "button", "data-act": `box${i}`, "data-box": box.name, "aria-label": `${words}. Arrows move it, Shift with arrows resizes it.`, "aria-pressed": String(i === this.chosen), onkeydown: (e) => this.key(e, i), onpointerdown: (e) => this.down(e, i), onpointermove: (e) => this.move(e), onpointerup: (e) => this.up(e), onpointercancel: (e) => this.up(e), onfocus: () => this.choose(i) },
      h("span", { class: "box-name", "aria-hidden": "true" }, box.name),
      h("span", { class: "box-corner", "aria-hidden": "true", "data-corner": "yes" }),
    );
    return el;
  }

  put(i, changes) {
    this.lay(i, changes, (box) => kept(box, this.size, marginsOf(this.desk.layout)));
    this.draw(this.size);
  }

  key(event, i) {
    const by = ARROWS[event.key];
    if (!by) return;
    event.preventDefault();
    event.stopPropagation();
    const box = this.items[i];
    if (event.shiftKey) this.put(i, { width_mm: box.width_mm + by[0], height_mm: box.height_mm + by[1] });
    else this.put(i, { x_mm: box.x_mm + by[0], y_mm: box.y_mm + by[1] });
  }

  down(event, i) {
    if (event.button !== 0) return;
    this.choose(i);
    const el = event.currentTarget;
    el.focus({ preventScroll: true });
    el.setPointerCapture(event.pointerId);
    const rect = this.layer.getBoundingClientRect();
    this.drag = { i, el, id: event.pointerId, from: [event.clientX, event.clientY], box: { ...this.items[i] }, k: this.size[0] / rect.width, corner: Boolean(event.target.dataset.corner) };
    event.preventDefault();
  }

  move(event) {
    const d = this.drag;
    if (!d || d.id !== event.pointerId) return;
    const dx = (event.clientX - d.from[0]) * d.k;
    const dy = (event.clientY - d.from[1]) * d.k;
    const wanted = d.corner ? { width_mm: round(d.box.width_mm + dx), height_mm: round(d.box.height_mm + dy) } : { x_mm: round(d.box.x_mm + dx), y_mm: round(d.box.y_mm + dy) };
    const box = kept({ ...d.box, ...wanted }, this.size, marginsOf(this.desk.layout));
    d.now = box;
    const [w, hgt] = this.size;
    Object.assign(d.el.style, { left: `${(100 * box.x_mm) / w}%`, top: `${(100 * box.y_mm) / hgt}%`, width: `${(100 * box.width_mm) / w}%`, height: `${(100 * box.height_mm) / hgt}%` });
  }

  up(event) {
    const d = this.drag;
    if (!d || d.id !== event.pointerId) return;
    this.drag = null;
    if (d.now) this.put(d.i, d.now);
  }

  // --- numbers -------------------------------------------------------------------------------------------------------

  parts() {
    const { desk, items: boxes } = this;
    if (!boxes.length) {
      return [h("p", { class: "hint" }, "One text fills the page inside its margins."), button("Divide the page into two boxes", () => this.divide(), { "data-act": "divide" })];
    }
    const i = Math.min(this.chosen, boxes.length - 1);
    const box = boxes[i];
    const place = ([name, label]) => field(`${label}, mm`, number(box[name], (v) => v !== null && this.put(i, { [name]: v }), { "data-act": `field-${name}` }), "narrow");
    return [
      h("div", { class: "row", role: "group", "aria-label": "Boxes" }, boxes.map((b, k) => button(b.name, () => this.choose(k), { "aria-pressed": String(k === i), "data-act": `choose${k}` }))),
      h("div", { class: "row bottom" },
        field("Name", h("input", { type: "text", value: box.name, maxlength: 40, size: 12, "data-act": "field-name", onchange: (e) => this.rename(i, e.target.value) })),
        ...(box.blank ? [] : [
          penChoice(desk, box.pen, (v) => this.put(i, { pen: v }), { "data-act": "field-pen" }),
          field("Lines", select([["", "as the page"], ...ALIGN], box.align ?? "", (v) => this.put(i, { align: v }), { "data-act": "field-align" })),
          handChoice(desk, box.hand, (v) => this.put(i, { hand: v }), { "data-act": "field-hand" })])),
      h("div", { class: "row bottom" }, FIELDS.map(place)),
      ...(box.blank ? [] : [tick(box.fit, "Write smaller where the text would not fit", (on) => this.put(i, { fit: on }), { "data-act": "tick-fit" })]),
      tick(box.blank, "Keep it free, for a stamp or a signature", (on) => {
        this.put(i, { blank: on });
        desk.texts.draw();
      }, { "data-act": "tick-blank" }),
      box.blank ? field("Text that meets it", select([["flow", "flows round it"], ["stop", "ends above it"]], box.around ?? "flow", (v) => this.put(i, { around: v }), { "data-act": "field-around" })) : this.finer(box, i),
      h("div", { class: "row" }, button("One more box", () => this.add(), { "data-act": "more" }), button(`Take ${box.name} away`, () => this.remove(i), { "data-act": "less" })),
    ];
  }

  /** What few boxes need. */
  finer(box, i) {
    const part = (name, label, attributes) => field(label, number(box[name], (v) => this.put(i, { [name]: v }), { "data-act": `field-${name}`, ...attributes }), "narrow");
    const ruled = (name, v) => this.put(i, { ruling: name === "pitch_mm" && v === null ? null : { pitch_mm: 8, ...box.ruling, [name]: v ?? 0 } });
    return more("More about this box", this.fields,
      h("div", { class: "row bottom" },
        part("x_height_mm", "Height of an x, mm", { min: 0.5, step: 0.1, placeholder: "same" }),
        field("Its text stands", select(DOWN, box.down ?? "top", (v) => this.put(i, { down: v }), { "data-act": "field-down" })),
        part("columns", "Columns", { min: 1, max: 12, step: 1, placeholder: "1" }),
        part("column_gap_mm", "Between them, mm", { min: 0, placeholder: "8" })),
      h("div", { class: "row bottom" },
        field("Printed lines, mm apart", number(box.ruling?.pitch_mm, (v) => ruled("pitch_mm", v), { min: 1, placeholder: "same", "data-act": "field-pitch" }), "narrow"),
        field("one of them from the top, mm", number(box.ruling?.offset_mm, (v) => ruled("offset_mm", v), { placeholder: "0", "data-act": "field-offset" }), "narrow")),
      tick(box.flows, "Text that does not fit goes on in this box of a further page", (on) => this.put(i, { flows: on || null }), { "data-act": "tick-flows" }));
  }

  inner() {
    const [top, right, bottom, left] = marginsOf(this.desk.layout);
    const [w, hgt] = this.size;
    return { x: left, y: top, w: w - left - right, h: hgt - top - bottom };
  }

  /** A message and an address: as on a postcard. */
  divide() {
    const { x, y, w, h: hgt } = this.inner();
    const half = round(w * 0.58);
    this.desk.wish.texts.message ??= this.desk.wish.texts.body ?? "";
    this.desk.wish.texts.address ??= "";
    this.desk.lay("boxes", [
      { name: "message", x_mm: x, y_mm: y, width_mm: half - 4, height_mm: hgt, fit: true },
      { name: "address", x_mm: round(x + half + 2), y_mm: round(y + hgt * 0.45), width_mm: Math.floor(w - half - 2), height_mm: Math.floor(hgt * 0.5), fit: true },
    ]);
    delete this.desk.layout.fit;
    this.chosen = 0;
    this.draw(this.size);
    this.desk.texts.draw();
  }

  add() {
    const { x, y, w, h: hgt } = this.inner();
    let n = this.items.length + 1;
    while (this.isTaken(`box ${n}`)) n += 1;
    this.desk.lay("boxes", [...this.items, kept({ name: `box ${n}`, x_mm: round(x), y_mm: round(y), width_mm: Math.floor(w / 3), height_mm: Math.floor(hgt / 3), fit: true }, this.size, marginsOf(this.desk.layout))]);
    this.chosen = this.items.length - 1;
    this.draw(this.size);
    this.desk.texts.draw();
  }

  remove(i) {
    if (this.items.length === 1) this.desk.wish.texts.body ??= this.desk.wish.texts[this.items[i].name] ?? "";
    this.drop(i);
    this.draw(this.size);
    this.desk.texts.draw();
  }

  rename(i, typed) {
    this.renamed(i, typed.replaceAll("\n", " ").trim());
  }
}
