// A page: its text, paper, boxes, pens and liveliness, drawn as it will be plotted.

import { handsOff } from "../core/action_queue.js";
import { get, post, Refused } from "../core/api.js";
import { h, plural, say, shown } from "../core/dom.js";
import { onKey } from "../core/keys.js";
import { askFor } from "../sheet/sheet.js";
import { lookAround } from "../start/room.js";
import { BoxLayer } from "./boxes.js";
import { controls } from "./controls.js";
import { CurveLayer } from "./curves.js";
import { DrawingLayer } from "./drawings.js";
import { Replay } from "./replay.js";
import { SheetView } from "./sheets_of_cards.js";
import { TextFields } from "./texts.js";

/** A card as the museum sends it; what is kept from the last time takes its place. */
const FRESH = { name: "card", texts: { body: "" }, layout: { paper: "148x105", margins_mm: [9, 9, 9, 9], fit: true }, seed: 0, machine: null, table: "", name_field: "", row: 0, formats: ["svg"], one_file: false, strict: false, encoding: "", sheet: "" };

/** Longer than this, and it is said that the page is being set. */
const SOON_MS = 300;

let desk = null;
let stops = [];

export const leavePage = () => {
  stops.forEach((stop) => stop());
  stops = [];
  desk?.replay.close();
};

export async function showPage(main, current) {
  const state = await lookAround();
  if (!current()) return;
  document.title = "Page";
  if (!state.built) {
    desk = null;
    main.replaceChildren(
      h("div", { class: "opening" }, h("h1", {}, "A page"), h("p", { class: "lead" }, state.pages_read ? "The font of this hand was not built yet: press “Build the font” above, then pages can be written." : "Nothing was read yet. Fill in a sheet and drop its scans; then the font is built, and pages can be written."), h("p", {}, h("a", { href: state.pages_read ? "#letters" : "#reading" }, state.pages_read ? "Look through the letters first" : "To the scans"))),
    );
    return;
  }
  if (!desk?.el.isConnected) {
    main.replaceChildren(h("p", { class: "wait" }, "Laying out the page …"));
    const told = await get("desk");
    await handsOff();
    if (!current()) return;
    desk = new Desk(told);
    main.replaceChildren(desk.el);
  }
  leavePage();
  stops = [onKey("again", () => desk.again()), onKey("replay", () => desk.watch()), onKey("next", () => desk.turn(1)), onKey("previous", () => desk.turn(-1))];
  desk.set();
}

class Desk {
  constructor(told) {
    this.told = told;
    this.wish = { ...structuredClone(FRESH), ...told.draft };
    this.wish.machine ??= null;
    this.page = 1;
    this.latest = 0;
    this.busy = false;
    this.again_ = false;
    this.picture = h("div", { class: "paper", id: "paper", "aria-busy": "true" });
    this.boxes = new BoxLayer(this);
    this.curves = new CurveLayer(this);
    this.drawings = new DrawingLayer(this);
    this.sheet = new SheetView(this);
    this.replay = new Replay(this);
    this.texts = new TextFields(this);
    this.facts = h("p", { class: "facts-line", id: "facts" });
    this.heard = h("p", { class: "unseen", role: "status" });
    this.notices = h("div", { class: "notices", id: "page-notices" });
    this.pager = h("div", { class: "row pager" });
    this.controls = controls(this);
    this.el = h(
      "div",
      { class: "desk-of-pages" },
      h("div", { class: "text-side stack" }, h("h1", {}, "A page"), this.texts.el, this.controls.table),
      h("div", { class: "paper-side stack" }, this.controls.top, h("div", { class: "paper-frame" }, this.picture), this.replay.el, this.pager, this.facts, this.heard, this.notices, this.controls.small),
      h("div", { class: "setting-side stack" }, this.controls.settings),
    );
    this.texts.draw();
  }

  get layout() {
    return this.wish.layout;
  }

  /** Take a change of the layout: a name and its value; null or '' leave the setting to its default. */
  lay(name, value) {
    if (value === null || value === "" || value === undefined) delete this.layout[name];
    else this.layout[name] = value;
    this.soon();
  }

  soon(wait = 70) {
    clearTimeout(this.timer);
    this.picture.setAttribute("aria-busy", "true");
    this.timer = setTimeout(() => this.set(), wait);
  }

  /** Set the page as it is wished now; of wishes that come while the server works only the last is sent. */
  async set() {
    clearTimeout(this.timer);
    this.picture.setAttribute("aria-busy", "true");
    if (this.busy) {
      this.again_ = true;
      return;
    }
    this.busy = true;
    // the first page takes a while: what was said of an empty text is no longer true
    const waiting = setTimeout(() => this.done || this.notices.replaceChildren(h("p", { class: "wait" }, "Setting the page …")), SOON_MS);
    try {
      do {
        this.again_ = false;
        try {
          const done = await post("page", this.wish);
          await handsOff();
          if (!this.again_) this.take(done);
        } catch (error) {
          if (!(error instanceof Refused)) throw error;
          if (!this.again_) this.refused(error);
        }
      } while (this.again_);
    } finally {
      clearTimeout(waiting);
      this.busy = false;
      this.picture.setAttribute("aria-busy", "false");
    }
  }

  take(done) {
    this.done = done;
    this.page = Math.min(this.page, done.pages.length);
    this.drawPaper();
    const minutes = Math.floor(done.seconds / 60);
    const time = minutes ? `${minutes} min ${Math.round(done.seconds % 60)} s` : `${Math.round(done.seconds)} s`;
    const sizes = [...new Set(Object.values(done.x_height_mm))].map((mm) => `${mm} mm`).join(", ");
    const pens = done.pens > 1 ? ` · ${done.pens} pens` : "";
    const sheets = done.sheets ? ` on ${plural(done.sheets.count, "sheet")} of ${done.sheets.size_mm.join(" × ")} mm` : "";
    this.facts.textContent = `${plural(done.count, "page")}${sheets} · about ${time} on the machine · ${(done.ink_mm / 1000).toFixed(2)} m of ink · ${plural(done.lifts, "pen lift")}${pens} · an x is ${sizes} high`;
    const lacks = Object.entries(done.missing);
    this.texts.mark(done.missing);
    const more = [
      ...(lacks.length ? [h("p", {}, "Missing in this hand; a gap is left for each: ", h("strong", {}, ...lacks.flatMap(([c, n], k) => [k ? ", " : "", h("bdi", {}, shown(c)), ` (${n})`])), ". ", h("a", { href: "#sheet", onclick: () => askFor(Object.keys(done.missing)) }, "Print a sheet with them"), ".")] : []),
      ...done.notices.map((n) => h("p", {}, n)),
      ...(done.off_bed ? [h("p", { class: "doubt" }, done.off_bed)] : []),
      ...(done.faults ?? []).slice(0, 8).map((f) => h("p", {}, f)),
      ...(done.count > done.pages.length ? [h("p", {}, `The first ${done.pages.length} pages are drawn; the files hold all.`)] : []),
    ];
    this.notices.replaceChildren(...more);
    this.controls.took(done);
    this.hear(`${this.facts.textContent}. ${this.notices.textContent}`);
  }

  /** What is read to those who do not see the page: once the typing rests. */
  hear(words) {
    clearTimeout(this.telling);
    this.telling = setTimeout(() => {
      this.heard.textContent = words;
    }, 1500);
  }

  refused(error) {
    const gone = error.status === 0;
    this.notices.replaceChildren(h("p", {}, gone ? "The server does not answer. What stands here stays; start ownhand open again and copy it over if it is not there." : error.message));
    this.hear(this.notices.textContent);
    if (!this.wish || gone) return;
    this.done = null;
    this.facts.textContent = "";
    this.texts.mark({});
    this.drawPaper();
    this.controls.took({});
  }

  drawPaper() {
    if (!this.done?.sheets) this.sheet.on = false;
    const svg = this.done?.pages[this.page - 1];
    const size = this.done?.size_mm ?? this.sizeAsked();
    if (this.sheet.on) this.sheet.draw();
    else this.drawSvg(svg, size, `Page ${this.page} as it will be plotted`);
    for (const layer of [this.boxes, this.curves, this.drawings]) layer.draw(size);
    this.controls.drawPager();
  }

  /** Draw a picture as the paper, in place of the one that stands there. */
  drawSvg(svg, [w, hgt], words) {
    this.picture.classList.toggle("whole-sheet", this.sheet.on);
    this.picture.style.aspectRatio = `${w} / ${hgt}`;
    // As large as the window lets it be, whichever way it lies.
    this.picture.style.maxWidth = `calc(${(w / hgt).toFixed(3)} * 72vh)`;
    this.img?.remove();
    this.img = null;
    if (svg) {
      this.img = h("img", { alt: words, src: URL.createObjectURL(new Blob([svg], { type: "image/svg+xml" })) });
      this.img.addEventListener("load", ({ target }) => URL.revokeObjectURL(target.src), { once: true });
      this.picture.prepend(this.img);
    }
  }

  /** Width and height of the paper as it is asked for, before the server has said. */
  sizeAsked() {
    const found = /^\s*([\d.]+)\s*[x×]\s*([\d.]+)/.exec(String(this.layout.paper ?? ""));
    return found ? [Number(found[1]), Number(found[2])] : [210, 297];
  }

  again() {
    this.wish.seed += 1;
    this.controls.drawSeed();
    say("Written again, differently.");
    this.set();
  }

  watch() {
    this.replay.open();
  }

  turn(by) {
    if (!this.wish.table || !this.done?.rows) return false;
    this.wish.row = Math.min(this.done.rows - 1, Math.max(0, this.wish.row + by));
    this.set();
    return true;
  }
}
