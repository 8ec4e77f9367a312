// Everything beside the paper: its size, the writing, pens, liveliness, plotter, layouts, files.

import { post } from "../core/api.js";
import { button, h, keepFocus, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { LIFE } from "../overview/text_preview.js";
import { saveFile } from "../start/transfer.js";
import { marginsOf } from "./boxes.js";
import { plotterPart } from "./plotter.js";
import { TablePart } from "./table.js";

const PAPERS = [["148x105", "Postcard, 148 × 105 mm"], ["105x148", "Postcard upright"], ["A6", "A6"], ["A5", "A5"], ["A4", "A4"], ["Letter", "Letter"], ["DL", "Envelope DL"], ["C6", "Envelope C6"]];
const FORMATS = [["svg", "SVG"], ["hpgl", "HP-GL"], ["gcode", "G-code"], ["png", "Picture (PNG)"], ["html", "Replay (web page)"]];

const field = (label, el, more = "") => h("label", { class: `field ${more}` }, h("span", {}, label), el);
const number = (value, change, attributes = {}) => h("input", { type: "number", step: 0.5, value: value ?? "", onchange: (e) => change(e.target.value === "" ? null : Number(e.target.value)), ...attributes });
const select = (options, value, change, attributes = {}) => h("select", { onchange: (e) => change(e.target.value), ...attributes }, options.map(([v, l]) => h("option", { value: v, selected: String(v) === String(value) }, l)));
const part = (title, open, ...inside) => h("details", { class: "slip setting", open }, h("summary", {}, title), h("div", { class: "stack" }, inside));

export function controls(desk) {
  const table = new TablePart(desk);
  const seed = h("output", {});
  const save = button("Save the files", () => attemptTo(async () => {
    save.disabled = true;
    try {
      await saveFile("files", desk.wish);
      say("Saved.");
    } finally {
      save.disabled = false;
    }
  }), { class: "main", id: "save-files" });
  const watch = button(["Watch it being written ", h("kbd", { "aria-hidden": "true" }, "P")], () => desk.watch(), { "data-act": "watch" });
  const again = button(["Again, differently ", h("kbd", { "aria-hidden": "true" }, "G")], () => desk.again(), { "data-act": "again" });
  const settings = h("div", { class: "stack" });
  const it = {
    table: table.el,
    settings,
    top: h("div", { class: "row top-row" }, again, watch, save, h("span", { class: "hint" }, "draw ", seed)),
    drawSeed: () => {
      seed.textContent = String(desk.wish.seed);
    },
    took: (done) => {
      watch.disabled = save.disabled = !done.pages;
      table.took(done);
    },
    drawPager: () => drawPager(desk),
    draw: () => drawSettings(desk, settings, it),
  };
  it.drawSeed();
  it.draw();
  return it;
}

function drawPager(desk) {
  const n = desk.done?.pages.length ?? 0;
  const go = (by) => {
    desk.page = Math.min(n, Math.max(1, desk.page + by));
    desk.replay.close();
    desk.drawPaper();
  };
  keepFocus(desk.pager, () => desk.pager.replaceChildren(...(n > 1 ? [button("Page before", () => go(-1), { disabled: desk.page <= 1, "data-act": "before" }), h("span", {}, `Page ${desk.page} of ${desk.done.count}`), button("Next page", () => go(1), { disabled: desk.page >= n, "data-act": "on" })] : [])));
}

function drawSettings(desk, box, it) {
  const open = new Set([...box.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  const is = (title, at) => (box.childElementCount ? open.has(title) : at);
  const { layout } = desk;
  const sections = [
    ["Paper and margins", true, () => paperPart(desk)],
    ["Writing", true, () => writingPart(desk)],
    ["Boxes", Boolean(layout.boxes?.length), () => [desk.boxes.fields]],
    ["Pens", (layout.pens?.length ?? 0) > 1, () => pensPart(desk, it)],
    ["Liveliness", false, () => lifePart(desk)],
    ["Layouts", false, () => layoutsPart(desk, it)],
    ["Plotter", Boolean(desk.wish.machine), () => plotterPart(desk, it)],
    ["Files", true, () => filesPart(desk)],
  ];
  keepFocus(box, () => box.replaceChildren(...sections.map(([title, at, make]) => part(title, is(title, at), make()))));
}

function paperPart(desk) {
  const { layout } = desk;
  const paper = layout.paper ?? "A4";
  const known = PAPERS.some(([v]) => v === paper);
  const own = h("input", { type: "text", value: known ? "" : paper, placeholder: "width x height", size: 12, onchange: (e) => e.target.value.trim() && desk.lay("paper", e.target.value.trim()) });
  const margins = marginsOf(layout);
  const margin = (i, label) => field(`${label}, mm`, number(margins[i], (v) => {
    margins[i] = Math.max(0, v ?? 0);
    desk.lay("margins_mm", [...margins]);
  }, { min: 0 }), "narrow");
  const turned = h("input", { type: "checkbox", onchange: (e) => desk.lay("landscape", e.target.checked || null) });
  turned.checked = Boolean(layout.landscape);
  return [
    h("div", { class: "row bottom" }, field("Paper", select([...PAPERS, ...(known ? [] : [[paper, paper]])], paper, (v) => desk.lay("paper", v))), field("or its size in mm", own)),
    h("label", { class: "tick" }, turned, h("span", {}, "The long side across")),
    h("div", { class: "row bottom margins" }, margin(0, "Above"), margin(1, "Right"), margin(2, "Below"), margin(3, "Left")),
  ];
}

function writingPart(desk) {
  const { layout } = desk;
  const tick = (name, words) => {
    const el = h("input", { type: "checkbox", onchange: (e) => desk.lay(name, e.target.checked || null) });
    el.checked = Boolean(layout[name]);
    return h("label", { class: "tick" }, el, h("span", {}, words));
  };
  const ruled = (name, v) => {
    const now = { pitch_mm: 8, offset_mm: 0, ...layout.ruling, [name]: v };
    desk.lay("ruling", name === "pitch_mm" && v === null ? null : now);
  };
  return [
    h("div", { class: "row bottom" },
      field("Height of an x, mm", number(layout.x_height_mm, (v) => desk.lay("x_height_mm", v), { min: 0.5, max: 200, step: 0.1, placeholder: String(desk.told.x_height_mm) }), "narrow"),
      field("Line distance, times", number(layout.line_spacing, (v) => desk.lay("line_spacing", v), { min: 0.3, max: 10, step: 0.1, placeholder: "1" }), "narrow"),
      field("Lines", select([["left", "left"], ["centre", "centre"], ["right", "right"], ["justified", "justified"]], layout.align ?? "left", (v) => desk.lay("align", v === "left" ? null : v)))),
    h("div", { class: "row bottom" },
      field("Printed lines, mm apart", number(layout.ruling?.pitch_mm, (v) => ruled("pitch_mm", v), { min: 1, placeholder: "none" }), "narrow"),
      field("one of them from the top, mm", number(layout.ruling?.offset_mm, (v) => ruled("offset_mm", v ?? 0), { placeholder: "0" }), "narrow"),
      field("Divide words in", h("input", { type: "text", value: layout.hyphenate ?? "", size: 6, placeholder: "no language", onchange: (e) => desk.lay("hyphenate", e.target.value.trim() || null) }))),
    layout.boxes?.length ? null : tick("fit", "Write smaller where the text would need a further page"),
    field("Order of the strokes", select([["writing", "as they are written"], ["least travel", "with the pen lifted least far"]], layout.order ?? "writing", (v) => desk.lay("order", v === "writing" ? null : v))),
  ];
}

function pensPart(desk, it) {
  const pens = desk.layout.pens ?? [{ colour: "#1f2a56" }];
  const put = (next) => {
    desk.lay("pens", next);
    it.draw();
    desk.boxes.drawFields();
  };
  const change = (k, changes) => desk.lay("pens", pens.map((p, i) => Object.fromEntries(Object.entries(i === k ? Object.assign(p, changes) : p).filter(([, v]) => v !== null && v !== ""))));
  const row = (pen, k) =>
    h("div", { class: "row bottom pen-row" },
      h("span", { class: "pen-number" }, `Pen ${k + 1}`),
      field("Colour", h("input", { type: "color", value: pen.colour ?? "#1f2a56", "aria-label": `Colour of pen ${k + 1}`, oninput: (e) => change(k, { colour: e.target.value }) })),
      field("Width, mm", number(pen.width_mm, (v) => change(k, { width_mm: v }), { min: 0.01, max: 20, step: 0.05, placeholder: "as read" }), "narrow"),
      field("Name", h("input", { type: "text", value: pen.name ?? "", size: 8, onchange: (e) => change(k, { name: e.target.value.trim() || null }) })),
      k === pens.length - 1 && k > 0 && !(desk.layout.boxes ?? []).some((b) => (b.pen ?? 1) > k) ? button("Take away", () => put(pens.slice(0, -1)), { "aria-label": `Take pen ${k + 1} away`, "data-act": "pen-less" }) : "");
  return [...pens.map(row), h("div", { class: "row" }, button("One more pen", () => put([...pens, { colour: "#8a1f1f" }]), { "data-act": "pen-more" })), h("p", { class: "hint" }, desk.layout.boxes?.length ? "Each box says which pen writes it." : "Divide the page into boxes to write with several pens.")];
}

function lifePart(desk) {
  const life = (desk.layout.life ??= {});
  const slider = ([name, label]) => {
    const out = h("output", {}, String(life[name] ?? 1));
    const input = h("input", { type: "range", min: 0, max: 2, step: 0.1, "data-life": name, value: life[name] ?? 1 });
    input.addEventListener("input", () => {
      if (Number(input.value) === 1) delete life[name];
      else life[name] = Number(input.value);
      out.textContent = input.value;
      desk.layout.life = life;
      desk.soon();
    });
    return h("label", { class: "slider" }, h("span", {}, label), input, out);
  };
  return [h("p", { class: "hint" }, "0 not at all, 1 as people write, 2 twice as much"), h("div", { class: "sliders" }, LIFE.map(slider))];
}

function layoutsPart(desk, it) {
  const names = desk.told.layouts;
  const name = h("input", { type: "text", maxlength: 80, size: 14, value: desk.layoutName ?? "" });
  const take = (layout, words) => {
    desk.wish.layout = layout;
    desk.boxes.chosen = 0;
    it.draw();
    desk.texts.draw();
    say(words);
    return desk.set();
  };
  const load = h("select", {}, names.map((n) => h("option", { value: n }, n)));
  const file = h("input", { type: "file", accept: ".toml", onchange: () => attemptTo(async () => {
    const [chosen] = file.files;
    if (!chosen) return;
    const done = await post("layout/load", { layout_name: chosen.name, text: await chosen.text() });
    await take(done.layout, `The layout of ${chosen.name} is taken.`);
  }) });
  return [
    names.length ? h("div", { class: "row bottom" }, field("Kept layouts", load), button("Take it", () => attemptTo(async () => {
      const done = await post("layout/load", { layout_name: load.value });
      desk.layoutName = load.value;
      await take(done.layout, `The layout ${load.value} is taken.`);
    }), { "data-act": "take-layout" })) : "",
    h("div", { class: "row bottom" }, field("Keep this one as", name), button("Keep the layout", () => attemptTo(async () => {
      const done = await post("layout/save", { ...desk.wish, layout_name: name.value.trim() });
      desk.told.layouts = done.layouts;
      desk.layoutName = done.name;
      it.draw();
      say(`Kept as ${done.name}.toml, which ownhand write --layout reads, too.`);
    }), { "data-act": "keep-layout" })),
    field("or take one from a file (TOML)", file),
  ];
}

function filesPart(desk) {
  const tick = ([kind, label]) => {
    const el = h("input", { type: "checkbox", "data-format": kind, onchange: () => {
      desk.wish.formats = FORMATS.map(([k]) => k).filter((k) => (k === kind ? el.checked : desk.wish.formats.includes(k)));
      desk.soon(0);
    } });
    el.checked = desk.wish.formats.includes(kind);
    return h("label", { class: "tick" }, el, h("span", {}, label));
  };
  return [
    field("Name of the files", h("input", { type: "text", value: desk.wish.name, maxlength: 80, onchange: (e) => { desk.wish.name = e.target.value.trim() || "page"; desk.soon(0); } })),
    h("fieldset", { class: "stack" }, h("legend", {}, "Kinds; several are saved together as a ZIP"), h("div", { class: "row ticks" }, FORMATS.map(tick))),
    h("div", { class: "row" }, button("Save the text as a file", () => attemptTo(() => saveFile("text-file", desk.wish)))),
    h("p", { class: "caution" }, "A plotter's moving parts pinch and its pen stabs. Try a new file with the pen lifted, keep to the bed's limits, follow the machine's manual and local rules."),
  ];
}
