// Files to the server and from it.

import { Refused, seen } from "../core/api.js";
import { h } from "../core/dom.js";

async function refusedBy(response) {
  let body = null;
  try {
    body = await response.json();
  } catch {
    // A server that is going down may send half an answer.
  }
  return new Refused(response.status, body);
}

async function ask(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch {
    throw new Refused(0, null);
  }
  if (!response.ok) throw await refusedBy(response);
  return response;
}

/** Send a file; returns the server's answer. */
export async function sendFile(name, file) {
  const response = await ask(`api/${name}?${new URLSearchParams({ name: file.name })}`, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
  return response.json();
}

/** Ask for a file with a request, and save it. */
export async function saveFile(name, body) {
  const response = await ask(`api/${name}`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ based_on: seen.version, ...body }) });
  const said = response.headers.get("content-disposition") ?? "";
  const known = /filename\*=UTF-8''([^;]+)/.exec(said);
  const blob = await response.blob();
  const url = URL.createObjectURL(blob);
  h("a", { href: url, download: known ? decodeURIComponent(known[1]) : "file" }).click();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
  return blob.size;
}

/** A place to drop files on, with a field for those who choose them; `take(files)` is told. */
export function dropPlace(label, take, { accept = "", multiple = false, id = "" } = {}) {
  const field = h("input", { type: "file", accept, multiple, id });
  const el = h("div", { class: "drop-place" }, h("label", { class: "field" }, h("span", { class: "drop-label" }, label), field));
  const over = (event, on) => {
    event.preventDefault();
    el.classList.toggle("over", on);
  };
  field.addEventListener("change", async () => {
    const files = [...field.files];
    if (files.length) await take(files);
    field.value = "";
  });
  el.addEventListener("dragover", (event) => over(event, true));
  el.addEventListener("dragleave", (event) => over(event, false));
  el.addEventListener("drop", (event) => {
    over(event, false);
    const files = [...event.dataTransfer.files];
    if (files.length) take(multiple ? files : files.slice(0, 1));
  });
  return el;
}
