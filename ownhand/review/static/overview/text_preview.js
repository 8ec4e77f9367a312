// Any text, set in the hand as it stands now.

import { post, Refused } from "../core/api.js";
import { button, h, shown, toTheScans } from "../core/dom.js";
import { handsOff } from "../core/action_queue.js";

export const LIFE = [
  ["strength", "All of it"],
  ["variants", "Other shapes"],
  ["blends", "Shapes between"],
  ["foot", "Off the line"],
  ["height", "Taller, lower"],
  ["width", "Wider, narrower"],
  ["slant", "Lean"],
  ["letter_gap", "Letter gaps"],
  ["word_gap", "Word gaps"],
  ["level", "Lines up, down"],
  ["slope", "Lines askew"],
  ["drift", "Wandering lines"],
  ["margin", "Ragged left edge"],
];

const PAPERS = [["148 105", "Postcard, 148 × 105 mm"], ["105 148", "Postcard upright"], ["210 148", "A5 on its side"], ["148 210", "A5"], ["210 297", "A4"]];

// Kept while the page is open, so that going to mend a letter and coming back loses nothing.
const wish = { text: "Greetings from the lighthouse!\nThe lamp room is open, the stairs are steep, and the sea is all around.", seed: 1, x_height_mm: null, align: "left", paper: "148 105", life: {} };

let latest = 0;

/** After so long it is told why a text does not stand there yet. */
const SLOW_MS = 2500;
const SLOW = "Before a text is set, the font is built from the letters: of a large hand this takes a minute or longer the first time, and again when the program was changed; after that, a moment.";

/** The try-out that stands there: its element, and what sets the text anew. */
let standing = null;

export async function showTryout(main) {
  if (standing?.el.isConnected) {
    standing.set();
    return;
  }
  document.title = "Try-out";
  const pages = h("div", { class: "pages", id: "pages", "aria-live": "off" });
  const building = h("div", { class: "notices", role: "status" });
  const notices = h("div", { class: "notices", role: "status" });
  const save = button("Download the SVG", saveAll, { class: "main", id: "download", disabled: true });
  let files = [];
  let timer = 0;
  let setting = Promise.resolve();

  const set = () => {
    clearTimeout(timer);
    timer = 0;
    pages.setAttribute("aria-busy", "true");
    setting = fetchPages().finally(() => !timer && pages.setAttribute("aria-busy", "false"));
    return setting;
  };
  const fetchPages = async () => {
    const mine = ++latest;
    const [width_mm, height_mm] = wish.paper.split(" ").map(Number);
    const { paper, x_height_mm, ...rest } = wish;
    const slow = setTimeout(() => mine === latest && building.replaceChildren(h("p", {}, SLOW)), SLOW_MS);
    const size = x_height_mm ? { x_height_mm } : {};
    try {
      const done = await post("text", { ...rest, ...size, width_mm, height_mm });
      await handsOff();
      if (mine !== latest || !pages.isConnected) return;
      pages.querySelectorAll("img").forEach((img) => URL.revokeObjectURL(img.src));
      files = done.pages.map((svg, i) => ({ name: `${done.family.replaceAll(/[^\p{L}\p{N}]+/gu, "-")}-${i + 1}.svg`, blob: new Blob([svg], { type: "image/svg+xml" }) }));
      pages.replaceChildren(...files.map((f, i) => h("img", { class: "set-page", src: URL.createObjectURL(f.blob), alt: `Page ${i + 1} of the text, set in the hand` })));
      const lacks = Object.entries(done.missing).map(([c]) => shown(c)).join(" ");
      notices.replaceChildren(
        lacks ? h("p", {}, "Left out, since the hand lacks them: ", h("strong", {}, lacks), " (", h("a", { href: "#languages" }, "Languages"), " makes the sheet for them)") : "",
        ...done.notices.map((n) => h("p", {}, n)),
      );
      save.disabled = !files.length;
      main.querySelector("#size-now").textContent = `Now set with an x-height of ${done.x_height_mm} mm.`;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (mine !== latest) return;
      pages.querySelector(".wait")?.remove();
      notices.replaceChildren(h("p", {}, error.message, " ", error.status === 422 && !files.length ? toTheScans() : ""));
    } finally {
      clearTimeout(slow);
      if (mine === latest) building.replaceChildren();
    }
  };
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(set, 250);
    pages.setAttribute("aria-busy", "true");
  };
  // What is downloaded is what stands in the field, not what the last answer showed.
  async function saveAll() {
    if (timer) set();
    for (let mine; mine !== setting; ) {
      mine = setting;
      await mine;
    }
    files.forEach(download);
  }
  const bound = (el, name, read = (v) => v) => {
    el.addEventListener("input", () => {
      wish[name] = read(el.value);
      soon();
    });
    return el;
  };
  const slider = ([name, label]) => {
    const out = h("output", {}, String(wish.life[name] ?? 1));
    const input = h("input", { type: "range", min: 0, max: 2, step: 0.1, "data-life": name, value: wish.life[name] ?? 1 });
    input.addEventListener("input", () => {
      wish.life[name] = Number(input.value);
      out.textContent = input.value;
      soon();
    });
    return h("label", { class: "slider" }, h("span", {}, label), input, out);
  };
  const text = bound(h("textarea", { id: "tryout-text", maxlength: 5000, spellcheck: "false" }, wish.text), "text");
  const align = bound(h("select", {}, ["left", "centre", "right", "justified"].map((a) => h("option", { value: a, selected: a === wish.align }, a))), "align");
  const paper = bound(h("select", {}, PAPERS.map(([v, label]) => h("option", { value: v, selected: v === wish.paper }, label))), "paper");
  const size = bound(h("input", { type: "number", min: 0.5, max: 50, step: 0.1, placeholder: "written", value: wish.x_height_mm ?? "" }), "x_height_mm", (v) => (v === "" ? null : Number(v)));

  const el = h(
    "div",
    { class: "tryout" },
    h(
      "form",
      { onsubmit: (e) => e.preventDefault() },
      h("h1", {}, "Try-out"),
      h("label", { class: "field" }, h("span", {}, "Text"), text),
      h("div", { class: "row bottom" }, h("label", { class: "field" }, h("span", {}, "Paper"), paper), h("label", { class: "field" }, h("span", {}, "Lines"), align), h("label", { class: "field narrow" }, h("span", {}, "x-height in mm"), size)),
      h(
        "div",
        { class: "row" },
        button("Write it again, differently", () => {
          wish.seed += 1;
          set();
        }),
        save,
      ),
      h("fieldset", { class: "sliders" }, h("legend", {}, "How much the writing lives: 0 not at all, 1 as people write, 2 twice as much"), slider(LIFE[0]), h("details", {}, h("summary", {}, "Each of it by itself"), h("div", { class: "sliders" }, LIFE.slice(1).map(slider)))),
      h("p", { class: "hint" }, "A stroke that looks wrong here is mended in its letter; this page follows at once. ", h("span", { id: "size-now" })),
    ),
    h("div", { class: "shown-page" }, building, notices, pages),
  );
  main.replaceChildren(el);
  pages.append(h("p", { class: "wait" }, "Building the font from the letters …"));
  standing = { el, set };
  // Not awaited: the page can be used while the font is built.
  set();
}

function download({ name, blob }) {
  const url = URL.createObjectURL(blob);
  h("a", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
}
