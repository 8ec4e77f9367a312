// The plotter's profile: the same fields as in the file that the command reads.

import { post } from "../core/api.js";
import { button, h, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { more } from "./fields.js";

const NUMBERS = [["draw_mm_s", "Drawing, mm/s", 40], ["travel_mm_s", "Lifted, mm/s", 120], ["acceleration_mm_s2", "Acceleration, mm/s²", 1200], ["corner_mm_s", "In corners, mm/s", 4], ["lift_s", "Lifting, s", 0.15], ["lower_s", "Lowering, s", 0.15]];

export function plotterPart(desk, it) {
  const on = h("input", { type: "checkbox" });
  on.checked = Boolean(desk.wish.machine);
  on.addEventListener("change", () => {
    desk.wish.machine = on.checked ? { ...(desk.told.machine ?? {}) } : null;
    it.draw();
    desk.set();
  });
  const file = h("input", { type: "file", accept: ".toml", onchange: () => attemptTo(async () => {
    const [chosen] = file.files;
    if (!chosen) return;
    const { machine } = await post("plotter", { text: await chosen.text() });
    desk.told.machine = machine;
    desk.wish.machine = { ...machine };
    it.draw();
    say("The plotter's profile is kept.");
    await desk.set();
  }) });
  const head = [h("label", { class: "tick" }, on, h("span", {}, "Set the files for my plotter: its bed is kept to, times are its own")), h("label", { class: "field" }, h("span", {}, "Its profile from a file (TOML)"), file)];
  const m = desk.wish.machine;
  if (!m) return head;
  const put = (name, value) => {
    if (value === null || value === "") delete m[name];
    else m[name] = value;
    desk.soon();
  };
  const number = (value, change, placeholder) => h("input", { type: "number", step: "any", value: value ?? "", placeholder, onchange: (e) => change(e.target.value === "" ? null : Number(e.target.value)) });
  const field = (label, el) => h("label", { class: "field narrow" }, h("span", {}, label), el);
  const pair = (name, labels, at) => labels.map((label, i) => field(label, number(m[name]?.[i], (v) => {
    const now = [...(m[name] ?? at)];
    now[i] = v ?? at[i];
    put(name, now);
  }, String(at[i]))));
  const choice = (name, label, options) => field(label, h("select", { onchange: (e) => put(name, e.target.value) }, options.map(([v, l]) => h("option", { value: v, selected: (m[name] ?? options[0][0]) === v }, l))));
  const lines = (name, label, placeholder = "by the way it lifts") => h("label", { class: "field" }, h("span", {}, label), h("input", { type: "text", value: (m[name] ?? []).join("; "), placeholder, onchange: (e) => put(name, e.target.value.trim() ? e.target.value.split(";").map((l) => l.trim()).filter(Boolean) : null) }));
  return [
    ...head,
    h("label", { class: "field" }, h("span", {}, "Name"), h("input", { type: "text", value: m.name ?? "", onchange: (e) => put("name", e.target.value.trim()) })),
    h("div", { class: "row bottom" }, pair("bed_mm", ["Bed across, mm", "Bed down, mm"], [310, 430]), choice("origin", "Its zero", [["bottom left", "bottom left"], ["top left", "top left"]])),
    h("div", { class: "row bottom" }, pair("paper_mm", ["Paper from the left", "from the top, mm"], [0, 0])),
    h("div", { class: "row bottom" }, NUMBERS.map(([name, label, at]) => field(label, number(m[name], (v) => put(name, v), String(at))))),
    h("div", { class: "row bottom" }, choice("pen", "The pen lifts", [["z", "by an axis (Z)"], ["servo", "by a servo"]])),
    lines("pen_up", "G-code to lift, lines apart by ;"),
    lines("pen_down", "G-code to lower"),
    more("A nib, a beginning, an end", it.settings,
      field("A nib that may only be pulled: whereto, degrees clockwise from the right", number(m.pulled_deg, (v) => put("pulled_deg", v), "any way: no such nib")),
      lines("begin", "G-code at the beginning", "none"),
      lines("end", "G-code at the end", "none")),
    h("div", { class: "row" }, button("Keep this plotter", () => attemptTo(async () => {
      const done = await post("plotter", { machine: m });
      desk.told.machine = done.machine;
      say("Kept as plotter.toml, which ownhand write --machine reads, too.");
    }), { "data-act": "keep-plotter" })),
  ];
}
