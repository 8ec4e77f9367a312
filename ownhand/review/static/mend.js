// One character: its attempts side by side, one of them large, and everything that can be done to it.

import { get, note, post } from "./api.js";
import { Desk } from "./desk.js";
import { button, h, plural, say, shown } from "./dom.js";
import { onKey } from "./keys.js";
import { forget, letterLink, MARKS, order, stateOf } from "./letters.js";
import { attemptTo } from "./main.js";
import { alikeDialog } from "./others.js";
import { panelParts } from "./panel.js";
import { along, lengthOf, sketch } from "./strokes.js";

let view = null;
let stops = [];

export function leaveLetter() {
  stops.forEach((stop) => stop());
  stops = [];
}

export async function showLetter(main, char, id = "") {
  const same = view?.data.char === char;
  const data = note(await get("letter", { char }));
  if (!data.attempts.length) {
    main.replaceChildren(h("p", { class: "wait" }, `No attempt is a ${shown(char)} (any more). `, h("a", { href: "#letters" }, "All letters")));
    main.setAttribute("aria-busy", "false");
    return;
  }
  const wanted = id || (same ? view.attempt.id : "");
  let index = data.attempts.findIndex((a) => a.id === wanted);
  if (index < 0) index = Math.max(0, data.attempts.findIndex((a) => a.doubts.length && !a.settled));
  const keep = same && view.attempt.id === data.attempts[index].id;
  view = { main, data, index, stroke: keep ? view.stroke : -1, tool: keep ? view.tool : "choose", point: keep ? view.point : -1, cut: null, sketch: null, hint: null, desk: null };
  view.attempt = data.attempts[index];
  view.stroke = Math.min(view.stroke, view.attempt.lines.length - 1);
  if (view.point >= (view.attempt.lines[view.stroke]?.length ?? 0)) view.point = -1;
  if (view.stroke < 0 && view.attempt.lines.length === 1) view.stroke = 0;
  const focused = same ? document.activeElement?.dataset : null;
  build();
  wire();
  if (focused?.act) main.querySelector(`[data-act="${focused.act}"]`)?.focus({ preventScroll: true });
  else if (focused?.handle) main.querySelector(`[data-handle="${focused.handle}"]`)?.focus({ preventScroll: true });
}

// --- what is sent ----------------------------------------------------------------------------------------------------

let queue = Promise.resolve();

/** Send one operation; those asked for meanwhile wait for it, so that quick fingers never stand in their own way. */
function mend(operation, options = {}) {
  queue = queue.then(() => send(operation, options));
  return queue;
}

async function send(operation, { stroke, structure = false } = {}) {
  await attemptTo(async () => {
    note(await post("step", { mends: [{ attempt: view.attempt.id, ...operation }] }));
    forget();
    if (stroke !== undefined) view.stroke = stroke;
    view.tool = "choose";
    if (operation.do === "label" && operation.char !== view.data.char) {
      say(`Moved to ${shown(operation.char)}.`);
      location.hash = letterLink(operation.char, view.attempt.id);
      return;
    }
    const { main, data, attempt } = view;
    await showLetter(main, data.char, attempt.id);
    if (structure) lookForAlike();
  });
}

async function lookForAlike() {
  const mine = view;
  const { others } = await get("alike", { id: mine.attempt.id });
  if (view !== mine) return;
  view.hint = others.filter((o) => o.changes).length;
  drawPanel();
}

const chosen = () => view.stroke >= 0 || (say("Choose a stroke first: click it, or press its number."), false);

const does = {
  keep: () => mend({ do: view.attempt.verdict === "kept" ? "undecide" : "keep" }),
  aside: () => mend({ do: view.attempt.verdict === "set aside" ? "undecide" : "set aside", reason: "set aside by hand" }),
  turn: () => chosen() && mend({ do: "turn", stroke: view.stroke }, { structure: true }),
  earlier: () => chosen() && view.stroke > 0 && mend({ do: "place", stroke: view.stroke, to: view.stroke - 1 }, { stroke: view.stroke - 1, structure: true }),
  later: () => chosen() && view.stroke < view.attempt.lines.length - 1 && mend({ do: "place", stroke: view.stroke, to: view.stroke + 1 }, { stroke: view.stroke + 1, structure: true }),
  join: () => chosen() && view.stroke < view.attempt.lines.length - 1 && mend({ do: "join", stroke: view.stroke, other: view.stroke + 1 }, { structure: true }),
  delete: () => chosen() && mend({ do: "delete", stroke: view.stroke }, { stroke: Math.max(0, view.stroke - 1), structure: true }),
  asRead: () => mend({ do: "as read" }, { stroke: -1 }),
};

function setTool(tool) {
  view.tool = view.tool === tool ? "choose" : tool;
  view.cut = null;
  view.sketch = null;
  if (view.tool === "split" || view.tool === "redraw") {
    if (!chosen()) view.tool = "choose";
  }
  if (view.tool === "split") setCut(0.5);
  if (view.tool === "redraw" || view.tool === "add") {
    const line = view.attempt.lines[view.stroke];
    view.sketch = { points: [], cross: [...(view.tool === "redraw" && line ? line[0] : [0, view.attempt.x_height])] };
  }
  refresh();
}

function setCut(share) {
  view.share = Math.min(0.97, Math.max(0.03, share));
  view.cut = along(view.attempt.lines[view.stroke], view.share).at;
}

function finishDrawing(samples) {
  const more = view.tool === "add" ? {} : { stroke: view.stroke };
  const at = view.tool === "add" ? view.attempt.lines.length : view.stroke;
  return mend({ do: "redraw", samples, ...more }, { stroke: at, structure: true });
}

const onDesk = {
  choose: (k) => choose(k),
  point: (i) => {
    view.point = i;
    refresh();
  },
  move: (k, by) => mend({ do: "move", stroke: k, by }),
  bend: (k, point, to) => mend({ do: "bend", stroke: k, point, to }),
  split: (k, at) => mend({ do: "split", stroke: k, at }, { stroke: k, structure: true }),
  draw: (samples) => finishDrawing(samples),
  baseline: (mm) => {
    showAt("baseline", mm);
    return mend({ do: "baseline", mm: view.attempt.baseline });
  },
  side: (name, mm) => {
    showAt(name, mm);
    return mend({ do: "bearings", [`${name}_mm`]: view.attempt[name] });
  },
};

/** Show a value before it is stored, so that a key pressed again goes on from it. */
function showAt(name, mm) {
  view.attempt[name] = mm === null ? null : Math.round(mm * 100) / 100;
  view.desk.draw(view);
}

function choose(k) {
  view.stroke = k;
  view.point = -1;
  view.cut = null;
  if (view.tool === "split" && k >= 0) setCut(0.5);
  refresh();
}

function go(step) {
  const n = view.data.attempts.length;
  location.replace(letterLink(view.data.char, view.data.attempts[(view.index + step + n) % n].id));
}

async function goToOpen() {
  const all = await order();
  const here = all.findIndex((c) => c.char === view.data.char);
  const next = [...all.slice(here + 1), ...all.slice(0, here + 1)].find((c) => c.attempts.some((a) => a.doubts.length && !a.settled));
  if (!next) say("Nothing left to look at.");
  else location.hash = letterLink(next.char, next.attempts.find((a) => a.doubts.length && !a.settled).id);
}

/** What the panel's buttons do. */
const acts = {
  ...does,
  choose,
  openAlike,
  baseline: onDesk.baseline,
  side: onDesk.side,
  label: (char) => mend({ do: "label", char }),
  reading: (number) => mend({ do: "reading", number }, { stroke: -1, structure: true }),
};

// --- keys ------------------------------------------------------------------------------------------------------------

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

function nudge(event) {
  const far = event.shiftKey ? 0.5 : 0.1;
  const [x, y] = ARROWS[event.key];
  if (view.tool === "split" && view.cut) setCut(view.share + (x || y) * (event.shiftKey ? 0.1 : 0.02));
  else if (view.sketch) view.sketch.cross = [view.sketch.cross[0] + x * far * 2, view.sketch.cross[1] + y * far * 2];
  else if (view.stroke < 0) return false;
  else if (view.point >= 0) {
    const p = view.attempt.lines[view.stroke][view.point];
    p[0] += x * far;
    p[1] += y * far;
    view.desk.draw(view);
    onDesk.bend(view.stroke, view.point, [...p]);
    return true;
  } else {
    onDesk.move(view.stroke, [x * far, y * far]);
    return true;
  }
  view.desk.draw(view);
  return true;
}

function enter() {
  if (view.tool === "split" && view.cut) onDesk.split(view.stroke, view.cut);
  else if (view.sketch?.points.length) finishDrawing([...view.sketch.points, view.sketch.cross].flatMap(between));
  else return false;
  return true;
}

/** Points of a polygon drawn by keys, close enough together to be smoothed. */
function between(p, i, all) {
  if (!i) return [p];
  const [a] = [all[i - 1]];
  const n = Math.max(1, Math.ceil(Math.hypot(p[0] - a[0], p[1] - a[1]) / 0.2));
  return Array.from({ length: n }, (_, j) => [a[0] + ((p[0] - a[0]) * (j + 1)) / n, a[1] + ((p[1] - a[1]) * (j + 1)) / n]);
}

function wire() {
  leaveLetter();
  const keys = {
    next: () => go(1),
    previous: () => go(-1),
    nextOpen: goToOpen,
    keep: does.keep,
    aside: does.aside,
    label: () => view.main.querySelector("#label").focus(),
    replay: replayAll,
    readings: () => {
      const d = view.main.querySelector("#readings");
      d.open = !d.open;
      d.querySelector("summary").focus();
    },
    alike: openAlike,
    baseline: () => view.desk.svg.querySelector('[data-handle="baseline"]')?.focus(),
    choose: (e) => (Number(e.key) <= view.attempt.lines.length ? choose(Number(e.key) - 1) : false),
    turn: does.turn,
    earlier: does.earlier,
    later: does.later,
    join: does.join,
    split: () => setTool("split"),
    delete: does.delete,
    draw: () => setTool(view.stroke >= 0 ? "redraw" : "add"),
    point: (e) => {
      if (view.stroke < 0) return false;
      const line = view.attempt.lines[view.stroke];
      const step = Math.max(1, Math.round((line.length * 0.8) / Math.max(lengthOf(line), 0.8))) * (e.key === "[" ? -1 : 1);
      view.point = view.point < 0 ? 0 : Math.min(line.length - 1, Math.max(0, view.point + step));
      view.desk.draw(view);
      return true;
    },
    nudge,
    enter,
    space: () => {
      if (!view.sketch) return false;
      view.sketch.points.push([...view.sketch.cross]);
      view.desk.draw(view);
      return true;
    },
    home: () => {
      if (view.tool !== "choose") setTool("choose");
      else if (view.stroke >= 0 && view.attempt.lines.length > 1) choose(-1);
      else location.hash = "#letters";
    },
  };
  stops = Object.entries(keys).map(([name, act]) => onKey(name, (event) => act(event)));
}

function replayAll() {
  view.desk.replay();
  view.main.querySelectorAll(".attempts svg").forEach((svg) => svg.replay());
}

async function openAlike() {
  await attemptTo(async () => {
    const { others } = await get("alike", { id: view.attempt.id });
    alikeDialog(view, others, async (ids) => {
      await attemptTo(async () => {
        const source = view.attempt.id;
        const mends = [{ attempt: source, do: "learn" }, ...ids.map((id) => ({ attempt: id, do: "carry", from: source }))];
        const words = ids.length ? `'${view.data.char}': ${plural(ids.length, "attempt")} mended alike` : `'${view.data.char}': own way remembered`;
        note(await post("step", { mends, words }));
        forget();
        say(ids.length ? `${plural(ids.length, "attempt")} mended alike, and this way of writing remembered.` : "This way of writing is remembered.");
        view.hint = null;
        await showLetter(view.main, view.data.char, source);
      });
    });
  });
}

// --- what is shown ---------------------------------------------------------------------------------------------------

function build() {
  const { data, attempt } = view;
  document.title = `${shown(data.char)}: ${data.name}`;
  view.desk = new Desk(onDesk);
  view.main.replaceChildren(
    h(
      "div",
      { class: "letter-head" },
      h("a", { href: "#letters", class: "back" }, "← All letters"),
      h("h1", {}, h("span", { class: "printed-large", "aria-hidden": "true" }, shown(data.char)), data.name),
      h("span", { class: "row" }, button("Next to look at", goToOpen)),
    ),
    h("div", { class: "attempts", role: "group", "aria-label": `Attempts at ${data.name}` }, data.attempts.map(attemptButton)),
    h("div", { class: "bench" }, h("div", { class: "desk-side" }, view.desk.el, h("p", { class: "hint" }, "A number stands where the pen lands; the arrows show which way it goes."), deskTools()), h("div", { class: "panel", id: "panel" })),
  );
  view.main.setAttribute("aria-busy", "false");
  refresh();
  view.main.querySelector('.attempts [aria-pressed="true"]')?.scrollIntoView({ block: "nearest", inline: "nearest" });
  if (attempt.lines.length === 0) say("There is no stroke on this attempt; add one, choose another reading, or set it aside.");
}

function attemptButton(a, i) {
  const state = stateOf(a);
  const mark = MARKS[state] ?? "";
  return h(
    "button",
    { type: "button", "data-act": `attempt${i}`, class: `attempt ${state.replaceAll(" ", "-")}`, "aria-pressed": String(i === view.index), onclick: () => location.replace(letterLink(view.data.char, a.id)) },
    sketch(a, a.lines),
    h("span", { class: "attempt-name" }, `${a.number}`, h("span", { class: "state" }, mark ? ` ${mark} ${state}` : "")),
  );
}

function deskTools() {
  return h("div", { class: "row desk-tools", id: "desk-tools" });
}

function refresh() {
  view.desk.draw(view);
  const tool = (name, label, key) => button([label, key ? [" ", h("kbd", { "aria-hidden": "true" }, key)] : []], () => setTool(name), { "aria-pressed": String(view.tool === name), "data-act": name });
  const words = { split: "Tap the stroke where it is to be cut.", redraw: "Draw the stroke over the ink, in one go.", add: "Draw the missing stroke over the ink, in one go." }[view.tool];
  view.main.querySelector("#desk-tools").replaceChildren(
    button(["Replay ", h("kbd", { "aria-hidden": "true" }, "P")], replayAll),
    view.stroke >= 0 ? tool("split", "Split", "S") : "",
    view.stroke >= 0 ? tool("redraw", "Redraw", "D") : "",
    tool("add", "Add a stroke", view.stroke < 0 ? "D" : ""),
    words ? h("strong", { class: "tool-words" }, words) : "",
  );
  drawPanel();
}

function drawPanel() {
  const panel = view.main.querySelector("#panel");
  const focused = panel.contains(document.activeElement) ? document.activeElement.dataset.act : "";
  panel.replaceChildren(...panelParts(view, acts));
  if (focused) panel.querySelector(`[data-act="${focused}"]`)?.focus();
}
