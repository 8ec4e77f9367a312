// What the hand's folder holds for a person to take.

import { get, post } from "../core/api.js";
import { button, h, plural, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { begun } from "../start/room.js";

const size = (bytes) => (bytes > 1e6 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(bytes / 1000))} kB`);

/** What the files of a group are for, where their names do not tell. */
const ABOUT = {
  "The font": "The UFO has all of it, for font editors. The SVG fonts are single lines, for programs that plot; those with a number have other shapes. The TrueType font is for ordinary programs.",
  "What was read, page by page": "The ink of every letter, and its strokes over it.",
};

export async function showFiles(main, current) {
  const [kept, { runs }] = [await get("kept"), await get("runs")];
  if (!current()) return;
  document.title = "Files";
  const draw = () => showFiles(main, () => true);
  const renew = (run) => attemptTo(async () => {
    const job = await begun(await post("cards/renew", { run: run.name }));
    if (job?.result) say(`${plural(job.result.written, "card")} written.`);
  });
  const runPart = (run) =>
    h(
      "li",
      {},
      h("span", {}, `${run.name}: ${plural(run.files, "file")}`),
      run.files ? h("a", { href: `api/cards.zip?${new URLSearchParams({ run: run.name })}`, download: `${run.name}.zip`, "aria-label": `All of ${run.name} as a ZIP` }, "All as a ZIP") : "",
      run.broken ? h("span", { class: "doubt" }, run.broken) : "",
      run.stale ? [h("span", { class: "doubt" }, `${plural(run.stale, "card")} of it ${run.stale === 1 ? "is" : "are"} not what the table, the layout and the font would give now.`), button("Bring them up to date", () => renew(run))] : "",
    );
  const file = (f) => h("li", {}, h("a", { href: `api/kept/file?${new URLSearchParams({ file: f.file })}`, download: f.name }, f.name), h("span", { class: "hint" }, size(f.bytes)));
  main.replaceChildren(
    h("div", { class: "opening" }, h("h1", {}, "Files of this hand"), h("p", { class: "hint" }, "The same files that the commands make, in the same folder.")),
    h(
      "div",
      { class: "file-groups" },
      runs.length ? h("section", { class: "slip" }, h("h2", {}, "Cards from tables"), h("ul", { class: "file-list" }, runs.map(runPart))) : "",
      kept.groups.map((g) => h("section", { class: "slip" }, h("h2", {}, g.title), ABOUT[g.title] ? h("p", { class: "hint" }, ABOUT[g.title]) : "", h("ul", { class: "file-list" }, g.files.map(file)))),
      kept.built ? h("section", { class: "slip" }, h("h2", {}, "Proof"), h("p", {}, kept.proof_stale ? "The proof is older than the font, or was not drawn yet." : "The proof is up to date."), button("Draw the proof", () => attemptTo(async () => { await post("proof", {}); say("The proof is drawn."); await draw(); }))) : "",
      !kept.groups.length && !runs.length ? h("p", { class: "wait" }, "Nothing yet. ", h("a", { href: "#sheet" }, "Plan a sheet"), " to begin with.") : "",
    ),
  );
}
