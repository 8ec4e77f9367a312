// What keys do to a letter; like all that is asked for, each in its turn.

import { onKey } from "../core/keys.js";
import { inTurn } from "../core/action_queue.js";

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

let stops = [];

export function leaveKeys() {
  stops.forEach((stop) => stop());
  stops = [];
}

/** Points of a polygon drawn by keys, close enough together to be smoothed. */
function between(p, i, all) {
  if (!i) return [p];
  const a = all[i - 1];
  const n = Math.max(1, Math.ceil(Math.hypot(p[0] - a[0], p[1] - a[1]) / 0.2));
  return Array.from({ length: n }, (_, j) => [a[0] + ((p[0] - a[0]) * (j + 1)) / n, a[1] + ((p[1] - a[1]) * (j + 1)) / n]);
}

/** Run a key's act in its turn; false, when the key means nothing here and may scroll the page. */
function taken(act, options) {
  let means = true;
  inTurn(() => {
    const going = act();
    means = going !== false;
    return going;
  }, options);
  return means;
}

export function wireLetterKeys(letter, { now, draw, replay }) {
  if (stops.length) return;
  let owed = [0, 0];

  /** Move what is chosen by `owed` mm: while a key is held down, what came meanwhile is moved in one step. */
  function nudge() {
    const by = owed;
    owed = [0, 0];
    const { stroke, point, attempt } = letter;
    if (letter.tool === "split" && letter.cut) letter.cutAt(letter.share + (by[0] + by[1]) / 5);
    else if (letter.sketch) letter.sketch.cross = [letter.sketch.cross[0] + by[0] * 2, letter.sketch.cross[1] + by[1] * 2];
    else if (stroke < 0) return false;
    else {
      const line = attempt.lines[stroke];
      const mm = (v) => Math.round(v * 1000) / 1000;
      return point < 0 ? now.move(line, stroke, by.map(mm)) : now.bend(line, stroke, point, [mm(line[point][0] + by[0]), mm(line[point][1] + by[1])]);
    }
    letter.desk.draw(letter);
    return true;
  }

  function enter() {
    if (letter.tool === "split" && letter.cut) return now.split(letter.attempt.lines[letter.stroke], letter.stroke, letter.cut);
    if (letter.sketch?.points.length) {
      // Not awaited: it waits for this key's own turn to end.
      draw([...letter.sketch.points, letter.sketch.cross].flatMap(between));
      return true;
    }
    return false;
  }

  const keys = {
    next: () => now.step(1),
    previous: () => now.step(-1),
    nextOpen: now.nextOpen,
    keep: now.keep,
    aside: now.aside,
    replay,
    alike: now.alike,
    choose: (e) => (Number(e.key) <= letter.attempt.lines.length ? now.choose(Number(e.key) - 1) : false),
    turn: now.turn,
    earlier: now.earlier,
    later: now.later,
    join: now.join,
    split: () => now.tool("split"),
    delete: now.delete,
    draw: () => now.tool(letter.stroke >= 0 ? "redraw" : "add"),
    point: (e) => letter.stroke >= 0 && now.nextPoint(e.key === "[" ? -1 : 1),
    enter,
    space: () => {
      if (!letter.sketch) return false;
      letter.sketch.points.push([...letter.sketch.cross]);
      letter.desk.draw(letter);
      return true;
    },
    home: () => {
      if (letter.tool !== "choose") now.tool(letter.tool);
      else if (letter.stroke >= 0 && letter.attempt.lines.length > 1) now.choose(-1);
      else location.hash = "#letters";
    },
  };
  stops = Object.entries(keys).map(([name, act]) => onKey(name, (event) => taken(() => act(event))));
  const arrows = onKey("nudge", (event) => {
    const far = event.shiftKey ? 0.5 : 0.1;
    owed = owed.map((v, i) => v + ARROWS[event.key][i] * far);
    return taken(nudge, { same: "nudge" });
  });
  // These only move the focus, for the keys that follow: they must not come too late for them.
  const label = onKey("label", () => letter.panel.field.focus());
  const readings = onKey("readings", () => letter.panel.openReadings());
  const baseline = onKey("baseline", () => letter.desk.svg.querySelector('[data-handle="baseline"]')?.focus());
  stops.push(arrows, label, readings, baseline);
}
