// A card for each row of a table: looked through like a stack, then written.

import { get, post } from "../core/api.js";
import { button, h, keepFocus, plural, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { begun } from "../start/room.js";
import { dropPlace, sendFile } from "../start/transfer.js";
import { field, select, tick } from "./fields.js";

export class TablePart {
  constructor(desk) {
    this.desk = desk;
    this.columns = h("p", { class: "hint" });
    this.readAs = h("p", { class: "hint" });
    this.stack = h("div", { class: "row" });
    this.run = h("div", { class: "row", role: "status" });
    this.ways = h("div", { class: "stack" });
    this.small = h("div", { class: "stack" });
    this.choice = h("div", { class: "row bottom" });
    this.el = h(
      "details",
      { class: "slip setting", open: Boolean(desk.wish.table) },
      h("summary", {}, "A card for each row of a table"),
      h("div", { class: "stack" }, dropPlace("Drop a table (CSV, .xlsx, .ods), or choose it", (files) => this.take(files[0]), { accept: ".csv,.txt,.tsv,.xlsx,.ods", id: "table" }), this.choice, this.readAs, this.columns, this.stack, this.ways, this.run),
    );
    this.drawChoice();
    if (desk.wish.table) this.know(desk.wish.table);
  }

  take(file) {
    return attemptTo(async () => {
      const told = await sendFile("table/drop", file);
      Object.assign(this.desk.wish, { encoding: "", sheet: "" });
      if (!this.desk.told.tables.includes(told.table)) this.desk.told.tables.push(told.table);
      this.use(told);
      say(`${told.table}: ${plural(told.rows, "row")}.`);
    });
  }

  know(name, anew = false) {
    const { encoding, sheet } = this.desk.wish;
    return attemptTo(async () => this.use(await get("table", { name, ...(encoding ? { encoding } : {}), ...(sheet ? { sheet } : {}) }), anew));
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
              Object.assign(wish, { encoding: "", sheet: "" });
              if (e.target.value) this.know(e.target.value, true);
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
    this.readAs.textContent = this.table ? `${this.table.table}: ${this.table.read_as}.` : "";
    this.columns.replaceChildren(...(this.table ? ["In the text, these stand for what the row says: ", ...this.table.columns.map((c) => [h("code", {}, `{${c}}`), " "])].flat() : []));
    if (!wish.table) this.stack.replaceChildren();
    keepFocus(this.ways, () => this.ways.replaceChildren(...(this.table ? this.waysToWrite() : [])));
  }

  waysToWrite() {
    const { wish } = this.desk;
    const { as_likely: likely, encoding, sheet, other_sheets: sheets } = this.table;
    const sure = !encoding || (encoding.startsWith("utf") && !wish.encoding);
    const others = [...new Set([...likely, "utf-8", "cp1252", "cp1250", "iso8859_2", "mac_roman"])].filter((e) => e !== encoding);
    const keep = (name) => (on) => {
      wish[name] = on;
      this.desk.set();
    };
    return [
      ...(sheets.length ? [field("Sheet", select([["", sheet], ...sheets.map((s) => [s, s])], "", (v) => v && this.readSheet(v), { "data-act": "sheet" }))] : []),
      ...(sure ? [] : [field("Wrong letters? Read it as", select([["", encoding], ...others.map((e) => [e, e])], "", (v) => v && this.decodeAs(v), { "data-act": "encoding" }))]),
      tick(wish.strict, "Write no card at all while the hand lacks a character of one", keep("strict"), { "data-act": "strict" }),
      tick(wish.one_file, "All in one G-code program, which stops before each next sheet", keep("one_file"), { "data-act": "one-file" }),
    ];
  }

  readSheet(sheet) {
    this.desk.wish.sheet = sheet;
    return this.know(this.desk.wish.table, true);
  }

  decodeAs(encoding) {
    this.desk.wish.encoding = encoding;
    return this.know(this.desk.wish.table, true);
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
      button("All of them in small", () => this.drawSmall(), { "data-act": "in-small" }),
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

  /** All cards in small, to be looked through before any is written. */
  drawSmall() {
    return attemptTo(async () => {
      const started = await post("cards/overview", this.desk.wish);
      const job = await begun(started);
      if (!job?.result) return;
      const { cards, pictures, faults } = job.result;
      const at = (page) => `api/overview?${new URLSearchParams({ run: started.run, page, drawn: job.number })}`;
      this.small.replaceChildren(
        h("p", { class: "row" }, h("span", {}, `${plural(cards, "card")} in small. Look through them before the first is plotted.`), button("Put them away", () => this.small.replaceChildren())),
        ...faults.slice(0, 8).map((f) => h("p", { class: "doubt" }, f)),
        ...Array.from({ length: pictures }, (_, k) => h("a", { href: at(k + 1), target: "_blank" }, h("img", { class: "in-small", src: at(k + 1), alt: `All cards in small, picture ${k + 1} of ${pictures}; opens large` }))),
      );
      this.small.scrollIntoView({ block: "nearest" });
      say(`${plural(cards, "card")} in small, under the page.`);
    });
  }

  ended(result, run) {
    if (result.refused) {
      this.run.replaceChildren(h("p", { class: "doubt" }, `Nothing was written: the hand lacks ${result.missing.map((m) => m.char).join(" ")}.`));
      return;
    }
    const there = result.faults.some((f) => f.includes("is there already"));
    this.run.replaceChildren(
      h("p", {}, `${plural(result.written, "card")} written${result.skipped ? `, ${result.skipped} were there already` : ""}. `, h("a", { href: `api/cards.zip?${new URLSearchParams({ run })}`, download: `${run}.zip`, id: "cards-zip" }, "All of them as a ZIP")),
      ...result.notices.slice(0, 8).map((n) => h("p", {}, n)),
      ...(result.missing.length ? [h("p", {}, "Missing in this hand; a gap is left for each: ", ...result.missing.flatMap((m, k) => [k ? "; " : "", h("bdi", {}, m.char), `${m.hand ? ` of ${m.hand}` : ""} (${m.count}${m.lines ? `, line ${m.lines} of the table` : ""})`]), ".")] : []),
      ...(result.left_over.length ? [h("p", {}, `Of earlier tables and no row of this one any more: ${result.left_over.join(", ")}.`)] : []),
      ...result.faults.slice(0, 8).map((f) => h("p", { class: "doubt" }, f)),
      there ? button("Replace those that were made from another text", () => this.writeAll(true)) : "",
    );
  }
}
