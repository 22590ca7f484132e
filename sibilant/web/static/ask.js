// Asking the server, and saying one plain line where something was not done.

/** The path that the site stands below. */
export const ROOT = new URL("..", import.meta.url).pathname;

/** Error whose text is the server's own line; `answers` names what may be said to it where it is a question. */
export class Refused extends Error {
  constructor(line, answers = []) {
    super(line);
    this.answers = answers;
  }
}

async function answered(answer) {
  if (answer.ok) return answer;
  const kind = answer.headers.get("content-type") || "";
  const said = kind.includes("json") ? await answer.json() : { error: (await answer.text()).trim().slice(0, 300) };
  throw new Refused(said.error || `not done (${answer.status})`, said.answers);
}

const PROOF = document.documentElement.dataset.proof || "";
const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
const unhex = (text) => Uint8Array.from(text.match(/../g) || [], (pair) => parseInt(pair, 16));
const proofKey = crypto.subtle.importKey("raw", unhex(PROOF), { name: "HMAC", hash: "SHA-256" }, false, ["verify"]);

/** Have the program prove that it made this page, before it is sent anything: another may have taken its port. */
async function proven() {
  const challenge = hex(crypto.getRandomValues(new Uint8Array(32)));
  const answer = await fetch(`/proof?challenge=${challenge}`, { credentials: "omit", cache: "no-store", redirect: "error" });
  const signed = unhex((await answer.text()).slice(0, 128));
  if (!(await crypto.subtle.verify("HMAC", await proofKey, signed, new TextEncoder().encode(challenge)))) {
    throw new Refused("what answers here is not the program that made this page, so nothing was sent to it; close this page, start sibilant page again and open the address it prints");
  }
}

async function fetched(address, options) {
  try {
    await proven();
    return await answered(await fetch(address, options));
  } catch (error) {
    if (error instanceof Refused) throw error;
    throw new Refused("the page's program does not answer; start sibilant page again and open the address it prints");
  }
}

/** GET a JSON answer. */
export async function ask(path, values = {}) {
  return (await fetched(`${ROOT}${path}?${new URLSearchParams(values)}`)).json();
}

/** GET bytes with the numbers in their head. */
export async function askBytes(path, values) {
  const answer = await fetched(`${ROOT}${path}?${new URLSearchParams(values)}`);
  const head = (name) => Number(answer.headers.get(name));
  return { head, bytes: await answer.arrayBuffer() };
}

/** POST JSON. */
export async function tell(path, values, given) {
  const options = { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(given) };
  return (await fetched(`${ROOT}${path}?${new URLSearchParams(values)}`, options)).json();
}

/** POST float32 samples. */
export async function tellSamples(path, values, samples) {
  const options = { method: "POST", headers: { "content-type": "application/octet-stream" }, body: samples };
  return (await fetched(`${ROOT}${path}?${new URLSearchParams(values)}`, options)).json();
}

/** Fields and files in one body: four bytes with the head's length, the head, the files. */
export function wrapped(files, fields) {
  const head = new TextEncoder().encode(JSON.stringify({ ...fields, sizes: files.map((one) => one.size), names: files.map((one) => one.name) }));
  const length = new Uint8Array(4);
  new DataView(length.buffer).setUint32(0, head.length, true);
  return new Blob([length, head, ...files]);
}

/** POST fields and files. */
export const tellFiles = (path, values, fields, files) => tellSamples(path, values, wrapped(files, fields));

export const at = (id) => document.getElementById(id);

/** Say one line at the top of the place, or take it away. */
export function say(line) {
  const place = at("said");
  place.textContent = line;
  place.hidden = !line;
  if (line) place.scrollIntoView({ block: "nearest" });
}

/** Run something that may be refused, and say why if it is; returns undefined then. */
export async function tried(work) {
  try {
    say("");
    return await work();
  } catch (error) {
    say(error instanceof Refused ? error.message : `this did not work (${error.message})`);
    return undefined;
  }
}

/** Show one of several parts of a place and put the focus where it belongs. */
export function showOnly(ids, shown, focus) {
  for (const id of ids) if (at(id)) at(id).hidden = id !== shown;
  const target = at(focus || shown);
  if (target) target.focus({ preventScroll: !focus });
}

/** An element with text. */
export function made(name, text = "", more = {}) {
  const element = document.createElement(name);
  element.textContent = text;
  return Object.assign(element, more);
}

/** Whether a key press belongs to a field in which one types. */
export function typing(event) {
  const target = event.target;
  const field = target.matches?.("input:not([type=radio]):not([type=checkbox]), textarea, select");
  return Boolean(field) || event.ctrlKey || event.altKey || event.metaKey;
}
