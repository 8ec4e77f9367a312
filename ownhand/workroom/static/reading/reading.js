// Scans dropped, read, judged page by page; photographs from a phone.

import { get, post } from "../core/api.js";
import { button, h, keepFocus, plural, say, shown, warn } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { begun, buildFont, lookAround, onRoom, room } from "../start/room.js";
import { dropPlace, sendFile } from "../start/transfer.js";

/** What the reader says of a cell, in words of a person who holds a pen. */
const WORDS = {
  "touches a neighbour": "its ink runs into the next cell",
  "low confidence": "the strokes, or their order, may be wrong",
  "outside its box": "it leaves its cell",
  "could not be traced": "no stroke could be followed",
  "filled counter": "a loop is filled with ink, so the line in it is guessed",
  "filled one cell off?": "it may be what the cell beside it asks for; Letters asks about it",
  "burnt out by glare": "light glared on it; photograph the page again without the lamp",
  "only a speck, taken as blank": "only a speck, taken for an empty cell",
};

/** What was read from each page before; told where nothing is read now. */
let earlier = [];

let standing = null;
let stop = () => {};

export const leaveReading = () => stop();

export async function showReading(main, current) {
  const state = await lookAround();
  if (!current()) return;
  document.title = "Reading";
  if (!standing?.isConnected) {
    stop();
    standing = part(main);
  }
  stop = onRoom(draw);
  draw(state);
  if (!state.job?.running) await lookBack();
  drawPhone(await get("phone"));
}

async function lookBack() {
  earlier = (await get("pages-read")).pages;
  draw(room);
}

const list = h("ul", { class: "verdicts", "aria-label": "Pages" });
const line = h("div", { class: "row waiting-line" });
const head = h("h1", {});
const said = h("div", { role: "status" });
const after = h("div", { class: "row" });
const notices = h("div", { class: "notices", role: "status" });
const phone = h("section", { class: "slip phone" });

function part(main) {
  main.replaceChildren(
    h("div", { class: "opening" }, head, h("p", { class: "hint" }, "Scan whole pages, edges included, at 300 dpi or more; any order, any way up. Photographs from straight above do, too. Your own files are never changed.")),
    h(
      "div",
      { class: "two-parts" },
      h("div", { class: "stack" }, dropPlace("Drop scans here, or choose them", take, { accept: ".png,.jpg,.jpeg,.tif,.tiff,.pdf,.heic,.heif", multiple: true, id: "scans" }), line, phone),
      h("div", { class: "stack" }, said, after, notices, list),
    ),
  );
  return list;
}

/** Send all files, then have them read: one press is enough. */
async function take(files) {
  let kept = 0;
  for (const [i, file] of files.entries()) {
    said.replaceChildren(h("p", {}, `Taking in ${i + 1} of ${files.length}: ${file.name}`));
    const done = await attemptTo(() => sendFile("drop", file));
    if (!done) continue;
    kept += 1;
  }
  said.replaceChildren();
  await lookAround().catch(() => {});
  if (kept && !room.job?.running) await read();
}

export async function read(adopt = false) {
  const done = await attemptTo(async () => post("read", { adopt }));
  if (done) await begun(done);
}

function draw(state) {
  const job = state.job?.kind === "read" ? state.job : null;
  head.textContent = job?.running ? "The scans are being read" : state.pages_read ? `${plural(state.pages_read, "page")} of this hand ${state.pages_read === 1 ? "is" : "are"} read` : "Nothing is read yet";
  const waits = state.waiting ?? [];
  keepFocus(line, () => line.replaceChildren(
    ...(waits.length && !state.job?.running
      ? [h("p", {}, `${plural(waits.length, "scan")} ${waits.length === 1 ? "waits" : "wait"} to be read: ${waits.slice(0, 6).join(", ")}${waits.length > 6 ? " …" : ""}`), button("Read them", () => read(), { class: "main", "data-act": "read" }), button("Put them away unread", () => attemptTo(async () => { Object.assign(room, await post("put-away", {})); draw(room); }), { "data-act": "away" })]
      : []),
  ));
  const pages = job?.result ? [...job.result.pages, ...job.result.refused] : (job?.pages ?? []);
  keepFocus(list, () => list.replaceChildren(...(job ? pages : earlier).map((p) => verdict(p, job))));
  keepFocus(notices, () => notices.replaceChildren(...(job && !job.running ? (job.result?.notices ?? []) : []).map((n) => h("p", {}, n))));
  const foreign = pages.some((p) => p.what?.includes("does not belong to this hand"));
  keepFocus(after, () => after.replaceChildren(
    ...((job ? !job.running && pages.some((p) => p.page !== undefined) : earlier.length) ? [h("a", { href: "#letters", class: "go-on" }, "Look through the letters"), state.stale?.length ? button("Build the font", buildFont, { "data-act": "build" }) : ""] : []),
    ...(foreign ? [h("p", { class: "hint" }, "A sheet of another hand was among them. If this hand wrote it, drop it again and take it in:"), button("Take in the sheet of another hand", () => read(true), { "data-act": "adopt" })] : []),
  ));
}

function verdict(p, job) {
  if (p.what) return h("li", { class: "refused" }, h("h2", {}, p.scan ?? p.where), h("p", {}, `Not read: ${p.what}. ${p.remedy}`));
  const name = `Page ${p.page} of sheet ${p.sheet}`;
  if (p.written === undefined) return h("li", {}, h("h2", {}, name), h("p", { class: "hint" }, `${p.scan}: found; its strokes are still to be traced.`));
  const doubtful = p.doubts ?? (job?.result?.doubtful ?? []).filter((d) => d.page === p.page);
  const copied = p.lines ? plural(p.lines, "line") : plural(p.words ?? 0, "word");
  const facts = !p.written && (p.lines || p.words) ? [`${copied} copied`] : [`${p.written} written`, `${p.blank} left blank`, `${p.spoiled} spoiled`];
  const why = new Map();
  for (const d of doubtful) {
    const words = WORDS[d.kind] ?? d.kind;
    why.set(words, [...(why.get(words) ?? []), d.char]);
  }
  return h(
    "li",
    {},
    h("h2", {}, name),
    h("p", {}, `${facts.join(", ")}; ${p.dpi} dpi${p.pen_mm ? `, a pen of ${p.pen_mm} mm` : ""}.`),
    p.dpi && p.dpi < 250 ? h("p", { class: "doubt" }, "Fewer than 250 dots an inch: fine strokes may be lost. Scan it again at 300 or more; the better of both is kept.") : null,
    why.size ? h("ul", { class: "why" }, [...why].map(([words, chars]) => h("li", {}, `${words}: `, [...new Set(chars)].slice(0, 30).map((c) => [h("a", { href: `#letter/${encodeURIComponent(c)}` }, shown(c)), " "])))) : h("p", { class: "hint" }, "Nothing speaks against it."),
  );
}

// --- the phone -------------------------------------------------------------------------------------------------------

let watching = 0;

function drawPhone(door) {
  clearTimeout(watching);
  if (!phone.isConnected) return;
  const ask = (what) => attemptTo(async () => drawPhone(await post(`phone/${what}`, {})));
  keepFocus(phone, () => {
    if (!door.open) {
      phone.replaceChildren(
        h("h2", {}, "Photographs from a phone"),
        h("p", { class: "hint" }, "Opens this computer to its network for ten minutes, for one phone, and for photographs of this sheet only. Nothing can be looked at through it. What is sent is not encrypted: do it in a network you trust."),
        button("Let a phone send photographs", () => ask("open"), { "data-act": "open" }),
      );
      return;
    }
    const picture = h("img", { class: "code", alt: "The address as a code for the phone's camera", src: URL.createObjectURL(new Blob([door.picture], { type: "image/svg+xml" })) });
    picture.addEventListener("load", () => URL.revokeObjectURL(picture.src), { once: true });
    const minutes = Math.ceil(door.seconds / 60);
    phone.replaceChildren(
      h("h2", {}, "Photographs from a phone"),
      door.used ? h("p", { role: "status" }, "A phone has opened it; no other can any more.") : picture,
      door.used ? "" : h("p", {}, "Point the phone's camera at the code, or type ", h("code", {}, door.address), ". It works once."),
      h("p", { class: "hint" }, `Open for ${plural(minutes, "more minute", "more minutes")}. ${plural(door.sent.length, "photograph")} came.`),
      h("div", { class: "row" }, button("Close it", () => ask("close"), { "data-act": "close" })),
    );
  });
  if (!door.open) return;
  const before = door.sent.length;
  watching = setTimeout(async () => {
    try {
      const now = await get("phone");
      if (now.sent.length > before) {
        say(`${plural(now.sent.length - before, "photograph")} came from the phone.`);
        await lookAround();
      }
      drawPhone(now);
    } catch {
      warn("The server does not answer.");
    }
  }, 1500);
}
