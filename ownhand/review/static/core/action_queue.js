// What the person asks for happens in the order it was asked, each on what the one before left; and no answer redraws
// anything under a pressed pointer, where it would swallow a drag or a click.

const main = document.getElementById("main");

const waiting = [];
let running = false;
let unrested = false;
let shown = true;

function tell() {
  main.setAttribute("aria-busy", String(unrested || !shown));
}

/** Say whether the part that is wanted stands there. */
export function setShown(is) {
  shown = is;
  tell();
}

/** Whether nothing is under way and nothing waits. */
export const atRest = () => !running;

/**
 * Run `act` after everything that was asked for before: at once where nothing is under way.
 *
 * An act of the name `same` takes the place of one that waits at the end under this name: of a key held down only the
 * last counts. `quiet` acts are not told as the page being busy. Returns a promise of the act's end.
 */
export function inTurn(act, { same = "", quiet = false } = {}) {
  const last = waiting.at(-1);
  if (same && last?.same === same) {
    last.act = act;
    return last.done;
  }
  const turn = { act, same, quiet };
  turn.done = new Promise((end) => {
    turn.end = end;
  });
  waiting.push(turn);
  if (!running) work();
  return turn.done;
}

/** Forget what waits: it was asked for in the belief that what failed would succeed. */
export function dropWaiting() {
  waiting.splice(0).forEach((turn) => turn.end());
}

async function work() {
  running = true;
  while (waiting.length) {
    const turn = waiting.shift();
    try {
      const going = turn.act();
      if (going instanceof Promise) {
        unrested ||= !turn.quiet;
        tell();
        await going;
      }
    } catch (error) {
      // Told by the page's own handler, like whatever else nobody caught.
      Promise.reject(error);
    }
    turn.end();
  }
  running = unrested = false;
  tell();
}

// --- hands -----------------------------------------------------------------------------------------------------------

/** For the click that follows a pointer's lifting: after a finger it comes in an event of its own, a little later. */
const CLICK_MS = 80;

const pressed = new Set();
let free = true;
const lifted = [];

function press(event) {
  pressed.add(event.pointerId);
  free = false;
}

function release() {
  if (pressed.size) return;
  free = true;
  lifted.splice(0).forEach((go) => go());
}

function lift(event, after = CLICK_MS) {
  if (pressed.delete(event.pointerId)) setTimeout(release, after);
}

function liftAll() {
  pressed.clear();
  setTimeout(release, 0);
}

document.addEventListener("pointerdown", press, true);
document.addEventListener("pointerup", (event) => lift(event), true);
document.addEventListener("pointercancel", (event) => lift(event, 0), true);
document.addEventListener("click", () => setTimeout(release, 0), true);
// The lifting over a menu of the browser's own is never told, nor one outside of its window.
document.addEventListener("pointermove", (event) => event.buttons === 0 && lift(event, 0), true);
document.addEventListener("change", (event) => event.target.matches("select") && liftAll(), true);
addEventListener("blur", liftAll);

/** Wait till no button, finger or pen is pressed and the click it made was heard. */
export const handsOff = () => (free ? Promise.resolve() : new Promise((go) => lifted.push(go)));
