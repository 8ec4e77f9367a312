// The part of the page with one letter: fetched, shown, and wired to the keys.

import { get, note } from "../core/api.js";
import { h, say, shown } from "../core/dom.js";
import { Letter } from "./letter.js";
import { leaveKeys, wireLetterKeys } from "./letter_keys.js";
import { actsOf } from "./edit_actions.js";
import { handsOff } from "../core/action_queue.js";

let letter = null;
let acts = null;

export const leaveLetter = () => {
  leaveKeys();
  letter?.desk.cancel();
};

export async function showLetter(main, current, char = "", id = "") {
  const data = note(await get("letter", { char }));
  await handsOff();
  if (!current()) return;
  if (!data.attempts.length) {
    leaveLetter();
    main.replaceChildren(h("p", { class: "wait" }, `No attempt is a ${shown(char)} (any more). `, h("a", { href: "#letters" }, "All letters")));
    return;
  }
  if (!letter) {
    letter = new Letter();
    acts = actsOf(letter);
    letter.connect(acts);
  }
  letter.show(main, data, id);
  wireLetterKeys(letter, acts);
  if (letter.attempt.lines.length === 0) say("There is no stroke on this attempt; add one, choose another reading, or set it aside.");
}
