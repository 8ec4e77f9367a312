// Drawings on the page: SVG files, or pictures whose ink is traced; placed and sized with pointer, keys and numbers.

import { get } from "../core/api.js";
import { button, h, keepFocus, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { dropPlace, sendFile } from "../start/transfer.js";
import { marginsOf } from "./boxes.js";
import { ARROWS, draggable, field, more, number, penChoice, round, tick, trimmed } from "./fields.js";
import { Layer } from "./layer.js";

const nameOf = (drawing, i) => drawing.file ?? `drawing ${i + 1}`;

export class DrawingLayer extends Layer {
  constructor(desk) {
    super(desk, "drawings");
  }

  draw(size) {
    this.size = size;
    this.known = this.items.map((d, i) => this.lies(d, i));
    keepFocus(this.layer, () => this.layer.replaceChildren(...this.items.map((d, i) => this.frame(d, i, this.known[i]))));
    this.drawFields();
  }

  /** Where a drawing lies: as the server said; where the page was refused, as it is asked for. */
  lies(d, i) {
    const told = this.desk.done?.drawings[i];
    if (told?.length) return told;
    const [, , w, hgt] = this.known?.[i] ?? [0, 0, 20, 20];
    const wide = d.width_mm ?? (d.height_mm ? (d.height_mm * w) / hgt : w);
    return [d.x_mm ?? 0, d.y_mm ?? 0, wide, d.height_mm ?? (wide * hgt) / w];
  }

  place(el, [x, y, w, hgt]) {
    const [width, height] = this.size;
    Object.assign(el.style, { left: `${(100 * x) / width}%`, top: `${(100 * y) / height}%`, width: `${(100 * w) / width}%`, height: `${(100 * hgt) / height}%` });
  }

  frame(drawing, i, lies) {
    const [x, y, w, hgt] = lies;
    const words = `Drawing ${nameOf(drawing, i)}: ${x} mm from the left, ${y} from the top, ${w} by ${hgt} mm. Arrows move it, Shift with arrows resizes it.`;
    const el = h("div", { class: "box drawing", tabindex: 0, role: "button", "data-act": `drawing${i}`, "aria-label": words, "aria-pressed": String(i === this.chosen), onkeydown: (e) => this.key(e, i, lies), onfocus: () => this.choose(i) }, h("span", { class: "box-corner", "aria-hidden": "true", "data-corner": "yes" }));
    this.place(el, lies);
    draggable(el, {
      mmPerPx: () => this.size[0] / this.layer.getBoundingClientRect().width,
      grab: (event) => (event.target.dataset.corner ? "size" : "place"),
      by: (what, dx, dy) => this.place(el, what === "place" ? [x + dx, y + dy, w, hgt] : [x, y, Math.max(1, w + dx), (Math.max(1, w + dx) * hgt) / w]),
      drop: (what, dx, dy) => (what === "place" ? this.put(i, { x_mm: round(x + dx), y_mm: round(y + dy) }) : this.resize(i, lies, round(w + dx))),
    });
    return el;
  }

  key(event, i, [x, y, w]) {
    const by = ARROWS[event.key];
    if (!by) return;
    event.preventDefault();
    event.stopPropagation();
    const d = this.items[i];
    if (event.shiftKey) this.resize(i, this.known[i], round(w) + by[0] + by[1]);
    else this.put(i, { x_mm: (d.x_mm ?? x) + by[0], y_mm: (d.y_mm ?? y) + by[1] });
  }

  /** Make it so wide; its height follows, whichever of both is said. */
  resize(i, [, , w, hgt], width) {
    const wide = Math.max(1, width);
    const d = this.items[i];
    this.put(i, d.height_mm && !d.width_mm ? { height_mm: round((wide * hgt) / w) } : { width_mm: wide, ...(d.height_mm ? { height_mm: round((wide * hgt) / w) } : {}) });
  }

  put(i, changes) {
    this.lay(i, changes);
    this.drawFields();
  }

  // --- numbers -------------------------------------------------------------------------------------------------------

  parts() {
    const { desk, items: drawings } = this;
    const kept = desk.told.drawings;
    const add = [
      dropPlace("Drop a drawing (SVG, or a picture whose ink is traced)", (files) => this.take(files[0]), { accept: ".svg,.png,.jpg,.jpeg,.tif,.tiff", id: "drawing" }),
      kept.length ? h("div", { class: "row bottom" }, field("Kept drawings", h("select", { id: "kept-drawings" }, kept.map((n) => h("option", { value: n }, n)))), button("Place it", () => attemptTo(async () => this.add(await get("drawing", { name: this.fields.querySelector("#kept-drawings").value }))), { "data-act": "place-drawing" })) : "",
    ];
    if (!drawings.length) return add;
    const i = Math.min(this.chosen, drawings.length - 1);
    const d = drawings[i];
    const mm = (name, label, attributes = {}) => field(`${label}, mm`, number(d[name], (v) => this.put(i, { [name]: v }), { "data-act": `drawing-${name}`, ...attributes }), "narrow");
    return [
      h("div", { class: "row", role: "group", "aria-label": "Drawings" }, drawings.map((o, k) => button(nameOf(o, k), () => this.choose(k), { "aria-pressed": String(k === i), "data-act": `choose-drawing${k}` }))),
      h("div", { class: "row bottom" }, mm("x_mm", "From the left", { placeholder: "0" }), mm("y_mm", "From the top", { placeholder: "0" }), mm("width_mm", "Width", { placeholder: "its own", min: 0.1 }), mm("height_mm", "Height", { placeholder: "follows", min: 0.1 })),
      h("div", { class: "row bottom" },
        field("Turned, degrees", number(d.turn_deg, (v) => this.put(i, { turn_deg: v }), { step: 1, placeholder: "0", "data-act": "drawing-turn" }), "narrow"),
        penChoice(desk, d.pen, (v) => this.put(i, { pen: v }), { "data-act": "drawing-pen" }),
        d.dpi ? field("Dots an inch", number(d.dpi, (v) => this.put(i, { dpi: v ?? 300 }), { step: 1, min: 10, "data-act": "drawing-dpi" }), "narrow") : ""),
      tick(d.every_page, "On every page", (on) => this.put(i, { every_page: on || null }), { "data-act": "drawing-every" }),
      h("div", { class: "row" }, button(`Take ${nameOf(d, i)} away`, () => this.remove(i), { "data-act": "drawing-less" })),
      more("One more drawing", this.fields, add),
    ];
  }

  take(file) {
    return attemptTo(async () => {
      const told = await sendFile("drawing/drop", file);
      if (!this.desk.told.drawings.includes(told.file)) this.desk.told.drawings.push(told.file);
      this.add(told);
      say(`${told.file} is placed on the page.`);
    });
  }

  /** Place a drawing in the middle, a third as large as there is room for. */
  add({ file, dpi, size_mm: [width, height] }) {
    const [w, hgt] = this.size;
    const [top, right, bottom, left] = marginsOf(this.desk.layout);
    const room = [w - left - right, hgt - top - bottom];
    const k = Math.min(room[0] / Math.max(width, 0.1), room[1] / Math.max(height, 0.1)) / 3;
    const wide = Math.max(0.5, Math.floor(2 * k * width) / 2);
    const high = (wide * height) / Math.max(width, 0.1);
    this.known = [...(this.known ?? []), [0, 0, wide, high]];
    this.chosen = this.items.length;
    this.desk.lay("drawings", [...this.items, trimmed({ file, dpi, x_mm: round(left + (room[0] - wide) / 2), y_mm: round(top + (room[1] - high) / 2), width_mm: wide })]);
    this.drawFields();
  }

  remove(i) {
    this.drop(i);
    this.drawFields();
  }
}
