// A page written again before one's eyes, at the machine's pace: speeds, acceleration, lifting and lowering.

import { post, Refused } from "../core/api.js";
import { button, h, warn } from "../core/dom.js";

const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;
const calm = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Replay {
  constructor(desk) {
    this.desk = desk;
    this.canvas = h("canvas", { class: "replay-canvas", role: "img", "aria-label": "The page being written" });
    this.go = button("Rest", () => this.toggle(), { "data-act": "rest" });
    this.at = h("input", { type: "range", min: 0, max: 1000, value: 0, "aria-label": "Moment", oninput: () => this.seek(Number(this.at.value) / 1000) });
    this.pace = h("select", { "aria-label": "Pace" }, [[1, "as plotted"], [5, "5 times"], [20, "20 times"], [100, "100 times"]].map(([v, l]) => h("option", { value: v, selected: v === 20 }, l)));
    this.time = h("output", {});
    this.el = h("div", { class: "row replay-row", hidden: true }, this.go, h("label", { class: "row" }, h("span", {}, "Moment"), this.at), h("label", { class: "row" }, h("span", {}, "Pace"), this.pace), this.time, button("Close", () => this.close()));
  }

  async open() {
    if (!this.desk.done) return;
    try {
      this.data = await post("replay", { ...this.desk.wish, page: this.desk.page });
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      warn(error.message);
      return;
    }
    const { size } = this.data;
    const scale = Math.min(8, 2400 / Math.max(...size));
    this.canvas.width = Math.round(size[0] * scale);
    this.canvas.height = Math.round(size[1] * scale);
    this.scale = scale;
    this.lengths = this.data.paths.map((p) => {
      let sum = 0;
      for (let i = 2; i < p.length; i += 2) sum += Math.hypot(p[i] - p[i - 2], p[i + 1] - p[i - 1]);
      return sum;
    });
    this.desk.picture.append(this.canvas);
    this.desk.picture.classList.add("replaying");
    this.el.hidden = false;
    this.drawn = 0;
    // Where less motion is wanted the page stands there written, and is gone through by hand, line by line.
    this.running = !calm();
    this.seconds = this.running ? 0 : this.data.whole;
    this.label();
    this.show();
    this.last = performance.now();
    this.go.focus();
    requestAnimationFrame((now) => this.tick(now));
  }

  close() {
    if (this.el.hidden) return;
    const had = this.el.contains(document.activeElement);
    this.data = null;
    this.canvas.remove();
    this.desk.picture.classList.remove("replaying");
    this.el.hidden = true;
    if (had) document.querySelector("[data-act=watch]")?.focus();
  }

  label() {
    this.go.textContent = this.running ? "Rest" : calm() ? "Next line" : this.seconds >= this.data.whole ? "Write again" : "Write on";
  }

  toggle() {
    const { whole, line, begins, ends } = this.data;
    if (calm()) {
      // One line further, with nothing moving between.
      if (this.seconds >= whole) this.seconds = 0;
      const k = ends.findIndex((end) => end > this.seconds + 1e-6);
      let last = Math.max(0, k);
      while (last + 1 < line.length && line[last + 1] === line[Math.max(0, k)]) last += 1;
      this.seconds = k < 0 || last + 1 >= begins.length ? whole : ends[last];
    } else {
      if (this.seconds >= whole) this.seconds = 0;
      this.running = !this.running;
    }
    this.label();
    this.show();
  }

  seek(share) {
    this.seconds = share * this.data.whole;
    this.show();
    this.label();
  }

  stroke(k, share) {
    const p = this.data.paths[k];
    const ink = this.canvas.getContext("2d");
    const pen = this.data.pens[this.data.pen[k] - 1] ?? this.data.pens[0];
    const f = this.scale / this.data.per;
    Object.assign(ink, { strokeStyle: pen.colour, lineWidth: pen.width * this.scale, lineCap: "round", lineJoin: "round" });
    ink.beginPath();
    ink.moveTo(p[0] * f, p[1] * f);
    if (p.length === 2) ink.lineTo(p[0] * f + 0.01, p[1] * f);
    let left = share * this.lengths[k];
    for (let i = 2; i < p.length && left > 0; i += 2) {
      const d = Math.hypot(p[i] - p[i - 2], p[i + 1] - p[i - 1]);
      const t = d > left ? left / d : 1;
      ink.lineTo((p[i - 2] + t * (p[i] - p[i - 2])) * f, (p[i - 1] + t * (p[i + 1] - p[i - 1])) * f);
      left -= d;
    }
    ink.stroke();
  }

  show() {
    const { begins, ends, whole } = this.data;
    if (this.drawn > 0 && ends[this.drawn - 1] > this.seconds) {
      this.canvas.getContext("2d").clearRect(0, 0, this.canvas.width, this.canvas.height);
      this.drawn = 0;
    }
    while (this.drawn < ends.length && ends[this.drawn] <= this.seconds) this.stroke(this.drawn++, 1);
    const k = this.drawn;
    if (k < ends.length && begins[k] <= this.seconds) this.stroke(k, ends[k] > begins[k] ? (this.seconds - begins[k]) / (ends[k] - begins[k]) : 1);
    this.at.value = whole ? (1000 * this.seconds) / whole : 0;
    this.at.setAttribute("aria-valuetext", `${clock(this.seconds)} of ${clock(whole)}`);
    this.time.textContent = `${clock(this.seconds)} of ${clock(whole)}`;
  }

  tick(now) {
    if (!this.data || !this.canvas.isConnected) return;
    if (this.running) {
      this.seconds = Math.min(this.data.whole, this.seconds + Math.min(0.1, (now - this.last) / 1000) * Number(this.pace.value));
      if (this.seconds >= this.data.whole) {
        this.running = false;
        this.label();
      }
      this.show();
    }
    this.last = now;
    requestAnimationFrame((next) => this.tick(next));
  }
}
