// One character as it is shown: its attempts side by side, one of them large, the words beside it.

import { Desk } from "./stroke_editor.js";
import { button, h, keepFocus, plural, shown } from "../core/dom.js";
import { letterLink, MARKS, stateOf } from "../overview/letters.js";
import { pairName, Panel } from "./panel.js";
import { along, sketch } from "./strokes.js";

export class Letter {
  constructor() {
    this.data = null;
    this.attempt = null;
    this.index = 0;
    /** The chosen stroke and point; -1: none. */
    this.stroke = -1;
    this.point = -1;
    /** "choose", "split" (then `cut` at `share` of the stroke), "redraw" or "add" (then `sketch`). */
    this.tool = "choose";
    this.share = 0.5;
    this.cut = null;
    this.sketch = null;
    /** How many others could be written the same way; null: not known. */
    this.hint = null;
    /** How many other pairs could be cut as this one is cut from its neighbour: `{ to, n }`; null: not known, or none. */
    this.pairs = null;
    /** Values asked for and not stored yet, by name; they are shown, whatever an earlier answer says. */
    this.wishes = new Map();
  }

  /** Give it what its buttons and its picture do; see `actsOf`. */
  connect(acts) {
    this.acts = acts;
    this.desk = new Desk(acts.onDesk);
    this.panel = new Panel(acts);
    this.strip = h("div", { class: "attempts", role: "group" });
    this.tools = h("div", { class: "row desk-tools", id: "desk-tools" });
    /** Room for what the tool in hand asks for, or for an offer: always there, so that nothing moves when it comes. */
    this.beneath = h("div", { class: "beneath", role: "status" });
    this.head = h("h1", {});
    this.parts = [
      h("div", { class: "letter-head" }, h("a", { href: "#letters", class: "back" }, "← All letters"), this.head, h("span", { class: "row" }, button("Next to look at", acts.nextOpen))),
      this.strip,
      h("div", { class: "bench" }, this.panel.first, h("div", { class: "desk-side" }, this.desk.el, h("p", { class: "hint" }, "A number stands where the pen lands; the arrows show which way it goes."), this.tools, this.beneath), this.panel.el),
    ];
  }

  /** Show the letter; where it is shown already, only what changed, so that focus, fields and scrolling stay. */
  show(main, data, id) {
    this.take(data, id);
    document.title = `${shown(data.char)}: ${data.name}`;
    if (this.parts[0].parentNode !== main) main.replaceChildren(...this.parts);
    this.head.replaceChildren(h("span", { class: "printed-large", "aria-hidden": "true" }, shown(data.char)), data.name);
    this.strip.setAttribute("aria-label", `Attempts at ${data.name}`);
    this.drawStrip();
    this.draw();
  }

  /** Take in how the letter stands now; what the person is in the midst of stays as it is. */
  take(data, id) {
    const before = this.data?.char === data.char ? this.attempt.id : "";
    const wanted = id || before;
    let index = data.attempts.findIndex((a) => a.id === wanted);
    if (index < 0) index = Math.max(0, data.attempts.findIndex((a) => a.doubts.length && !a.settled));
    if (data.attempts[index].id !== before) {
      Object.assign(this, { stroke: -1, point: -1, tool: "choose", cut: null, sketch: null, hint: null, pairs: null });
      this.wishes.clear();
    }
    this.data = data;
    this.index = index;
    this.attempt = { ...data.attempts[index], ...Object.fromEntries(this.wishes) };
    const { lines } = this.attempt;
    this.stroke = Math.min(this.stroke, lines.length - 1);
    if (this.stroke < 0 && lines.length === 1) this.stroke = 0;
    if (this.point >= (lines[this.stroke]?.length ?? 0)) this.point = -1;
    if (this.stroke < 0 && ["split", "redraw"].includes(this.tool)) Object.assign(this, { tool: "choose", cut: null, sketch: null });
    if (this.tool === "split") this.cutAt(this.share);
  }

  /** Show a value before it is stored, so that a key pressed again goes on from it. */
  wish(name, value) {
    this.wishes.set(name, value);
    this.attempt[name] = value;
    this.desk.draw(this);
    this.panel.drawPlaces(this);
  }

  /** Wishes were refused: show what is stored. */
  takeBack() {
    this.wishes.clear();
    this.take(this.data, this.attempt.id);
    this.draw();
  }

  /** What was wished is stored; a later wish for the same stands. */
  granted(name, value) {
    if (this.wishes.get(name) === value) this.wishes.delete(name);
  }

  cutAt(share) {
    this.share = Math.min(0.97, Math.max(0.03, share));
    this.cut = along(this.attempt.lines[this.stroke], this.share).at;
  }

  draw() {
    this.desk.draw(this);
    this.drawTools();
    this.panel.draw(this);
  }

  drawStrip() {
    let turned = false;
    this.data.attempts.forEach((a, i) => {
      const told = JSON.stringify(a);
      const old = this.strip.children[i];
      if (old?.told !== told) {
        const made = this.attemptButton(a, i);
        made.told = told;
        keepFocus(this.strip, () => (old ? old.replaceWith(made) : this.strip.append(made)));
      }
      const el = this.strip.children[i];
      const is = String(i === this.index);
      turned ||= is === "true" && el.getAttribute("aria-pressed") !== is;
      el.setAttribute("aria-pressed", is);
    });
    while (this.strip.children.length > this.data.attempts.length) this.strip.lastChild.remove();
    if (turned) this.strip.children[this.index].scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  attemptButton(a, i) {
    const state = stateOf(a);
    const mark = MARKS[state] ?? "";
    return h(
      "button",
      { type: "button", "data-act": `attempt${i}`, class: `attempt ${state.replaceAll(" ", "-")}`, onclick: () => location.replace(letterLink(this.data.char, a.id)) },
      sketch(a, a.lines),
      h("span", { class: "attempt-name" }, `${a.number}`, h("span", { class: "state" }, mark ? ` ${mark} ${state}` : "")),
    );
  }

  drawTools() {
    const key = (k) => (k ? [" ", h("kbd", { "aria-hidden": "true" }, k)] : []);
    const tool = (name, label, k) => button([label, key(k)], () => this.acts.tool(name), { "aria-pressed": String(this.tool === name), "data-act": name });
    const some = this.stroke >= 0;
    keepFocus(this.tools, () =>
      this.tools.replaceChildren(
        button(["Replay", key("P")], this.acts.replay, { "data-act": "replay" }),
        some ? tool("split", "Split", "S") : "",
        some ? tool("redraw", "Redraw", "D") : "",
        tool("add", "Add a stroke", some ? "" : "D"),
      ),
    );
    this.drawBeneath();
  }

  drawBeneath() {
    const words = { split: "Tap the stroke where it is to be cut.", redraw: "Draw the stroke over the ink, in one go.", add: "Draw the missing stroke over the ink, in one go." }[this.tool];
    const n = this.hint;
    const offer = () => [h("span", {}, `${plural(n, "other attempt")} could be written the same way.`), button([`Look at ${n === 1 ? "it" : "them"} `, h("kbd", { "aria-hidden": "true" }, "A")], this.acts.alike, { class: "main", "data-act": "offer" })];
    const { to, n: pairs } = (this.attempt.mended && this.pairs) || {};
    const cuts = () => [h("span", {}, `${plural(pairs, "other pair")} ${pairName(this.attempt, to, this.attempt.beside[to])} could be cut in the same place.`), button(`Look at ${pairs === 1 ? "it" : "them"}`, () => this.acts.cuts(to), { class: "main", "data-act": "offer-cuts" })];
    keepFocus(this.beneath, () => this.beneath.replaceChildren(...(words ? [h("strong", { class: "tool-words" }, words)] : pairs ? cuts() : n ? offer() : [])));
  }

  replay() {
    this.desk.replay();
    this.strip.querySelectorAll("svg").forEach((svg) => svg.replay());
  }
}
