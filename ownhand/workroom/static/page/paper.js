// The paper and its margins.

import { h } from "../core/dom.js";
import { marginsOf } from "./boxes.js";
import { field, number, select, tick, words } from "./fields.js";

const PAPERS = [["148x105", "Postcard, 148 × 105 mm"], ["105x148", "Postcard upright"], ["A6", "A6"], ["A5", "A5"], ["A4", "A4"], ["Letter", "Letter"], ["DL", "Envelope DL"], ["C6", "Envelope C6"]];

export function paperPart(desk) {
  const { layout } = desk;
  const paper = layout.paper ?? "A4";
  const known = PAPERS.some(([v]) => v === paper);
  const own = words(known ? "" : paper, (v) => v && desk.lay("paper", v), { placeholder: "width x height", size: 12 });
  const margins = marginsOf(layout);
  const margin = (i, label) => field(`${label}, mm`, number(margins[i], (v) => {
    margins[i] = Math.max(0, v ?? 0);
    desk.lay("margins_mm", [...margins]);
  }, { min: 0 }), "narrow");
  return [
    h("div", { class: "row bottom" }, field("Paper", select([...PAPERS, ...(known ? [] : [[paper, paper]])], paper, (v) => desk.lay("paper", v))), field("or its size in mm", own)),
    tick(layout.landscape, "The long side across", (on) => desk.lay("landscape", on || null)),
    h("div", { class: "row bottom margins" }, margin(0, "Above"), margin(1, "Right"), margin(2, "Below"), margin(3, "Left")),
  ];
}
