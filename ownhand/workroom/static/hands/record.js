// Whose hand it is and what was agreed: the fields, for a new hand and for one that is there.

import { h } from "../core/dom.js";

/** The form's fields; `read()` gives what they say, `fill(record)` shows a record. */
export function recordFields() {
  const text = (name, label, hint, more = {}) => {
    const field = h("input", { type: "text", name, maxlength: 300, autocomplete: "off", ...more });
    return h("label", { class: "field" }, h("span", {}, label), field, hint ? h("span", { class: "hint" }, hint) : null);
  };
  const left = h("input", { type: "checkbox", name: "left" });
  const el = h(
    "div",
    { class: "record-fields" },
    text("family", "Name of the hand", "The font will bear it.", { required: true }),
    text("writer", "Whose hand it is"),
    text("consent", "How its owner agreed", "For example: my own hand; or: agreed on paper, 3 May.", { required: true }),
    text("use", "What it may be used for"),
    h("label", { class: "tick" }, left, h("span", {}, "The writer is left-handed")),
  );
  const field = (name) => el.querySelector(`[name=${name}]`);
  return {
    el,
    read: () => ({ ...Object.fromEntries(["family", "writer", "consent", "use"].map((n) => [n, field(n).value.trim()])), handedness: left.checked ? "left" : "right" }),
    fill: (record) => {
      for (const n of ["family", "writer", "consent", "use"]) field(n).value = record[n] ?? "";
      left.checked = record.handedness === "left";
    },
  };
}

export const caution = () =>
  h("p", { class: "caution" }, "Capture a hand only with its owner's consent; never for signatures or cheques, nor to deceive anybody.");
