// The words beside the ink: verdict and label, the strokes in order, where the attempt stands, other readings.
// What a person types into stays one and the same element; the rest is made anew each time.

import { button, h, keepFocus, plural, say, shown } from "../core/dom.js";
import { MARKS, stateOf } from "../overview/letters.js";
import { readingsList } from "./alternatives.js";
import { colour, inWords } from "./strokes.js";

const PLACES = [["baseline", "Baseline up"], ["left", "White left"], ["right", "White right"]];

export class Panel {
  /** `acts` says what its buttons do, see `actsOf`. */
  constructor(acts) {
    this.acts = acts;
    this.of = "";
    this.verdict = h("div", {});
    this.asked = h("p", { class: "hint" });
    this.strokes = h("section", { class: "slip" });
    this.alike = h("section", { class: "slip" });
    this.fields = new Map(PLACES.map(([name, label]) => [name, this.placeField(name, label)]));
    this.first = h("section", { class: "slip verdict-side" }, this.verdict, this.labelForm());
    this.el = h(
      "div",
      { class: "panel", id: "panel" },
      this.strokes,
      this.alike,
      h("section", { class: "slip" }, h("fieldset", { class: "places" }, h("legend", {}, "Place, in mm; or drag the lines on the ink"), h("div", { class: "row bottom" }, [...this.fields.values()].map((f) => f.parentElement)))),
      this.readingsPart(),
    );
  }

  draw(letter) {
    this.letter = letter;
    const { attempt, data } = letter;
    if (this.of !== `${data.char} ${attempt.id}`) {
      this.of = `${data.char} ${attempt.id}`;
      this.field.value = data.char;
      this.fields.forEach((field) => delete field.dataset.told);
      this.readings.open = false;
      this.found.replaceChildren();
    }
    this.asked.textContent = attempt.asked === data.char ? "" : `Asked for was ${shown(attempt.asked)}.`;
    keepFocus(this.verdict, () => this.verdict.replaceChildren(...verdictPart(letter, this.acts)));
    keepFocus(this.strokes, () => this.strokes.replaceChildren(...strokesPart(letter, this.acts)));
    keepFocus(this.alike, () => this.alike.replaceChildren(...alikePart(letter, this.acts)));
    this.drawPlaces(letter);
  }

  drawPlaces({ attempt }) {
    for (const [name, field] of this.fields) {
      const told = attempt[name] === null ? "" : attempt[name].toFixed(2);
      // What is being typed is not taken from under the person's hands.
      const typing = document.activeElement === field && "told" in field.dataset && field.value !== field.dataset.told;
      field.dataset.told = told;
      if (!typing) field.value = told;
    }
  }

  openReadings() {
    this.readings.open = !this.readings.open;
    this.readings.querySelector("summary").focus();
  }

  labelForm() {
    this.field = h("input", { type: "text", id: "label", maxlength: 8, autocomplete: "off", autocapitalize: "off", spellcheck: "false" });
    const send = (event) => {
      event.preventDefault();
      const char = this.field.value.trim().normalize("NFC");
      if (char && char !== this.letter.data.char) this.acts.label(char);
      else say(char ? "It bears this label already." : "Type the character that it is.");
    };
    return h("form", { class: "label-form", onsubmit: send }, h("label", { class: "hint", for: "label" }, "Is it another character? Which?"), h("span", { class: "row" }, this.field, h("button", { type: "submit" }, "Correct the label")), this.asked);
  }

  placeField(name, label) {
    const field = h("input", { type: "number", step: "0.1", placeholder: "auto" });
    field.addEventListener("change", () => {
      const mm = field.value === "" ? null : Number(field.value);
      this.acts.place(name, name === "baseline" ? (mm ?? 0) : mm);
    });
    field.addEventListener("blur", () => {
      field.value = field.dataset.told ?? "";
    });
    h("label", { class: "field narrow" }, h("span", {}, label), field);
    return field;
  }

  readingsPart() {
    this.found = h("div", {});
    this.readings = h("details", { class: "slip", id: "readings" }, h("summary", {}, "Other readings of this ink"), this.found);
    this.readings.addEventListener("toggle", () => {
      if (this.readings.open && !this.found.childElementCount) readingsList(this.found, this.letter.attempt, this.acts.reading);
    });
    return this.readings;
  }
}

function act(name, label, key, run, attributes = {}) {
  return button([label, " ", h("kbd", { "aria-hidden": "true" }, key)], () => run(), { "data-act": name, ...attributes });
}

function verdictPart({ attempt: a }, acts) {
  const open = a.doubts.length && !a.settled;
  return [
    h("h2", {}, `Attempt ${a.number}`, h("span", { class: "state" }, stateOf(a) ? ` ${MARKS[stateOf(a)]} ${stateOf(a)}` : "")),
    a.doubts.length ? h("p", { class: open ? "doubt" : "doubt answered" }, `${open ? "Look at it because: " : "Was doubtful: "}${a.doubts.join("; ")}${a.doubts.some((d) => d.startsWith("strokes or")) ? ` (the reading is ${Math.round(a.confidence * 100)} % sure)` : ""}.`) : h("p", { class: "hint" }, "Nothing speaks against it."),
    h(
      "div",
      { class: "row" },
      act("keep", "Keep it", "K", acts.keep, { class: open ? "main" : null, "aria-pressed": String(a.verdict === "kept") }),
      act("aside", "Set it aside", "R", acts.aside, { "aria-pressed": String(a.verdict === "set aside") }),
    ),
  ];
}

function strokesPart({ attempt: a, stroke }, acts) {
  const n = a.lines.length;
  const none = stroke < 0;
  const item = (line, k) =>
    h("li", {}, button([h("span", { class: "number", style: { background: colour(k) } }, String(k + 1)), h("span", {}, inWords(line))], () => acts.choose(k === stroke ? -1 : k, line), { "aria-pressed": String(k === stroke), "data-act": `stroke${k}` }));
  return [
    h("h2", {}, n === 1 ? "One stroke" : `${plural(n, "stroke")}, in this order`),
    h("ol", { class: "stroke-list" }, a.lines.map(item)),
    none ? h("p", { class: "hint" }, n ? "Choose a stroke, here or on the ink, to mend it." : "") : h("p", { class: "hint" }, `Stroke ${stroke + 1}: drag it or its points on the ink, or`),
    h(
      "div",
      { class: "row stroke-acts" },
      act("turn", "Turn round", "T", acts.turn, { disabled: none }),
      act("earlier", "Earlier", "E", acts.earlier, { disabled: none || stroke === 0 }),
      act("later", "Later", "L", acts.later, { disabled: none || stroke === n - 1 }),
      act("join", "Join to next", "J", acts.join, { disabled: none || stroke === n - 1 }),
      act("delete", "Delete", "Del", acts.delete, { disabled: none || n === 1 }),
    ),
    ...besidePart(a, none || n === 1, acts),
    ...(a.mended ? [h("p", { class: "row" }, button("Strokes as they were read", () => acts.asRead(), { "data-act": "asRead" }))] : []),
  ];
}

/** A letter of a word: what belongs to its neighbour is passed on, so the cut between them moves. */
function besidePart(a, none, acts) {
  const names = { before: "the letter before", next: "the next letter" };
  const there = Object.entries(a.beside ?? {});
  if (!there.length) return [];
  return [
    h("p", { class: "hint" }, "Cut off in the wrong place? Split the stroke where the letters part, choose what is not of this one, and pass it on."),
    h("div", { class: "row" }, there.map(([to, char]) => button(`To ${names[to]}, ${shown(char)}`, () => acts.passOn(to), { disabled: none, "data-act": `pass-${to}` }))),
    ...(a.mended ? [h("div", { class: "row" }, there.map(([to, char]) => button(`Cut other ${pairName(a, to, char)} like this`, () => acts.cuts(to), { "data-act": `cuts-${to}` })))] : []),
  ];
}

/** The two letters of a pair, in their order. */
export const pairName = (a, to, char) => shown(to === "next" ? a.char + char : char + a.char);

function alikePart({ data, attempt }, acts) {
  const words = data.known === attempt.id ? "This attempt shows the hand's own way of writing it." : "Write the other attempts, and accented forms, as this one is written.";
  return [h("h2", {}, "Mend once, apply to all"), h("p", {}, words), act("alike", "Compare the others", "A", acts.alike)];
}
