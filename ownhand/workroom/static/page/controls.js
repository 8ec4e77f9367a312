// Everything beside the paper: its size, the writing, pens, liveliness, plotter, layouts, files.

import { post } from "../core/api.js";
import { button, h, keepFocus, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { LIFE } from "../overview/text_preview.js";
import { saveFile } from "../start/transfer.js";
import { field, number, part } from "./fields.js";
import { paperPart } from "./paper.js";
import { plotterPart } from "./plotter.js";
import { severalPart } from "./sheets_of_cards.js";
import { TablePart } from "./table.js";
import { writingPart } from "./writing.js";

const FORMATS = [["svg", "SVG"], ["hpgl", "HP-GL"], ["gcode", "G-code"], ["png", "Picture (PNG)"], ["html", "Replay (web page)"]];

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
    small: table.small,
    settings,
    top: h("div", { class: "row top-row" }, again, watch, save, h("span", { class: "hint" }, "seed ", seed)),
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
  keepFocus(desk.pager, () => desk.pager.replaceChildren(...(n > 1 ? [button("Page before", () => go(-1), { disabled: desk.page <= 1, "data-act": "before" }), h("span", {}, `Page ${desk.page} of ${desk.done.count}`), button("Next page", () => go(1), { disabled: desk.page >= n, "data-act": "on" })] : []), ...desk.sheet.toggle()));
}

function drawSettings(desk, box, it) {
  const open = new Set([...box.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  const is = (title, at) => (box.childElementCount ? open.has(title) : at);
  const { layout } = desk;
  const sections = [
    ["Paper and margins", true, () => paperPart(desk)],
    ["Writing", true, () => writingPart(desk, it)],
    ["Boxes", Boolean(layout.boxes?.length), () => [desk.boxes.fields]],
    ["Pens", (layout.pens?.length ?? 0) > 1, () => pensPart(desk, it)],
    ["Liveliness", false, () => lifePart(desk)],
    ["Drawings", Boolean(layout.drawings?.length), () => [desk.drawings.fields]],
    ["Writing along a curve", Boolean(layout.curves?.length), () => [desk.curves.fields]],
    ["Several on one sheet", Boolean(layout.impose), () => severalPart(desk, it)],
    ["Layouts", false, () => layoutsPart(desk, it)],
    ["Plotter", Boolean(desk.wish.machine), () => plotterPart(desk, it)],
    ["Files", true, () => filesPart(desk)],
  ];
  keepFocus(box, () => box.replaceChildren(...sections.map(([title, at, make]) => part(title, is(title, at), make()))));
}

/** All that says which pen it takes. */
const penUsers = (layout) => [...(layout.boxes ?? []), ...(layout.curves ?? []), ...(layout.drawings ?? []), ...(layout.ruling ? [layout.ruling] : []), ...(layout.impose ? [layout.impose] : [])];

function pensPart(desk, it) {
  const pens = desk.layout.pens ?? [{ colour: "#1f2a56" }];
  const put = (next) => {
    desk.lay("pens", next);
    it.draw();
    desk.boxes.drawFields();
    desk.curves.drawFields();
    desk.drawings.drawFields();
  };
  const change = (k, changes) => desk.lay("pens", pens.map((p, i) => Object.fromEntries(Object.entries(i === k ? Object.assign(p, changes) : p).filter(([, v]) => v !== null && v !== ""))));
  const row = (pen, k) =>
    h("div", { class: "row bottom pen-row" },
      h("span", { class: "pen-number" }, `Pen ${k + 1}`),
      field("Colour", h("input", { type: "color", value: pen.colour ?? "#1f2a56", "aria-label": `Colour of pen ${k + 1}`, oninput: (e) => change(k, { colour: e.target.value }) })),
      field("Width, mm", number(pen.width_mm, (v) => change(k, { width_mm: v }), { min: 0.01, max: 20, step: 0.05, placeholder: "as read" }), "narrow"),
      field("Name", h("input", { type: "text", value: pen.name ?? "", size: 8, onchange: (e) => change(k, { name: e.target.value.trim() || null }) })),
      k === pens.length - 1 && k > 0 && !penUsers(desk.layout).some((o) => (o.pen ?? 1) > k) ? button("Take away", () => put(pens.slice(0, -1)), { "aria-label": `Take pen ${k + 1} away`, "data-act": "pen-less" }) : "");
  return [...pens.map(row), h("div", { class: "row" }, button("One more pen", () => put([...pens, { colour: "#8a1f1f" }]), { "data-act": "pen-more" })), h("p", { class: "hint" }, penUsers(desk.layout).length ? "Each box, curve and drawing says which pen it takes." : "Divide the page into boxes, or add a drawing, to use several pens.")];
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
    for (const layer of [desk.boxes, desk.curves, desk.drawings]) layer.chosen = 0;
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
