// The page's beginning: its parts, the steps back and forth, and word from other pages.

import { atRest, inTurn } from "../core/action_queue.js";
import { get, note, onSeen, post, Refused, seen } from "../core/api.js";
import { say } from "../core/dom.js";
import { keepInSight } from "../core/in_sight.js";
import { onKey, showKeys, wireKeys } from "../core/keys.js";
import { attemptTo, follow, haveParts, takeIn } from "../core/router.js";
import { leaveLetter, showLetter } from "../editor/letter_view.js";
import { showFiles } from "../files/files.js";
import { showHand } from "../hands/hand.js";
import { showLanguages } from "../overview/languages.js";
import { forget, showLetters } from "../overview/letters.js";
import { showTryout } from "../overview/text_preview.js";
import { leavePage, showPage } from "../page/page.js";
import { leaveReading, showReading } from "../reading/reading.js";
import { showSheet } from "../sheet/sheet.js";
import { askSoon, lookAround } from "./room.js";

const undo = document.getElementById("undo");
const redo = document.getElementById("redo");

const back = (which) =>
  inTurn(() =>
    attemptTo(async () => {
      const body = note(await post(which, {}));
      say(body.words ? `${which === "undo" ? "Undone" : "Done again"}: ${body.words}` : `Nothing to ${which}.`);
      forget();
      await takeIn();
    }),
  );

let known = -1;

onSeen(() => {
  if (seen.version !== known && known >= 0) askSoon();
  known = seen.version;
  document.getElementById("hand-name").textContent = seen.family;
  for (const [el, words, name] of [[undo, seen.undo, "Undo"], [redo, seen.redo, "Redo"]]) {
    el.disabled = !words;
    el.title = words ? `${name}: ${words}` : "";
    el.setAttribute("aria-label", words ? `${name}: ${words}` : name);
  }
});

undo.addEventListener("click", () => back("undo"));
redo.addEventListener("click", () => back("redo"));
document.getElementById("keys").addEventListener("click", showKeys);
onKey("undo", () => back("undo"));
onKey("redo", () => back("redo"));
wireKeys();
keepInSight();

addEventListener("hashchange", () => {
  // What it offers belongs to the letter that was left.
  document.getElementById("alike")?.close();
  follow();
});

// Nothing may fail in silence: what an event handler throws is told like everything else.
addEventListener("unhandledrejection", (event) => {
  if (event.reason instanceof Refused) {
    event.preventDefault();
    attemptTo(() => Promise.reject(event.reason));
  }
});

function lookForNews() {
  // In turn, and only at rest: what this page itself has just sent is no news.
  if (document.visibilityState !== "visible" || !atRest()) return;
  inTurn(
    async () => {
      const before = seen.version;
      try {
        const body = note(await get("version"));
        if (body.version === before) return;
      } catch (error) {
        if (error instanceof Refused) return; // Told when the person does something.
        throw error;
      }
      say("Another page changed something; this is how it stands now.");
      forget();
      await takeIn();
    },
    { quiet: true },
  );
}

document.addEventListener("visibilitychange", lookForNews);
setInterval(lookForNews, 5000);

haveParts({
  letters: { show: showLetters },
  letter: { show: showLetter, leave: leaveLetter },
  text: { show: showTryout },
  languages: { show: showLanguages },
  sheet: { show: showSheet },
  reading: { show: showReading, leave: leaveReading },
  page: { show: showPage, leave: leavePage },
  files: { show: showFiles },
  hand: { show: showHand },
});
get("version").then(note, () => {});
lookAround().catch(() => {});
follow();
