// The words beside the ink: verdict and label, the strokes in order, where the attempt stands, other readings.

import { button, h, plural, say, shown } from "./dom.js";
import { MARKS, stateOf } from "./letters.js";
import { readingsList } from "./others.js";
import { colour, inWords } from "./strokes.js";

/** The parts of the panel for `view`; `acts` says what its buttons do. */
export function panelParts(view, acts) {
  const strokes = h("section", { class: "slip" }, strokesPart(view, acts));
  const alike = alikePart(view, acts);
  // What can be done with a fresh mend stands where the eye is.
  const middle = view.hint ? [alike, strokes] : [strokes, alike];
  return [
    h("section", { class: "slip" }, verdictPart(view, acts), labelPart(view, acts)),
    ...middle,
    h("section", { class: "slip" }, placePart(view, acts)),
    readingsPart(view, acts),
  ];
}

function verdictPart({ attempt: a }, acts) {
  const open = a.doubts.length && !a.settled;
  return [
    h("h2", {}, `Attempt ${a.number}`, h("span", { class: "state" }, stateOf(a) ? ` ${MARKS[stateOf(a)]} ${stateOf(a)}` : "")),
    a.doubts.length ? h("p", { class: open ? "doubt" : "doubt answered" }, `${open ? "Look at it because: " : "Was doubtful: "}${a.doubts.join("; ")} (confidence ${Math.round(a.confidence * 100)} %).`) : h("p", { class: "hint" }, "Nothing speaks against it."),
    h(
      "div",
      { class: "row" },
      act("keep", "Keep it", "K", acts.keep, { class: open ? "main" : null, "aria-pressed": String(a.verdict === "kept") }),
      act("aside", "Set it aside", "X", acts.aside, { "aria-pressed": String(a.verdict === "set aside") }),
    ),
  ];
}

function act(name, label, key, run, attributes = {}) {
  return button([label, " ", h("kbd", { "aria-hidden": "true" }, key)], run, { "data-act": name, ...attributes });
}

function strokesPart({ attempt: a, stroke }, acts) {
  const n = a.lines.length;
  const none = stroke < 0;
  return [
    h("h2", {}, n === 1 ? "One stroke" : `${plural(n, "stroke")}, in this order`),
    h(
      "ol",
      { class: "stroke-list" },
      a.lines.map((line, k) =>
        h("li", {}, button([h("span", { class: "number", style: { background: colour(k) } }, String(k + 1)), h("span", {}, inWords(line))], () => acts.choose(k === stroke ? -1 : k), { "aria-pressed": String(k === stroke), "data-act": `stroke${k}` })),
      ),
    ),
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
    a.mended ? h("p", { class: "row" }, button("Strokes as they were read", acts.asRead, { "data-act": "asRead" })) : null,
  ];
}

function alikePart({ hint: n, data, attempt }, acts) {
  const words = n
    ? `${plural(n, "other attempt")} could be written the same way.`
    : data.known === attempt.id
      ? "This attempt shows the hand's own way of writing it."
      : "Write the other attempts, and accented forms, as this one is written.";
  return h("section", { class: n ? "slip hint-part fresh" : "slip hint-part" }, h("h2", {}, "Mend once, apply to all"), h("p", {}, words), act("alike", n ? `Look at ${n === 1 ? "it" : "them"}` : "Compare the others", "A", acts.openAlike, { class: n ? "main" : null }));
}

function labelPart({ attempt: a, data }, acts) {
  const field = h("input", { type: "text", id: "label", maxlength: 8, autocomplete: "off", autocapitalize: "off", spellcheck: "false", value: data.char });
  const send = (event) => {
    event.preventDefault();
    const char = field.value.trim().normalize("NFC");
    if (char && char !== data.char) acts.label(char);
    else if (char) say("It bears this label already.");
  };
  return h(
    "form",
    { class: "label-form", onsubmit: send },
    h("label", { class: "hint", for: "label" }, "Is it another character? Which?"),
    h("span", { class: "row" }, field, h("button", { type: "submit" }, "Correct the label")),
    a.asked !== data.char ? h("p", { class: "hint" }, `Asked for was ${shown(a.asked)}.`) : null,
  );
}

function placePart({ attempt: a }, acts) {
  const number = (name, label, value, send) => {
    const field = h("input", { type: "number", step: "0.1", "data-act": name, value: value === null ? "" : value.toFixed(2), placeholder: "auto" });
    field.addEventListener("change", () => send(field.value === "" ? null : Number(field.value)));
    return h("label", { class: "field narrow" }, h("span", {}, label), field);
  };
  return h(
    "fieldset",
    { class: "places" },
    h("legend", {}, "Place, in mm; or drag the lines on the ink"),
    h(
      "div",
      { class: "row bottom" },
      number("baseline-mm", "Baseline up", a.baseline, (mm) => acts.baseline(mm ?? 0)),
      number("left-mm", "White left", a.left, (mm) => acts.side("left", mm)),
      number("right-mm", "White right", a.right, (mm) => acts.side("right", mm)),
    ),
  );
}

function readingsPart({ attempt }, acts) {
  const box = h("div", {});
  const details = h("details", { class: "slip", id: "readings" }, h("summary", {}, "Other readings of this ink"), box);
  details.addEventListener("toggle", () => {
    if (!details.open || box.childElementCount) return;
    readingsList(box, attempt, acts.reading);
  });
  return details;
}
