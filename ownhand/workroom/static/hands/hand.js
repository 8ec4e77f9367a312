// Whose hand it is and what was agreed.

import { post } from "../core/api.js";
import { h, say } from "../core/dom.js";
import { attemptTo } from "../core/router.js";
import { lookAround, takeRoom } from "../start/room.js";
import { caution, recordFields } from "./record.js";

export async function showHand(main, current) {
  const state = await lookAround();
  if (!current()) return;
  document.title = `${state.family}: whose hand it is`;
  const fields = recordFields();
  fields.fill(state);
  const save = async (event) => {
    event.preventDefault();
    await attemptTo(async () => {
      takeRoom(await post("record", fields.read()));
      say("Kept.");
    });
  };
  main.replaceChildren(
    h("div", { class: "opening" }, h("h1", {}, "Whose hand it is, and what was agreed"), h("p", { class: "hint folder" }, `Kept in ${state.folder}`)),
    h("form", { class: "slip new-hand", onsubmit: save }, fields.el, caution(), h("button", { type: "submit", class: "main" }, "Keep this")),
  );
}
