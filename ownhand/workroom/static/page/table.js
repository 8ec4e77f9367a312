// A card for each row of a table: looked through like a stack, then written.

import { get, post } from "../core/api.js";
import { button, h, keepFocus, plural, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { begun } from "../start/room.js";
import { dropPlace, sendFile } from "../start/transfer.js";

export class TablePart {
  constructor(desk) {
    this.desk = desk;
    this.columns = h("p", { class: "hint" });
    this.readAs = h("p", { class: "hint" });
    this.stack = h("div", { class: "row" });
    this.run = h("div", { class: "row", role: "status" });
    this.choice = h("div", { class: "row bottom" });
    this.el = h(
      "details",
      { class: "slip setting", open: Boolean(desk.wish.table) },
      h("summary", {}, "A card for each row of a table"),
      h("div", { class: "stack" }, dropPlace("Drop a table (CSV), or choose it", (files) => this.take(files[0]), { accept: ".csv,.txt,.tsv", id: "table" }), this.choice, this.readAs, this.columns, this.stack, this.run),
    );
    this.drawChoice();
    if (desk.wish.table) this.know(desk.wish.table);
  }

  take(file) {
    return attemptTo(async () => {
      const told = await sendFile("table/drop", file);
      if (!this.desk.told.tables.includes(told.table)) this.desk.told.tables.push(told.table);
      this.use(told);
      say(`${told.table}: ${plural(told.rows, "row")}.`);
    });
  }

  know(name) {
    return attemptTo(async () => this.use(await get("table", { name }), false));
  }

  use(told, anew = true) {
    const { wish } = this.desk;
    this.table = told;
    wish.table = told.table;
    if (!told.columns.includes(wish.name_field)) wish.name_field = told.columns.find((c) => ["file", "name"].includes(c)) ?? "";
    if (anew) wish.row = 0;
    this.el.open = true;
    this.drawChoice();
    if (anew) this.desk.set();
  }

  drawChoice() {
    const { desk } = this;
    const { wish } = desk;
    const tables = desk.told.tables;
    keepFocus(this.choice, () => this.choice.replaceChildren(
      ...(tables.length
        ? [
            h("label", { class: "field" }, h("span", {}, "Table"), h("select", { "data-act": "table", onchange: (e) => {
              if (e.target.value) attemptTo(async () => this.use(await get("table", { name: e.target.value })));
              else {
                Object.assign(wish, { table: "", row: 0 });
                this.table = null;
                this.drawChoice();
                desk.set();
              }
            } }, [["", "none: one page"], ...tables.map((t) => [t, t])].map(([v, l]) => h("option", { value: v, selected: v === wish.table }, l)))),
            this.table ? h("label", { class: "field" }, h("span", {}, "Files are named by"), h("select", { "data-act": "name-field", onchange: (e) => { wish.name_field = e.target.value; desk.set(); } }, [["", "their number"], ...this.table.columns.map((c) => [c, c])].map(([v, l]) => h("option", { value: v, selected: v === wish.name_field }, l)))) : "",
          ]
        : []),
    ));
    this.readAs.textContent = this.table ? `${this.table.table}: ${this.table.read_as}. If names are wrong, save the table as CSV in UTF-8 and drop it again.` : "";
    this.columns.replaceChildren(...(this.table ? ["In the text, these stand for what the row says: ", ...this.table.columns.map((c) => [h("code", {}, `{${c}}`), " "])].flat() : []));
    if (!wish.table) this.stack.replaceChildren();
  }

  took(done) {
    const { desk } = this;
    if (!desk.wish.table || done.rows === undefined) {
      this.stack.replaceChildren();
      return;
    }
    const n = done.row + 1;
    keepFocus(this.stack, () => this.stack.replaceChildren(
      button("Card before", () => desk.turn(-1), { disabled: n <= 1, "data-act": "before" }),
      h("span", { role: "status" }, `Card ${n} of ${done.rows}: ${done.card}`),
      button("Next card", () => desk.turn(1), { disabled: n >= done.rows, "data-act": "on" }),
      button(`Write all ${done.rows} cards`, () => this.writeAll(), { class: "main", "data-act": "write-all" }),
    ));
  }

  writeAll(force = false) {
    return attemptTo(async () => {
      this.run.replaceChildren();
      const started = await post("cards", { ...this.desk.wish, force });
      const job = await begun(started);
      if (!job?.result) return;
      this.ended(job.result, started.run);
    });
  }

  ended(result, run) {
    const there = result.faults.some((f) => f.includes("is there already"));
    this.run.replaceChildren(
      h("p", {}, `${plural(result.written, "card")} written${result.skipped ? `, ${result.skipped} were there already` : ""}. `, h("a", { href: `api/cards.zip?${new URLSearchParams({ run })}`, download: `${run}.zip`, id: "cards-zip" }, "All of them as a ZIP")),
      ...result.notices.slice(0, 8).map((n) => h("p", {}, n)),
      ...(result.missing.length ? [h("p", {}, `Missing in this hand; a gap is left for each: ${result.missing.map((m) => `${m.char} (${m.count}${m.lines ? `, line ${m.lines} of the table` : ""})`).join("; ")}.`)] : []),
      ...(result.left_over.length ? [h("p", {}, `Of earlier tables and no row of this one any more: ${result.left_over.join(", ")}.`)] : []),
      ...result.faults.slice(0, 8).map((f) => h("p", { class: "doubt" }, f)),
      there ? button("Replace those that were made from another text", () => this.writeAll(true)) : "",
    );
  }
}
