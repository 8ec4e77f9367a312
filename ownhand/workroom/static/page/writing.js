// How the page is written: size, lines, printed lines, order; and what only few pages need.

import { h } from "../core/dom.js";
import { DOWN } from "./boxes.js";
import { field, more, number, penChoice, select, tick, words } from "./fields.js";

export function writingPart(desk, it) {
  const { layout } = desk;
  const boxed = layout.boxes?.some((b) => !b.blank);
  const ruled = (name, v) => {
    desk.lay("ruling", name === "pitch_mm" && v === null ? null : { pitch_mm: 8, offset_mm: 0, ...layout.ruling, [name]: v });
    it.draw();
  };
  return [
    h("div", { class: "row bottom" },
      field("Height of an x, mm", number(layout.x_height_mm, (v) => desk.lay("x_height_mm", v), { min: 0.5, max: 200, step: 0.1, placeholder: String(desk.told.x_height_mm) }), "narrow"),
      field("Line distance, times", number(layout.line_spacing, (v) => desk.lay("line_spacing", v), { min: 0.3, max: 10, step: 0.1, placeholder: "1" }), "narrow"),
      field("Lines", select([["left", "left"], ["centre", "centre"], ["right", "right"], ["justified", "justified"]], layout.align ?? "left", (v) => desk.lay("align", v === "left" ? null : v)))),
    h("div", { class: "row bottom" },
      field("Printed lines, mm apart", number(layout.ruling?.pitch_mm, (v) => ruled("pitch_mm", v), { min: 1, placeholder: "none", "data-act": "pitch" }), "narrow"),
      field("one of them from the top, mm", number(layout.ruling?.offset_mm, (v) => ruled("offset_mm", v ?? 0), { placeholder: "0", "data-act": "offset" }), "narrow"),
      field("Divide words in", words(layout.hyphenate, (v) => desk.lay("hyphenate", v), { size: 10, placeholder: "no language" }))),
    layout.ruling ? h("div", { class: "row bottom" }, tick(layout.ruling.drawn, "The plotter draws these lines", (on) => ruled("drawn", on), { "data-act": "drawn" }), layout.ruling.drawn ? penChoice(desk, layout.ruling.pen, (v) => ruled("pen", v ?? 1), { "data-act": "ruling-pen" }) : "") : "",
    boxed ? "" : tick(layout.fit, "Write smaller where the text would need a further page", (on) => desk.lay("fit", on || null)),
    field("Order of the strokes", select([["writing", "as they are written"], ["least travel", "with the pen lifted least far"]], layout.order ?? "writing", (v) => desk.lay("order", v === "writing" ? null : v))),
    more("Paragraphs, lists, columns", it.settings, finer(desk, boxed)),
  ];
}

function finer(desk, boxed) {
  const { layout } = desk;
  const mm = (name, label, attributes) => field(label, number(layout[name], (v) => desk.lay(name, v), attributes), "narrow");
  return [
    h("div", { class: "row bottom" },
      mm("indent_mm", "First line in, mm", { placeholder: "0" }),
      mm("paragraph_gap", "Blank line, lines high", { min: 0, max: 20, step: 0.1, placeholder: "0.5" }),
      mm("tab_mm", "Tab stops, mm apart", { min: 0.5, placeholder: "columns" })),
    boxed ? "" : h("div", { class: "row bottom" },
      mm("columns", "Columns", { min: 1, max: 12, step: 1, placeholder: "1" }),
      mm("column_gap_mm", "Between them, mm", { min: 0, placeholder: "8" }),
      field("The text stands", select(DOWN, layout.down ?? "top", (v) => desk.lay("down", v === "top" ? null : v)))),
    h("div", { class: "row bottom" }, mm("smallest", "Smaller at most to, times", { min: 0.1, max: 1, step: 0.05, placeholder: "0.6" })),
    tick(layout.lists ?? true, "Lines that begin with a dash, a dot or a number hang from it", (on) => desk.lay("lists", on ? null : false)),
    tick(layout.joins ?? true, "Write on without lifting where letters join", (on) => desk.lay("joins", on ? null : false)),
  ];
}
