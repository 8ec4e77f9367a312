// What the hand can write, language by language, and the sheet with what it lacks.

import { get, post } from "../core/api.js";
import { button, h, keepFocus, plural, shown } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { handsOff } from "../core/action_queue.js";

const STATES = { complete: ["✓", "complete"], built: ["✓+", "complete with built accents"], missing: ["–", "lacks"] };

/** What stands there: its table, and what takes in how the languages stand now. */
let standing = null;

export async function showLanguages(main, current) {
  const stands = standing?.table.isConnected;
  if (!stands) main.replaceChildren(h("p", { class: "wait" }, "Looking at what each language needs; this takes some seconds the first time …"));
  document.title = "Languages";
  const { languages } = await get("languages");
  await handsOff();
  if (!current()) return;
  // What is nearest comes first: one letter more may be a language more. What is complete asks for nothing.
  const far = (l) => (l.state === "missing" ? l.missing.length : Infinity);
  languages.sort((a, b) => (far(a) === far(b) ? a.name.localeCompare(b.name) : far(a) - far(b)));
  if (!stands) standing = makePart(main);
  standing.take(languages);
}

function makePart(main) {
  let languages = [];
  const ticked = new Set();
  const title = h("h1", {});
  const made = h("div", { class: "notices", role: "status" });
  const print = button("", printSheet, { class: "main" });
  const body = h("tbody", {});
  const find = h("input", { type: "search", autocomplete: "off", spellcheck: "false" });
  const choice = h("select", {}, [["all", "all languages"], ["near", "those that lack a few characters"], ["done", "those that are complete"]].map(([v, label]) => h("option", { value: v }, label)));
  const table = h("table", { class: "coverage" }, h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "Language"), h("th", { scope: "col" }, "How it stands"), h("th", { scope: "col" }, "What it lacks"))), body);

  function count() {
    print.textContent = ticked.size ? `Make the sheet for ${plural(ticked.size, "language")}` : "Tick the languages you want";
    print.disabled = !ticked.size;
  }

  async function printSheet() {
    await attemptTo(async () => {
      print.disabled = true;
      try {
        const done = await post("sheet", { languages: [...ticked] });
        const notices = done.notices ?? [];
        made.replaceChildren(
          h("p", {}, `Sheet ${done.sheet}: ${plural(done.pages, "page")} for ${plural(done.characters, "character")}. `, h("a", { href: `api/sheet.pdf?${new URLSearchParams({ sheet: done.sheet })}`, download: `${done.sheet}.pdf` }, "Download the PDF")),
          h("p", {}, "Print it at 100 %, fill it in, scan it, and read it with: ", h("code", {}, done.command)),
          ...notices.map((n) => h("p", {}, n)),
        );
      } finally {
        count();
      }
    });
  }

  function row(l) {
    const [mark, words] = STATES[l.state];
    const tick = h("input", { type: "checkbox", "data-act": l.code });
    tick.checked = ticked.has(l.code);
    tick.addEventListener("change", () => {
      if (tick.checked) ticked.add(l.code);
      else ticked.delete(l.code);
      count();
    });
    return h("tr", {}, h("th", { scope: "row" }, l.state === "missing" ? h("label", {}, tick, l.name) : h("span", { class: "no-tick" }, l.name)), h("td", {}, `${mark} ${words}${l.missing.length ? ` ${l.missing.length}` : ""}`), h("td", { class: "lacks", "data-of": l.code }, l.missing.slice(0, 60).map(shown).join(" "), l.missing.length > 60 ? " …" : ""));
  }

  function fill() {
    const wanted = find.value.trim().toLowerCase();
    const fits = { all: () => true, near: (l) => l.state === "missing" && l.missing.length <= 12, done: (l) => l.state !== "missing" }[choice.value];
    keepFocus(body, () => body.replaceChildren(...languages.filter((l) => fits(l) && (!wanted || l.name.toLowerCase().includes(wanted) || l.code === wanted)).map(row)));
  }

  function take(now) {
    languages = now;
    for (const l of now) if (l.state !== "missing") ticked.delete(l.code);
    title.textContent = `${plural(now.filter((l) => l.state !== "missing").length, "language")} can be written`;
    fill();
    count();
  }

  find.addEventListener("input", fill);
  choice.addEventListener("input", fill);
  main.replaceChildren(
    h("div", { class: "opening" }, title, h("p", {}, "What a language lacks is printed on a sheet of its own; once it is filled in and read, it is part of the hand.")),
    h("div", { class: "row bottom" }, h("label", { class: "field" }, h("span", {}, "Find a language"), find), h("label", { class: "field" }, h("span", {}, "Show"), choice), print),
    made,
    table,
  );
  return { table, take };
}
