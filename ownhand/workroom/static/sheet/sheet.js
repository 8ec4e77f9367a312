// A sheet planned before one's eyes: what it asks for, every page as it will be printed, and the PDF.

import { get, post, Refused } from "../core/api.js";
import { handsOff } from "../core/action_queue.js";
import { button, h, keepFocus, plural, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { lookAround } from "../start/room.js";

const PAPERS = [["A4", "A4"], ["Letter", "Letter"], ["A5", "A5"]];

// Kept while the page is open, so that looking at another part loses nothing.
const wish = { languages: [], characters: "", text: "", copy: "", joined: false, missing: false, paper: "A4", x_height_mm: 3.5, pages: 0, show: 1 };
const names = new Map();
let standing = null;
let begun = false;

/** Have the next sheet ask for these characters, too. */
export function askFor(characters) {
  wish.characters = [...new Set([...wish.characters, ...characters])].join("");
  begun = true;
}

/** A first sheet begins with the language that the browser speaks. */
function guess(languages) {
  const name = new Intl.DisplayNames(["en"], { type: "language" }).of(navigator.language.split("-")[0]);
  const found = languages.find((l) => l.name === name);
  if (found) wish.languages.push(found.code);
}

export async function showSheet(main, current) {
  if (standing?.isConnected) return;
  main.replaceChildren(h("p", { class: "wait" }, "Looking up the languages …"));
  document.title = "Sheet";
  const state = await lookAround();
  const { languages } = await get("names");
  await handsOff();
  if (!current()) return;
  languages.forEach((l) => names.set(l.code, l));
  if (!begun && !state.sheets) guess(languages);
  begun = true;
  standing = part(main, languages, state);
}

function part(main, languages, state) {
  const picture = h("div", { class: "sheet-picture" });
  const facts = h("p", { class: "facts-line", role: "status" });
  const made = h("div", { class: "notices", role: "status" });
  const chosen = h("ul", { class: "chosen", "aria-label": "Languages chosen" });
  const back = button("Page before", () => turn(-1), { "data-act": "before" });
  const on = button("Next page", () => turn(1), { "data-act": "on" });
  const save = button("Save the PDF", print, { class: "main", disabled: true });
  let latest = 0;
  let timer = 0;
  let pages = 1;

  const soon = () => {
    clearTimeout(timer);
    picture.setAttribute("aria-busy", "true");
    timer = setTimeout(draw, 200);
  };
  const asked = () => {
    const { pages: most, ...rest } = wish;
    return most ? { ...rest, pages: most } : rest;
  };
  const empty = (what) => {
    picture.replaceChildren(h("p", { class: "wait empty-paper" }, "The page will stand here."));
    facts.textContent = what;
    save.disabled = true;
    pages = 1;
  };
  async function draw() {
    const mine = ++latest;
    try {
      // Nothing was chosen yet, as where a hand has its first sheets: nothing to ask for, and no fault either.
      if (![...wish.languages, wish.characters, wish.text, wish.copy].some((t) => t.trim())) {
        empty("Choose a language, or type a text to cover.");
        return;
      }
      const done = await post("plan", asked());
      await handsOff();
      if (mine !== latest || !picture.isConnected) return;
      pages = done.pages;
      wish.show = done.shown;
      const img = h("img", { src: URL.createObjectURL(new Blob([done.svg], { type: "image/svg+xml" })), alt: `Page ${done.shown} of the sheet as it will be printed`, class: "print" });
      img.addEventListener("load", () => URL.revokeObjectURL(img.src), { once: true });
      picture.replaceChildren(img);
      facts.textContent = `${plural(done.pages, "page")}, ${plural(done.cells, "cell")} for ${plural(done.characters, "character")}; about ${plural(done.minutes, "minute")} to fill in. Page ${done.shown} is shown.`;
      save.disabled = false;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (mine === latest) empty(error.message);
    } finally {
      if (mine === latest) picture.setAttribute("aria-busy", "false");
      back.disabled = Math.min(wish.show, pages) <= 1;
      on.disabled = wish.show >= pages;
    }
  }
  function turn(by) {
    wish.show = Math.min(pages, Math.max(1, wish.show + by));
    draw();
  }
  function print() {
    return attemptTo(async () => {
      save.disabled = true;
      try {
        const done = await post("print", asked());
        const href = `api/sheet.pdf?${new URLSearchParams({ sheet: done.sheet })}`;
        made.replaceChildren(
          h("p", {}, `Sheet ${done.sheet} is kept with the hand: `, h("a", { href, download: `${done.sheet}.pdf` }, "the PDF")),
          h("p", {}, "Print it at 100 % (“actual size”), check the 100 mm bar, have it filled in, and scan it at 300 dpi or more. Then go on to ", h("a", { href: "#reading" }, "Reading"), "."),
          ...done.notices.map((n) => h("p", {}, n)),
        );
        h("a", { href, download: `${done.sheet}.pdf` }).click();
        say(`Sheet ${done.sheet} is saved.`);
        await lookAround();
      } finally {
        save.disabled = false;
      }
    });
  }

  // --- languages ---
  const field = h("input", { type: "text", list: "language-names", autocomplete: "off", id: "language" });
  const list = h("datalist", { id: "language-names" }, languages.map((l) => h("option", { value: l.name }, l.own && l.own !== l.name ? l.own : "")));
  const add = (event) => {
    event?.preventDefault();
    const typed = field.value.trim().toLowerCase();
    if (!typed) return;
    const found = languages.find((l) => l.name.toLowerCase() === typed || l.own?.toLowerCase() === typed || l.code === typed);
    if (!found) {
      say(`No language is called ${field.value}. Its name in English, or its own name, is known.`);
      return;
    }
    if (!wish.languages.includes(found.code)) wish.languages.push(found.code);
    field.value = "";
    drawChosen();
    soon();
  };
  // Chosen from the list of names: nothing more to press.
  field.addEventListener("input", (event) => event.inputType === "insertReplacementText" && add());
  field.addEventListener("change", () => languages.some((l) => l.name === field.value) && add());
  function drawChosen() {
    keepFocus(chosen, () => chosen.replaceChildren(...wish.languages.map((code) => {
      const name = names.get(code)?.name ?? code;
      return h("li", {}, name, button("×", () => {
        wish.languages = wish.languages.filter((c) => c !== code);
        drawChosen();
        soon();
      }, { "aria-label": `Leave out ${name}`, "data-act": `out-${code}` }));
    })));
  }

  const bound = (el, name, read = (v) => v) => {
    if (el.type === "checkbox") el.checked = wish[name];
    el.addEventListener("input", () => {
      wish[name] = el.type === "checkbox" ? el.checked : read(el.value);
      soon();
    });
    return el;
  };
  const labelled = (label, el, hint, more = "") => h("label", { class: `field ${more}` }, h("span", {}, label), el, hint ? h("span", { class: "hint" }, hint) : null);
  const joined = bound(h("textarea", { rows: 3, maxlength: 20000 }, wish.copy), "copy");

  main.replaceChildren(
    h("div", { class: "opening" }, h("h1", {}, "A sheet to fill in"), h("p", { class: "hint" }, "Every character gets several cells; letters that are common get more.")),
    h(
      "div",
      { class: "two-parts sheet-part" },
      h(
        "div",
        { class: "stack" },
        h("form", { class: "slip", onsubmit: add }, h("h2", {}, "What it asks for"), h("div", { class: "row bottom" }, labelled("Language", field, "", "grow"), h("button", { type: "submit" }, "Add")), list, chosen, labelled("A text to cover", bound(h("textarea", { rows: 2, maxlength: 200000 }, wish.text), "text"), "All characters that occur in it."), labelled("Further characters", bound(h("input", { type: "text", value: wish.characters, autocomplete: "off" }), "characters")), state.pages_read ? h("label", { class: "tick" }, bound(h("input", { type: "checkbox" }), "missing"), h("span", {}, "Only what this hand cannot write yet")) : null),
        h("section", { class: "slip" }, h("h2", {}, "A text to copy"), labelled("Written on ruled lines, on pages of their own", joined, "From it the hand's own spacing is measured; for a hand that joins its letters, how it joins them."), h("label", { class: "tick" }, bound(h("input", { type: "checkbox" }), "joined"), h("span", {}, "And words with all pairs of letters that the languages need, for a hand that joins them"))),
        h(
          "section",
          { class: "slip" },
          h("h2", {}, "The paper"),
          h("div", { class: "row bottom" },
            labelled("Size", bound(h("select", {}, PAPERS.map(([v, l]) => h("option", { value: v, selected: v === wish.paper }, l))), "paper")),
            labelled("Height of an x, mm", bound(h("input", { type: "number", min: 1, max: 12, step: 0.1, value: wish.x_height_mm }), "x_height_mm", (v) => Number(v) || 3.5), "", "narrow"),
            labelled("Pages at most", bound(h("input", { type: "number", min: 1, max: 60, placeholder: "any", value: wish.pages || "" }), "pages", (v) => Math.min(60, Math.max(0, Math.round(Number(v) || 0)))), "", "narrow")),
        ),
      ),
      h("div", { class: "shown-page stack" }, facts, made, h("div", { class: "row" }, back, on, save), picture),
    ),
  );
  drawChosen();
  draw();
  return picture;
}
