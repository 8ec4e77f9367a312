// The large picture of one attempt: its ink and strokes, the pointer on them, baseline and side bearings to drag.

import { h, s } from "../core/dom.js";
import { colour, drawn, frame, ink, lengthOf, path, replay } from "./strokes.js";

/** Distance of the points that can be dragged: far enough apart to leave the arrows in sight. */
const HANDLE_PX = 60;

/** How large what is dragged is to the pointer: a fingertip covers more than a mouse's tip. */
const GRIP_PX = matchMedia("(pointer: coarse)").matches ? 34 : 18;
const KNOB_PX = matchMedia("(pointer: coarse)").matches ? 44 : 28;

/** Where the baseline or a white of an attempt is, in mm: as decided, else as the builder has it. */
export const placeIn = (a, name) => a[name] ?? (a.spaced ?? { left: 0.12 * a.x_height, right: 0.12 * a.x_height })[name];

/** The part of a ruler that a finger finds. */
const knob = (x, y) => s("circle", { cx: x, cy: y, r: KNOB_PX / 2, class: "knob" });

export class Desk {
  /**
   * `act` has choose(k, line), point(i), move(line, k, by), bend(line, k, point, to), split(line, k, at), draw(samples),
   * place(name, mm), placeBy(name, mm); each returns a promise of its end. `line` is stroke `k` as it was seen: an earlier act may yet
   * change the numbers.
   */
  constructor(act) {
    this.act = act;
    this.svg = s("svg", { class: "desk-picture", role: "group", "aria-label": "The ink and its strokes" });
    this.el = h("div", { class: "desk" }, this.svg);
    this.state = null;
    this.drag = null;
    /** What was drawn or dragged and is not stored yet: it stays in sight till it is. */
    this.dropped = [];
    this.svg.addEventListener("pointerdown", (e) => this.down(e));
    this.svg.addEventListener("pointermove", (e) => this.moved(e));
    this.svg.addEventListener("pointerup", (e) => this.up(e));
    this.svg.addEventListener("pointercancel", () => this.cancel());
    this.svg.addEventListener("lostpointercapture", () => this.cancel());
    new ResizeObserver(() => this.state && this.draw(this.state)).observe(this.el);
  }

  /** Show `state`: attempt, stroke (chosen, -1: none), tool, point (-1: none), cut (share or null), sketch (points). */
  draw(state) {
    this.state = state;
    if (this.drag) return;
    const focused = document.activeElement?.dataset?.handle;
    const a = state.attempt;
    const width = Math.max(this.el.clientWidth, 200);
    const height = Math.max(this.el.clientHeight, 200);
    const f = frame(a, a.lines, width, height, { margin: 52 });
    this.f = f;
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.dataset.tool = state.tool;
    this.svg.dataset.attempt = a.id;
    const y = (mm) => f.px([0, mm])[1];
    const guide = (mm, name) => s("line", { x1: 0, x2: width, y1: y(mm), y2: y(mm), class: name });
    this.svg.replaceChildren(
      guide(a.ascender, "guide faint"),
      guide(a.x_height, "guide faint"),
      guide(a.descender, "guide faint"),
      guide(0, "guide"),
      ink(a, f) ?? "",
      s("g", { class: "strokes" }, drawn(a.lines, f, { chosen: state.stroke })),
      ...this.reaches(a, width, height),
      ...a.lines.map((line, k) => s("path", { d: path(line, f), class: "hit", "data-stroke": k })),
      ...this.handles(state),
      ...this.rulers(a, width, height),
      s("g", { class: "pending" }, ...this.dropped),
    );
    if (focused) this.svg.querySelector(`[data-handle="${focused}"]`)?.focus({ preventScroll: true });
  }

  /** The points of a line that can be dragged: both ends, some between, and the chosen one. */
  gripped(line, point) {
    const end = line.length - 1;
    const long = lengthOf(line) * this.f.k;
    const apart = long / Math.max(1, Math.floor(long / HANDLE_PX));
    const out = [];
    let since = 0;
    line.forEach((p, i) => {
      if (i) since += Math.hypot(p[0] - line[i - 1][0], p[1] - line[i - 1][1]) * this.f.k;
      const even = since >= apart && lengthOf(line.slice(i)) * this.f.k > apart / 2;
      if (i && i !== end && i !== point && !even) return;
      if (even) since = 0;
      out.push(i);
    });
    return out;
  }

  handles({ attempt, stroke, tool, point, cut, sketch }) {
    const out = [];
    const line = attempt.lines[stroke];
    if (line && tool === "choose") {
      for (const i of this.gripped(line, point)) {
        const [x, y] = this.f.px(line[i]);
        const on = i === point;
        out.push(
          s("circle", { cx: x, cy: y, r: on ? 9 : 4, class: on ? "handle on" : "handle", stroke: colour(stroke) }),
          on ? s("circle", { cx: x, cy: y, r: 2.5, class: "handle-core", fill: colour(stroke) }) : "",
          s("rect", { x: x - GRIP_PX / 2, y: y - GRIP_PX / 2, width: GRIP_PX, height: GRIP_PX, class: "grip", "data-point": i }),
        );
      }
    }
    if (line && cut) {
      const [x, y] = this.f.px(cut);
      out.push(s("path", { d: `M${x - 12} ${y - 12}L${x + 12} ${y + 12}M${x - 12} ${y + 12}L${x + 12} ${y - 12}`, class: "cut" }));
    }
    if (sketch?.cross) {
      const [x, y] = this.f.px(sketch.cross);
      if (sketch.points.length) out.push(s("path", { d: path([...sketch.points, sketch.cross], this.f), class: "drawing" }));
      out.push(s("path", { d: `M${x - 14} ${y}H${x + 14}M${x} ${y - 14}V${y + 14}`, class: "cross" }));
    }
    return out;
  }

  /** Where the baseline (y) and the whites (x) are drawn, in px by name; nothing where there is no stroke. */
  lies(a) {
    const xs = a.lines.flat().map((p) => p[0]);
    if (!xs.length) return {};
    const x = (mm) => this.f.px([mm, 0])[0];
    return { baseline: this.f.px([0, a.baseline])[1], left: x(Math.min(...xs) - placeIn(a, "left")), right: x(Math.max(...xs) + placeIn(a, "right")) };
  }

  /** The lines can be dragged, too; they lie under the strokes, which are dragged first. */
  reaches(a, width, height) {
    return Object.entries(this.lies(a)).map(([name, at]) =>
      s("line", { ...(name === "baseline" ? { x1: 0, x2: width, y1: at, y2: at } : { x1: at, x2: at, y1: 0, y2: height }), class: "reach", "data-ruler": name }),
    );
  }

  rulers(a, width, height) {
    const lies = this.lies(a);
    if (!("baseline" in lies)) return [];
    const slider = (name, label, value, at, vertical) => {
      const g = s("g", { role: "slider", tabindex: 0, class: value === null ? "ruler unset" : "ruler", "data-handle": name, "data-ruler": name, "aria-label": label, "aria-valuemin": -20, "aria-valuemax": 20, "aria-valuenow": (value ?? 0).toFixed(2), "aria-valuetext": value === null ? "as the builder spaces it" : `${value.toFixed(2)} mm`, "aria-orientation": vertical ? "horizontal" : "vertical" });
      if (vertical) {
        g.append(s("line", { x1: at, x2: at, y1: 8, y2: height - 8 }), s("rect", { x: at - 11, y: height - 34, width: 22, height: 26, rx: 3 }), knob(at, height - 21), s("path", { d: `M${at - 3} ${height - 26}l-4 5l4 5M${at + 3} ${height - 26}l4 5l-4 5`, class: "sign" }));
      } else {
        g.append(s("line", { x1: 8, x2: width - 8, y1: at, y2: at }), s("rect", { x: 6, y: at - 11, width: 26, height: 22, rx: 3 }), knob(19, at), s("path", { d: `M14 ${at - 3}l5 -4l5 4M14 ${at + 3}l5 4l5 -4`, class: "sign" }));
      }
      g.addEventListener("keydown", (e) => this.steer(e, name));
      return g;
    };
    return [
      slider("baseline", "Baseline of this attempt, over the printed one", a.baseline, lies.baseline, false),
      slider("left", "White on the left", a.left, lies.left, true),
      slider("right", "White on the right", a.right, lies.right, true),
    ];
  }

  steer(event, name) {
    const sign = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[event.key];
    if (!sign) return;
    event.preventDefault();
    event.stopPropagation();
    const by = sign * (event.shiftKey ? 0.5 : 0.1) * (name === "left" && event.key.match(/Left|Right/) ? -1 : 1);
    this.act.placeBy(name, by);
  }

  at(event) {
    const box = this.svg.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  down(event) {
    // A second finger, or the palm beside the pen, is no second drag.
    if (event.button !== 0 || !this.state || this.drag) return;
    // What was typed counts before what is dragged; nothing takes the focus here by itself.
    if (document.activeElement?.matches("input")) document.activeElement.blur();
    const { tool, attempt, stroke } = this.state;
    const at = this.at(event);
    const ruler = event.target.closest("[data-ruler]");
    const point = event.target.dataset.point;
    const k = event.target.closest("[data-stroke]")?.dataset.stroke;
    if (tool === "redraw" || tool === "add") this.drag = { kind: "draw", samples: [this.f.mm(at)] };
    else if (tool === "split") {
      const on = k === undefined ? stroke : Number(k);
      if (on >= 0) this.act.split(attempt.lines[on], on, this.f.mm(at));
      return;
    } else if (ruler) this.drag = { kind: "ruler", name: ruler.dataset.ruler, from: at };
    else if (point !== undefined) this.drag = { kind: "bend", k: stroke, point: Number(point), from: at };
    else if (k !== undefined) {
      if (Number(k) !== stroke) this.act.choose(Number(k), attempt.lines[k]);
      this.drag = { kind: "move", k: Number(k), from: at };
    } else {
      this.act.choose(-1);
      return;
    }
    Object.assign(this.drag, { attempt, pointer: event.pointerId });
    this.svg.setPointerCapture(event.pointerId);
    event.preventDefault();
  }

  moved(event) {
    const d = this.drag;
    if (!d || d.pointer !== event.pointerId) return;
    const pending = this.svg.querySelector(".pending");
    if (d.kind === "draw") {
      const events = event.getCoalescedEvents?.() ?? [];
      for (const e of events.length ? events : [event]) d.samples.push(this.f.mm(this.at(e)));
      pending.replaceChildren(s("path", { d: path(d.samples, this.f), class: "drawing" }));
      return;
    }
    const at = this.at(event);
    d.by = [at[0] - d.from[0], at[1] - d.from[1]];
    if (Math.hypot(...d.by) < 3 && !d.far) return;
    d.far = true;
    if (d.kind === "ruler") this.svg.querySelector(`[data-handle="${d.name}"]`)?.setAttribute("transform", d.name === "baseline" ? `translate(0 ${d.by[1]})` : `translate(${d.by[0]} 0)`);
    else if (d.kind === "move") pending.replaceChildren(s("path", { d: path(d.attempt.lines[d.k], this.f), class: "drawing", transform: `translate(${d.by.join(" ")})` }));
    else {
      const [x, y] = at;
      pending.replaceChildren(s("circle", { cx: x, cy: y, r: 7, class: "drawing" }));
    }
  }

  up(event) {
    const d = this.drag;
    if (!d || d.pointer !== event.pointerId) return;
    this.drag = null;
    const mm = (px) => Math.round((px / this.f.k) * 1000) / 1000;
    if (d.kind === "draw") {
      this.drop(() => this.act.draw(d.samples.map((p) => p.map((v) => Math.round(v * 1000) / 1000)).slice(0, 3900)));
      return;
    }
    if (!d.far) {
      this.draw(this.state);
      if (d.kind === "bend") this.act.point(d.point);
      return;
    }
    const a = d.attempt;
    const line = a.lines[d.k];
    if (d.kind === "move") this.drop(() => this.act.move(line, d.k, [mm(d.by[0]), mm(-d.by[1])]));
    else if (d.kind === "bend") {
      const p = line[d.point];
      this.drop(() => this.act.bend(line, d.k, d.point, [p[0] + mm(d.by[0]), p[1] - mm(d.by[1])]));
    } else this.act.place(d.name, placeIn(a, d.name) + (d.name === "baseline" ? -mm(d.by[1]) : (d.name === "left" ? -1 : 1) * mm(d.by[0])));
  }

  /** Send what was dragged or drawn; it stays in sight till it is stored, whatever is drawn anew meanwhile. */
  async drop(send) {
    const mine = [...this.svg.querySelector(".pending").childNodes];
    this.dropped.push(...mine);
    await send();
    this.dropped = this.dropped.filter((el) => !mine.includes(el));
    mine.forEach((el) => el.remove());
  }

  cancel() {
    if (!this.drag) return;
    this.drag = null;
    this.draw(this.state);
  }

  replay() {
    replay(this.svg, this.state.attempt.lines, this.f, { done: () => this.draw(this.state) });
  }
}
