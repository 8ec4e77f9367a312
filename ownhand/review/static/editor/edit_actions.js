// What can be done to a letter. Each act is one step at the server, taken in its turn.

import { get, note, post } from "../core/api.js";
import { placeIn } from "./stroke_editor.js";
import { plural, say, shown } from "../core/dom.js";
import { forget, letterLink, order } from "../overview/letters.js";
import { alikeDialog, cutsDialog } from "./alternatives.js";
import { pairName } from "./panel.js";
import { attemptTo, takeIn } from "../core/router.js";
import { lengthOf, placeOf } from "./strokes.js";
import { handsOff, inTurn } from "../core/action_queue.js";

/** All acts on `letter`: those of the buttons and of the picture wait their turn; `now` has those that keys take. */
export function actsOf(letter) {
  const now = { ...strokeActs(letter), ...wayActs(letter) };
  const asked = Object.fromEntries(Object.entries(now).map(([name, act]) => [name, (...args) => inTurn(() => act(...args))]));
  const acts = {
    ...asked,
    now,
    // A tool is at hand the moment it is asked for: the pointer may be on the ink before an earlier answer is.
    tool: now.tool,
    place: (name, mm) => place(letter, name, mm),
    // Not awaited in its turn: the value shows there, and is stored in a turn of its own.
    placeBy: (name, mm) => inTurn(() => void place(letter, name, placeIn(letter.attempt, name) + mm)),
    draw: (samples) => drawing(letter, samples),
    replay: () => letter.replay(),
  };
  acts.onDesk = {
    choose: acts.choose,
    point: acts.choosePoint,
    move: acts.move,
    bend: acts.bend,
    split: acts.split,
    draw: acts.draw,
    place: acts.place,
    placeBy: acts.placeBy,
  };
  return acts;
}

/** Send one operation on the shown attempt and show what came of it; returns whether it was stored. */
async function send(letter, operation, { stroke, structure = false } = {}) {
  const { id } = letter.attempt;
  const done = await attemptTo(async () => {
    note(await post("step", { mends: [{ attempt: id, ...operation }] }));
    forget();
    Object.assign(letter, { hint: null, pairs: null });
    if (stroke !== undefined) letter.stroke = stroke;
    await takeIn();
    return true;
  });
  if (done && structure && letter.attempt.id === id) lookForAlike(letter);
  return done === true;
}

async function lookForAlike(letter) {
  const { id } = letter.attempt;
  const told = letter.data;
  const { others } = await get("alike", { id });
  await handsOff();
  if (letter.data !== told || letter.attempt.id !== id) return;
  letter.hint = others.filter((o) => o.changes).length;
  letter.drawBeneath();
}

/** The id of the letter that begins the pair which an attempt makes with its neighbour. */
const pairOf = ({ id }, to) => (to === "next" ? id : id.replace(/\d+$/, (n) => String(n - 1)));

async function lookForCuts(letter, to) {
  const { id } = letter.attempt;
  const told = letter.data;
  const { others } = await get("cuts", { id: pairOf(letter.attempt, to) });
  await handsOff();
  if (letter.data !== told || letter.attempt.id !== id) return;
  const n = others.filter((o) => o.changes).length;
  letter.pairs = n ? { to, n } : null;
  letter.drawBeneath();
}

/** Set the baseline or a white: shown at once, stored in its turn; of several that wait only the last. */
function place(letter, name, wanted) {
  const { id } = letter.attempt;
  const mm = wanted === null ? null : Math.round(wanted * 100) / 100;
  letter.wish(name, mm);
  const operation = name === "baseline" ? { do: "baseline", mm } : { do: "bearings", [`${name}_mm`]: mm };
  return inTurn(
    async () => {
      const done = await attemptTo(async () => {
        note(await post("step", { mends: [{ attempt: id, ...operation }] }));
        forget();
        letter.granted(name, mm);
        await takeIn();
        return true;
      });
      if (!done && letter.attempt.id === id) letter.takeBack();
    },
    { same: `${name} of ${id}` },
  );
}

/** A drawn line replaces the stroke that was chosen as it was drawn, or is a new one; the tool is put down. */
function drawing(letter, samples) {
  const { tool, stroke } = letter;
  const line = letter.attempt.lines[stroke];
  putDown(letter);
  return inTurn(async () => {
    const n = letter.attempt.lines.length;
    const at = tool === "add" ? n : placeOf(line, letter.attempt.lines, stroke);
    if (at < 0) return gone();
    const stored = await send(letter, { do: "redraw", samples, ...(tool === "add" ? {} : { stroke: at }) }, { stroke: at, structure: true });
    if (!stored && letter.tool === "choose") takeUp(letter, tool);
    return stored;
  });
}

function gone() {
  say("That stroke is not there any more.");
  return false;
}

function putDown(letter) {
  Object.assign(letter, { tool: "choose", cut: null, sketch: null });
  letter.draw();
}

function takeUp(letter, tool) {
  Object.assign(letter, { tool, cut: null, sketch: null });
  if (tool === "split") letter.cutAt(0.5);
  if (tool === "redraw" || tool === "add") {
    const line = tool === "redraw" ? letter.attempt.lines[letter.stroke] : null;
    letter.sketch = { points: [], cross: [...(line ? line[0] : [0, letter.attempt.x_height])] };
  }
  letter.draw();
}

function strokeActs(letter) {
  const one = () => letter.stroke >= 0 || (say("Choose a stroke first: click it, or press its number."), false);
  const last = () => letter.stroke === letter.attempt.lines.length - 1;
  const mend = (operation, options) => send(letter, operation, options);
  const seen = (line, k, act) => {
    const at = placeOf(line, letter.attempt.lines, k);
    return at < 0 ? gone() : act(at);
  };
  return {
    /** Choose stroke `k`; `line` is how it was seen when it was pointed at. */
    choose: (k, line = null) => {
      letter.stroke = line && k >= 0 ? placeOf(line, letter.attempt.lines, k) : k;
      letter.point = -1;
      if (letter.tool === "split" && letter.stroke >= 0) letter.cutAt(0.5);
      letter.draw();
    },
    choosePoint: (i) => {
      letter.point = i;
      letter.draw();
    },
    tool: (name) => {
      if (letter.tool === name || (name !== "add" && !one())) return putDown(letter);
      return takeUp(letter, name);
    },
    turn: () => one() && mend({ do: "turn", stroke: letter.stroke }, { structure: true }),
    earlier: () => one() && letter.stroke > 0 && mend({ do: "place", stroke: letter.stroke, to: letter.stroke - 1 }, { stroke: letter.stroke - 1, structure: true }),
    later: () => one() && !last() && mend({ do: "place", stroke: letter.stroke, to: letter.stroke + 1 }, { stroke: letter.stroke + 1, structure: true }),
    join: () => one() && !last() && mend({ do: "join", stroke: letter.stroke, other: letter.stroke + 1 }, { structure: true }),
    delete: () => one() && mend({ do: "delete", stroke: letter.stroke }, { stroke: Math.max(0, letter.stroke - 1), structure: true }),
    passOn: async (to) => one() && (await mend({ do: "pass on", stroke: letter.stroke, to }, { stroke: -1 })) && lookForCuts(letter, to),
    asRead: () => mend({ do: "as read" }, { stroke: -1 }),
    reading: (number) => mend({ do: "reading", number }, { stroke: -1, structure: true }),
    move: (line, k, by) => seen(line, k, (at) => mend({ do: "move", stroke: at, by }, { stroke: at })),
    bend: (line, k, point, to) =>
      seen(line, k, (at) => {
        const [first] = letter.attempt.lines[at];
        const turned = Math.hypot(first[0] - line[0][0], first[1] - line[0][1]) > Math.hypot(first[0] - line.at(-1)[0], first[1] - line.at(-1)[1]);
        return mend({ do: "bend", stroke: at, point: turned ? line.length - 1 - point : point, to }, { stroke: at });
      }),
    split: (line, k, at) => {
      putDown(letter);
      return seen(line, k, (on) => mend({ do: "split", stroke: on, at }, { stroke: on, structure: true }));
    },
    nextPoint: (by) => {
      const line = letter.attempt.lines[letter.stroke];
      const step = Math.max(1, Math.round((line.length * 0.8) / Math.max(lengthOf(line), 0.8))) * by;
      letter.point = letter.point < 0 ? 0 : Math.min(line.length - 1, Math.max(0, letter.point + step));
      letter.desk.draw(letter);
    },
  };
}

function wayActs(letter) {
  const verdict = (now, operation) => send(letter, letter.attempt.verdict === now ? { do: "undecide" } : operation);
  const goTo = (address, replace = false) => {
    if (replace) location.replace(address);
    else location.hash = address;
    // The address tells the page in an event of its own; what is asked for next means the attempt that comes.
    return takeIn();
  };
  return {
    keep: () => verdict("kept", { do: "keep" }),
    aside: () => verdict("set aside", { do: "set aside", reason: "set aside by hand" }),
    label: (char) => relabel(letter, char, goTo),
    step: (by) => {
      const { char, attempts } = letter.data;
      return goTo(letterLink(char, attempts[(letter.index + by + attempts.length) % attempts.length].id), true);
    },
    nextOpen: async () => {
      const all = await order();
      const here = all.findIndex((c) => c.char === letter.data.char);
      const next = [...all.slice(here + 1), ...all.slice(0, here + 1)].find((c) => c.attempts.some((a) => a.doubts.length && !a.settled));
      if (!next) return say("Nothing left to look at.");
      return goTo(letterLink(next.char, next.attempts.find((a) => a.doubts.length && !a.settled).id));
    },
    alike: () =>
      attemptTo(async () => {
        const source = letter.attempt;
        const { char } = letter.data;
        const { others } = await get("alike", { id: source.id });
        alikeDialog(source, others, (ids) => inTurn(() => learn(letter, source.id, char, ids)));
      }),
    cuts: (to) =>
      attemptTo(async () => {
        const source = pairOf(letter.attempt, to);
        const pair = pairName(letter.attempt, to, letter.attempt.beside[to]);
        const { others } = await get("cuts", { id: source });
        cutsDialog(pair, others, (ids) => inTurn(() => cutAlike(letter, source, pair, ids)));
      }),
  };
}

/** Cut the pairs that `ids` begin as the one that `source` begins: one step. */
function cutAlike(letter, source, pair, ids) {
  return attemptTo(async () => {
    const mends = ids.map((id) => ({ attempt: id, do: "cut alike", from: source }));
    note(await post("step", { mends, words: `${plural(ids.length, "pair")} ${pair} cut alike` }));
    forget();
    say(`${plural(ids.length, "pair")} cut alike.`);
    letter.pairs = null;
    await takeIn();
  });
}

function relabel(letter, char, goTo) {
  const { id } = letter.attempt;
  return attemptTo(async () => {
    note(await post("step", { mends: [{ attempt: id, do: "label", char }] }));
    forget();
    say(`Moved to ${shown(char)}.`);
    await goTo(letterLink(char, id));
  });
}

/** Remember the way attempt `source` is written, and mend the attempts `ids` alike: one step. */
function learn(letter, source, char, ids) {
  return attemptTo(async () => {
    const mends = [{ attempt: source, do: "learn" }, ...ids.map((id) => ({ attempt: id, do: "carry", from: source }))];
    const words = ids.length ? `'${char}': ${plural(ids.length, "attempt")} mended alike` : `'${char}': own way remembered`;
    note(await post("step", { mends, words }));
    forget();
    say(ids.length ? `${plural(ids.length, "attempt")} mended alike, and this way of writing remembered.` : "This way of writing is remembered.");
    letter.hint = null;
    await takeIn();
  });
}
