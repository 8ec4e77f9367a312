// How the work on this hand stands: what is stale, what is going on; told on top of every part.

import { get, post, Refused, seen } from "../core/api.js";
import { button, h, keepFocus, say, warn } from "../core/dom.js";
import { attemptTo, takeIn } from "../core/router.js";

const news = document.getElementById("news");
const listeners = new Set();

/** What the server said last; empty until it was asked. */
export const room = {};

/** Call `tell(room)` whenever something changed; returns a way to stop. */
export function onRoom(tell) {
  listeners.add(tell);
  return () => listeners.delete(tell);
}

export function takeRoom(state) {
  Object.assign(room, state);
  document.getElementById("hand-name").textContent = room.family ?? seen.family;
  tellAll();
  if (room.job?.running) followWork();
  return room;
}

function tellAll() {
  drawNews();
  listeners.forEach((tell) => tell(room));
}

export const lookAround = async () => takeRoom(await get("state"));

const KINDS = { read: "Reading", build: "Building the font", table: "Writing the cards", overview: "Drawing the cards in small" };
const STEPS = { "read pages": "pages looked at", "trace strokes": "attempts traced", "read lines": "lines read", "read again": "lines read again", "keep captures": "pages kept", write: "cards", check: "cards" };

const inWords = (job) => `${KINDS[job.kind]}: ${job.total ? `${job.done} of ${job.total} ${STEPS[job.step] ?? job.step}` : "beginning …"}`;

let dismissed = 0;

function drawNews() {
  const job = room.job;
  keepFocus(news, () => {
    if (job?.running) {
      news.replaceChildren(
        h("p", {}, inWords(job)),
        h("progress", { max: job.total || 1, value: job.done, "aria-label": KINDS[job.kind] }),
        button("Stop", () => attemptTo(async () => takeRoom(await post("stop", {}))), { "data-act": "stop" }),
      );
    } else if (job?.error && dismissed !== job.number) {
      const { where, what, remedy } = job.error;
      news.replaceChildren(h("p", { class: "doubt", role: "alert" }, `${where}: ${what}. ${remedy}`), button("Close", () => { dismissed = job.number; drawNews(); }, { "data-act": "close" }));
    } else if (room.stale?.length) {
      const built = room.built;
      news.replaceChildren(
        h("p", {}, room.stale.map((s) => s.words).join(" ")),
        button(built ? "Bring it up to date" : "Build the font", buildFont, { class: "main", "data-act": "build" }),
      );
    } else news.replaceChildren();
  });
  news.hidden = !news.childElementCount;
}

export const buildFont = () => attemptTo(async () => begun(await post("build", {})));

/** Take in a piece of work that has begun, and follow it to its end; returns it as it ended. */
export function begun(answer) {
  Object.assign(room, { job: answer.job });
  tellAll();
  return followWork();
}

let following = null;

/** Ask how far the work is until it has ended; what it changed is shown. */
export function followWork() {
  following ??= follow().finally(() => {
    following = null;
  });
  return following;
}

async function follow() {
  let gone = 0;
  while (room.job?.running) {
    await new Promise((go) => setTimeout(go, gone ? 2000 : 400));
    try {
      Object.assign(room, await get("work"));
      gone = 0;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (!gone++) warn("The server does not answer. It was stopped, or the computer slept. What was finished is kept; start ownhand open again.");
      continue;
    }
    tellAll();
  }
  const { job } = room;
  if (job?.kind === "build" && job.result) say(`The font is built: ${job.result.characters} characters, ${job.result.glyphs} shapes.`);
  await lookAround();
  await takeIn();
  return job;
}

/** Ask again after something was decided: letters mended make the font stale. */
let asking = 0;
export function askSoon() {
  clearTimeout(asking);
  asking = setTimeout(() => lookAround().catch(() => {}), 400);
}
