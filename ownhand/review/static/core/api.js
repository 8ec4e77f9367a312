// Talking to the server: every change carries the version that this page has seen, and a stale one is told.

export class Refused extends Error {
  constructor(status, body) {
    const e = body?.error ?? { where: "the server", what: "gave no answer", remedy: "Is it still running?" };
    super(`${e.where}: ${e.what}.${e.remedy ? ` ${e.remedy}` : ""}`);
    this.status = status;
    this.body = body;
  }
}

/** What the server last said about the decisions: version, and what can be undone and done again. */
export const seen = { version: 0, undo: "", redo: "", family: "", read: "" };

const listeners = new Set();

/** Call `tell` whenever what was seen changes. */
export function onSeen(tell) {
  listeners.add(tell);
}

export function note(body) {
  if (body && "version" in body) {
    seen.version = body.version;
    seen.undo = body.undo ?? seen.undo;
    seen.redo = body.redo ?? seen.redo;
    seen.read = body.read ?? seen.read;
    seen.family = body.family ?? seen.family;
    listeners.forEach((tell) => tell());
  }
  return body;
}

async function answer(response) {
  let body = null;
  try {
    body = await response.json();
  } catch {
    // A server that is going down may send half an answer.
  }
  if (!response.ok || body === null) throw new Refused(response.status, body);
  return body;
}

async function request(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch {
    throw new Refused(0, null);
  }
  return answer(response);
}

export const get = (name, query = {}) => request(`api/${name}?${new URLSearchParams(query)}`, { cache: "no-store" });

export const post = (name, body) =>
  request(`api/${name}`, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ based_on: seen.version, ...body }),
  });

/** Where the strip with all attempts asked for as `char` is. */
export const stripOf = (char) => `strip?${new URLSearchParams({ char, read: seen.read })}`;

/** Where an ink picture is; `read` changes when something is read anew, so that the browser may keep it till then. */
export const inkOf = (id) => `ink?${new URLSearchParams({ id, read: seen.read })}`;
