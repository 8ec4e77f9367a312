// Which part of the page is shown, the steps back and forth, and word from other pages.

import { get, note, onSeen, post, Refused, seen } from "./api.js";
import { say, warn } from "./dom.js";
import { onKey, showKeys, wireKeys } from "./keys.js";
import { showLanguages } from "./languages.js";
import { forget, showLetters } from "./letters.js";
import { showLetter, leaveLetter } from "./mend.js";
import { showTryout } from "./tryout.js";

const main = document.getElementById("main");
const undo = document.getElementById("undo");
const redo = document.getElementById("redo");

/** Run something that talks to the server; what goes wrong is said, and the page shows how things stand. */
export async function attemptTo(act) {
  try {
    return await act();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    warn(error.status === 0 ? "The server does not answer. It was stopped, or the computer slept. What you did before is stored; start ownhand review again." : error.message);
    if (error.status === 409) {
      note(error.body);
      await get("version").then(note, () => {});
show();
    }
    return null;
  }
}

let turn = 0;

export async function show({ move = false } = {}) {
  const mine = ++turn;
  const [part, ...rest] = location.hash.slice(1).split("/");
  const name = { letter: "letter", text: "text", languages: "languages" }[part] ?? "letters";
  for (const link of document.querySelectorAll("[data-part]")) {
    const here = link.dataset.part === (name === "letter" ? "letters" : name);
    if (here) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  leaveLetter();
  main.setAttribute("aria-busy", "true");
  const target = { ...{ letters: () => showLetters(main), text: () => showTryout(main), languages: () => showLanguages(main) } }[name];
  const act = target ?? (() => showLetter(main, decodeURIComponent(rest[0] ?? ""), decodeURIComponent(rest[1] ?? "")));
  try {
    await act();
  } catch (error) {
    if (mine !== turn || !(error instanceof Refused)) throw error;
    warn(error.message);
  }
  if (move && mine === turn) {
    scrollTo(0, 0);
    main.focus({ preventScroll: true });
  }
}

async function back(which) {
  await attemptTo(async () => {
    const body = note(await post(which, {}));
    say(body.words ? `${which === "undo" ? "Undone" : "Done again"}: ${body.words}` : `Nothing to ${which}.`);
    forget();
    await get("version").then(note, () => {});
show();
  });
}

onSeen(() => {
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

addEventListener("hashchange", () => show({ move: true }));

// Nothing may fail in silence: what an event handler throws is told like everything else.
addEventListener("unhandledrejection", (event) => {
  if (event.reason instanceof Refused) {
    event.preventDefault();
    attemptTo(() => Promise.reject(event.reason));
  }
});

async function lookForNews() {
  if (document.visibilityState !== "visible") return;
  const before = seen.version;
  try {
    const body = await get("version");
    if (body.version !== before && seen.version === before) {
      note(body);
      forget();
      say("Another page changed something; this is how it stands now.");
      await get("version").then(note, () => {});
show();
    }
  } catch {
    // Told when the person does something.
  }
}

document.addEventListener("visibilitychange", lookForNews);
setInterval(lookForNews, 5000);

get("version").then(note, () => {});
show();
