// Writing along curves: an arc through three points that are dragged, moved by keys or typed; or any path.

import { button, h, keepFocus, s } from "../core/dom.js";
import { ARROWS, draggable, field, handChoice, more, number, penChoice, round, select, words } from "./fields.js";
import { Layer } from "./layer.js";

const POINTS = ["begins", "passes", "ends"];
const mm = (v) => Math.round(v * 100) / 100;
const cross = (a, b, p) => (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);

/** SVG path data (SVG 1.1, 8.3) of the arc from `a` over `m` to `b`; a straight line where they lie on one. */
export function pathOf([a, m, b]) {
  const side = cross(a, b, m);
  const chord = Math.hypot(b[0] - a[0], b[1] - a[1]);
  if (Math.abs(side) < 0.05 * chord) return `M ${mm(a[0])} ${mm(a[1])} L ${mm(b[0])} ${mm(b[1])}`;
  const centre = centreOf(a, m, b);
  const r = mm(Math.hypot(a[0] - centre[0], a[1] - centre[1]));
  const large = cross(a, b, centre) * side > 0 ? 1 : 0;
  return `M ${mm(a[0])} ${mm(a[1])} A ${r} ${r} 0 ${large} ${side < 0 ? 1 : 0} ${mm(b[0])} ${mm(b[1])}`;
}

function centreOf(a, m, b) {
  const d = 2 * (a[0] * (m[1] - b[1]) + m[0] * (b[1] - a[1]) + b[0] * (a[1] - m[1]));
  const q = (p) => p[0] ** 2 + p[1] ** 2;
  return [(q(a) * (m[1] - b[1]) + q(m) * (b[1] - a[1]) + q(b) * (a[1] - m[1])) / d, (q(a) * (b[0] - m[0]) + q(m) * (a[0] - b[0]) + q(b) * (m[0] - a[0])) / d];
}

/** The three points of a path that is one line or one arc of a circle; null for any other. */
export function pointsOf(path) {
  const n = "\\s*,?\\s*(-?[\\d.]+)";
  const line = new RegExp(`^\\s*M${n}${n}\\s*L${n}${n}\\s*$`).exec(path)?.slice(1).map(Number);
  if (line) return [line.slice(0, 2), [(line[0] + line[2]) / 2, (line[1] + line[3]) / 2], line.slice(2)];
  const arc = new RegExp(`^\\s*M${n}${n}\\s*A${n}${n}${n}${n}${n}${n}${n}\\s*$`).exec(path)?.slice(1).map(Number);
  if (!arc || arc[2] !== arc[3]) return null;
  const [ax, ay, radius, , , large, sweep, bx, by] = arc;
  const half = Math.hypot(bx - ax, by - ay) / 2;
  if (half === 0) return null;
  // SVG 1.1, F.6: a radius that is too small is taken as the least that reaches.
  const r = Math.max(radius, half);
  const away = Math.sqrt(r * r - half * half);
  const up = [(by - ay) / (2 * half), -(bx - ax) / (2 * half)];
  const bow = (large ? r + away : r - away) * (sweep ? 1 : -1);
  return [[ax, ay], [(ax + bx) / 2 + up[0] * bow, (ay + by) / 2 + up[1] * bow], [bx, by]];
}

export class CurveLayer extends Layer {
  constructor(desk) {
    super(desk, "curves");
  }

  draw(size) {
    this.size = size;
    const [w, hgt] = size;
    this.lines = this.items.map((c) => s("path", { d: c.path, class: "curve-line" }));
    keepFocus(this.layer, () => this.layer.replaceChildren(
      ...(this.items.length ? [s("svg", { viewBox: `0 0 ${w} ${hgt}`, class: "curve-lines", "aria-hidden": "true" }, this.lines)] : []),
      ...this.items.flatMap((c, i) => (pointsOf(c.path) ?? []).map((p, k) => this.handle(c, i, p, k))),
    ));
    this.drawFields();
  }

  handle(curve, i, at, k) {
    const [w, hgt] = this.size;
    const el = h("div", { class: `curve-point ${POINTS[k]}`, tabindex: 0, role: "button", "data-act": `curve${i}-${k}`, "aria-label": `Where ${curve.name} ${POINTS[k]}: ${mm(at[0])} mm from the left, ${mm(at[1])} from the top. Arrows move it.`, style: { left: `${(100 * at[0]) / w}%`, top: `${(100 * at[1]) / hgt}%` }, onfocus: () => this.choose(i) });
    el.addEventListener("keydown", (event) => {
      const by = ARROWS[event.key];
      if (!by) return;
      event.preventDefault();
      event.stopPropagation();
      const far = event.shiftKey ? 5 : 1;
      this.move(i, k, [at[0] + far * by[0], at[1] + far * by[1]]);
    });
    const moved = (dx, dy) => pointsOf(this.items[i].path).map((p, j) => (j === k ? [p[0] + dx, p[1] + dy] : p));
    draggable(el, {
      mmPerPx: () => this.size[0] / this.layer.getBoundingClientRect().width,
      grab: () => ({}),
      by: (_, dx, dy) => {
        Object.assign(el.style, { left: `${(100 * (at[0] + dx)) / w}%`, top: `${(100 * (at[1] + dy)) / hgt}%` });
        this.lines[i].setAttribute("d", pathOf(moved(dx, dy)));
      },
      drop: (_, dx, dy) => this.move(i, k, [round(at[0] + dx), round(at[1] + dy)]),
    });
    return el;
  }

  move(i, k, to) {
    this.put(i, { path: pathOf(pointsOf(this.items[i].path).map((p, j) => (j === k ? to : p))) });
  }

  put(i, changes) {
    this.lay(i, changes);
    this.draw(this.size);
  }

  // --- numbers -------------------------------------------------------------------------------------------------------

  parts() {
    const { desk, items: curves } = this;
    const another = button(curves.length ? "One more line along a curve" : "Write a line along a curve", () => this.add(), { "data-act": "curve-more" });
    if (!curves.length) return [h("p", { class: "hint" }, "A line of writing along an arc, round a rim, up a slope."), another];
    const i = Math.min(this.chosen, curves.length - 1);
    const c = curves[i];
    const points = pointsOf(c.path);
    const number2 = (k, j, label) => field(label, number(mm(points[k][j]), (v) => v !== null && this.move(i, k, points[k].map((w, n) => (n === j ? v : w))), { "data-act": `curve-${k}-${j}` }), "narrow");
    return [
      h("div", { class: "row", role: "group", "aria-label": "Lines along curves" }, curves.map((o, k) => button(o.name, () => this.choose(k), { "aria-pressed": String(k === i), "data-act": `choose-curve${k}` }))),
      h("div", { class: "row bottom" },
        field("Name", words(c.name, (v) => this.renamed(i, v), { maxlength: 40, size: 12, "data-act": "curve-name" })),
        penChoice(desk, c.pen, (v) => this.put(i, { pen: v }), { "data-act": "curve-pen" }),
        field("Stands", select([["left", "at its beginning"], ["centre", "in its middle"], ["right", "at its end"]], c.align ?? "left", (v) => this.put(i, { align: v }), { "data-act": "curve-align" })),
        field("Height of an x, mm", number(c.x_height_mm, (v) => this.put(i, { x_height_mm: v }), { min: 0.5, step: 0.1, placeholder: "same", "data-act": "curve-size" }), "narrow"),
        handChoice(desk, c.hand, (v) => this.put(i, { hand: v }), { "data-act": "curve-hand" })),
      ...(points ? POINTS.map((name, k) => h("fieldset", {}, h("legend", {}, `It ${name}`), h("div", { class: "row bottom" }, number2(k, 0, "From the left, mm"), number2(k, 1, "From the top, mm")))) : [h("p", { class: "hint" }, "A path of its own: it is changed below, or drawn anew as an arc."), button("Make it an arc", () => this.put(i, { path: pathOf(this.fresh()) }), { "data-act": "curve-arc" })]),
      more("Any path", this.fields, field("Path in mm (M, L, C, A …), in writing direction", words(c.path, (v) => v && this.put(i, { path: v }), { "data-act": "curve-path" }))),
      h("div", { class: "row" }, another, button(`Take ${c.name} away`, () => this.remove(i), { "data-act": "curve-less" })),
    ];
  }

  /** A shallow arc over the upper part of the page. */
  fresh() {
    const [w, hgt] = this.size;
    return [[round(0.15 * w), round(0.45 * hgt)], [round(0.5 * w), round(0.25 * hgt)], [round(0.85 * w), round(0.45 * hgt)]];
  }

  add() {
    let n = this.items.length + 1;
    while (this.isTaken(`curve ${n}`)) n += 1;
    this.chosen = this.items.length;
    this.desk.wish.texts[`curve ${n}`] ??= "";
    this.desk.lay("curves", [...this.items, { name: `curve ${n}`, path: pathOf(this.fresh()), align: "centre" }]);
    this.draw(this.size);
    this.desk.texts.draw();
  }

  remove(i) {
    this.drop(i);
    this.draw(this.size);
    this.desk.texts.draw();
  }
}
