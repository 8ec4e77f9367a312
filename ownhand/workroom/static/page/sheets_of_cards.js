// Several pages on one sheet of paper, with marks to cut them apart by; and the sheet looked at.

import { handsOff } from "../core/action_queue.js";
import { post, Refused } from "../core/api.js";
import { button, h } from "../core/dom.js";
import { field, more, number, penChoice, select, tick, trimmed, words } from "./fields.js";

const PAPERS = ["A4", "A3", "SRA3", "Letter", "A5"].map((p) => [p, p]);

export function severalPart(desk, it) {
  const { impose } = desk.layout;
  const on = tick(impose, "Put several on one sheet, and cut them apart", (is) => {
    desk.lay("impose", is ? { paper: "A4" } : null);
    if (!is) desk.sheet.show(false);
    it.draw();
  }, { "data-act": "several" });
  if (!impose) return [on];
  const put = (changes) => desk.lay("impose", trimmed({ ...impose, ...Object.assign(impose, changes) }));
  const pair = (name, k, at, v) => {
    const now = [...(impose[name] ?? at)];
    now[k] = Math.max(0, v ?? at[k]);
    put({ [name]: now });
  };
  const known = PAPERS.some(([v]) => v === impose.paper);
  const place = (name, k, at, label) => field(label, number(impose[name]?.[k], (v) => pair(name, k, at, v), { min: 0, placeholder: String(at[k]), "data-act": `${name}${k}` }), "narrow");
  return [
    on,
    h("div", { class: "row bottom" },
      field("Sheet", select([...PAPERS, ...(known ? [] : [[impose.paper, impose.paper]])], impose.paper, (v) => put({ paper: v }), { "data-act": "several-paper" })),
      field("or its size in mm", words(known ? "" : impose.paper, (v) => v && put({ paper: v }), { size: 12, placeholder: "width x height", "data-act": "several-size" }))),
    tick(impose.landscape, "The sheet's long side across", (is) => put({ landscape: is || null }), { "data-act": "several-across" }),
    tick(impose.crop_marks ?? true, "Draw marks to cut by", (is) => put({ crop_marks: is }), { "data-act": "several-marks" }),
    more("Gaps, margins, how many", it.settings,
      h("div", { class: "row bottom" }, place("gap_mm", 0, [4, 4], "Gap across, mm"), place("gap_mm", 1, [4, 4], "Gap down, mm")),
      h("div", { class: "row bottom margins" }, ["Above", "Right", "Below", "Left"].map((label, k) => place("margins_mm", k, [10, 10, 10, 10], `${label}, mm`))),
      h("div", { class: "row bottom" },
        field("Across", number(impose.columns, (v) => put({ columns: v }), { min: 1, step: 1, placeholder: "all that fit", "data-act": "several-columns" }), "narrow"),
        field("Down", number(impose.rows, (v) => put({ rows: v }), { min: 1, step: 1, placeholder: "all that fit", "data-act": "several-rows" }), "narrow"),
        field("Marks, mm long", number(impose.mark_mm, (v) => put({ mark_mm: v }), { min: 0.5, placeholder: "3", "data-act": "several-mark" }), "narrow"),
        penChoice(desk, impose.pen, (v) => put({ pen: v }), { "data-act": "several-pen" }))),
  ];
}

/** The whole sheet in place of the one page. */
export class SheetView {
  constructor(desk) {
    this.desk = desk;
    this.on = false;
    this.latest = 0;
  }

  /** What leads there and back; nothing where each page has its own paper. */
  toggle() {
    const { sheets } = this.desk.done ?? {};
    if (!sheets) return [];
    return [button(this.on ? "Back to the one page" : `The whole sheet (${sheets.each} on it)`, () => this.show(!this.on), { "aria-pressed": String(this.on), "data-act": "whole-sheet" })];
  }

  show(on) {
    this.on = on;
    this.desk.drawPaper();
  }

  /** Draw the sheet where the page stood. */
  async draw() {
    const mine = ++this.latest;
    const { desk } = this;
    desk.picture.setAttribute("aria-busy", "true");
    try {
      const { svg } = await post("imposed", { ...desk.wish, page: desk.page });
      await handsOff();
      if (mine === this.latest && this.on && desk.done) desk.drawSvg(svg, desk.done.sheets.size_mm, "The whole sheet as it will be plotted");
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (mine === this.latest) desk.refused(error);
    } finally {
      if (mine === this.latest) desk.picture.setAttribute("aria-busy", String(desk.busy));
    }
  }
}
