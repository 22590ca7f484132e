// One token's picture with edges that can be dragged or moved by key; the machine's own stay beside them.
import { ask, askBytes, at, made, showOnly, tell, tried, typing } from "./ask.js";
import { Player } from "./player.js";

const client = at("review").dataset.client;
const player = new Player();
const INKS = [[0, [251, 250, 247]], [0.18, [220, 233, 240]], [0.45, [127, 180, 214]], [0.72, [0, 114, 178]], [1, [31, 36, 48]]];
let session = 0;
let rows = [];
let token = null;
let span = null;
let edges = null;

function inkOf(share) {
  let n = 1;
  while (n < INKS.length - 1 && share > INKS[n][0]) n += 1;
  const [low, from] = INKS[n - 1];
  const [high, to] = INKS[n];
  const part = (share - low) / (high - low);
  return from.map((value, i) => Math.round(value + part * (to[i] - value)));
}
const PALETTE = Array.from({ length: 256 }, (_, n) => inkOf(n / 255));

// ---- the list ------------------------------------------------------------------------------------------------------
async function openSession() {
  session = Number(at("session").value);
  player.forget();
  ({ tokens: rows } = await ask("do/review/tokens", { client, session }));
  list();
  await tellWhose();
}

// ---- whose voice, after a model --------------------------------------------------------------------------------------
let heardReplies = new Set();

/** The least certain replies to hear, and one key that confirms all that are sure; the others stay one by one. */
async function tellWhose() {
  const found = await ask("do/review/voices", { client, session });
  heardReplies = new Set();
  at("whose").hidden = !found.n && !found.confirmed;
  const others = found.one_by_one.length ? ` One by one, below: ${found.one_by_one.join(", ")}.` : "";
  at("whose-words").textContent = found.n
    ? `${found.n} replies count when a person has confirmed whose voice it is. Hear the least certain, then say it of all.${others}`
    : `${found.confirmed} were confirmed as a set.${others}`;
  at("whose-undo").hidden = !found.confirmed;
  at("whose-set").hidden = !found.n;
  at("whose-set").disabled = found.n > 0;
  at("whose-hear").replaceChildren(...found.hear.map((one) => {
    const button = made("button", `hear ${one.prompt}`, { type: "button" });
    button.addEventListener("click", () => tried(async () => {
      if (one.has_sound) await player.play(await player.load(client, session, one.key));
      else at("whose-words").textContent = `Its sound was not kept; listen to the recording from ${one.at_s[0]} to ${one.at_s[1]} s.`;
      heardReplies.add(one.key);
      button.textContent = `heard ${one.prompt}`;
      at("whose-set").disabled = heardReplies.size < found.hear.length;
    }));
    return button;
  }));
}

async function sayWhose(more) {
  await tell("do/review/whose", { client }, { session, rater: at("rater").value, ...more });
  await openSession();
  at("whose").hidden = false;
}
at("whose-set")?.addEventListener("click", () => tried(() => sayWhose({ heard: [...heardReplies] })));
at("whose-undo")?.addEventListener("click", () => tried(() => sayWhose({ undo: true })));
document.addEventListener("keydown", (event) => {
  if (!at("whose") || typing(event) || event.repeat || event.key.toLowerCase() !== "v") return;
  if (at("whose").hidden || at("whose-set").hidden || at("whose-set").disabled) return;
  event.preventDefault();
  at("whose-set").click();
});

function nameOf(row) {
  return row.prompt + (row.attempt > 1 ? `, attempt ${row.attempt}` : "");
}

function list() {
  at("tokens").replaceChildren(...rows.map((row) => {
    const item = made("li");
    const button = made("button", nameOf(row), { type: "button" });
    const sort = [row.phone ? `${row.position} ${row.cluster || row.phone.toLowerCase()}` : "", row.checked ? "checked" : ""].filter(Boolean).join(" · ");
    button.append(made("small", [sort, ...row.reasons].filter(Boolean).join(" · ")));
    if (token && token.key === row.key) button.setAttribute("aria-current", "true");
    button.addEventListener("click", () => tried(() => open(row.key)));
    item.append(button);
    return item;
  }));
}

// ---- one token -----------------------------------------------------------------------------------------------------
async function open(key) {
  token = await ask("do/review/token", { client, session, key });
  list();
  const word = at("word");
  const [start, stop] = token.letters.length ? token.letters : [0, 0];
  word.replaceChildren(token.prompt.slice(0, start), made("b", token.prompt.slice(start, stop)), token.prompt.slice(stop));
  at("about").textContent = rows.find((row) => row.key === key).reasons.join("; ");
  at("one").hidden = false;
  at("strip").hidden = !token.has_sound;
  at("play-word").disabled = !token.has_sound;
  at("kept-one").textContent = "";
  for (const input of document.querySelectorAll("input[name=voice]")) input.checked = input.value === token.voice;
  at("figures").textContent = token.figures.length ? `${token.figures.map((one) => `${one.name}: ${one.value}`).join(" · ")}${token.average ? ` (${token.average.method}; beside the sound its average spectrum: mean from the left, peak from the right)` : ""}`
    : token.opened ? "" : "Figures and the picture follow when the ear has judged the whole set; until then this is loudness alone.";
  tellAttempts();
  edges = token.edges ? [...token.edges.now] : null;
  if (token.has_sound) {
    player.load(client, session, key).catch(() => {});
    await draw(key);
  }
  drawAverage();
  place();
  if (token.has_sound) lookCloser(1);
  word.focus();
}

function tellAttempts() {
  at("attempts").hidden = token.attempts.length < 2;
  at("attempt-list").replaceChildren(...token.attempts.map((one) => {
    const label = made("label", "", { className: "pick" });
    const input = made("input", "", { type: "radio", name: "counts", value: String(one.attempt), checked: one.counts });
    label.append(input, made("span", `attempt ${one.attempt}`));
    return label;
  }));
}

async function draw(key) {
  const { head, bytes } = await askBytes("do/review/strip", { client, session, key });
  const ink = new Uint8Array(bytes);
  const [times, steps] = [head("x-times"), head("x-steps")];
  span = { from: head("x-from"), to: head("x-to"), top: head("x-top") };
  const canvas = at("canvas");
  canvas.width = times;
  canvas.height = steps;
  if (steps === 1) {
    drawLoudness(canvas, ink);
    return;
  }
  const image = new ImageData(times, steps);
  for (let t = 0; t < times; t += 1) {
    for (let f = 0; f < steps; f += 1) {
      const colour = PALETTE[ink[t * steps + f]];
      const place = 4 * ((steps - 1 - f) * times + t);
      image.data.set([...colour, 255], place);
    }
  }
  canvas.getContext("2d").putImageData(image, 0, 0);
  canvas.setAttribute("aria-label", `Sound of ${token.prompt} over ${(span.to - span.from).toFixed(2)} seconds, up to ${span.top / 1000} kHz`);
  const axis = document.querySelector(".axis");
  const marks = [0, 5, 10, 15].filter((khz) => khz * 1000 <= span.top);
  axis.replaceChildren(...marks.map((khz) => {
    const mark = made("span", khz === 0 ? "0 kHz" : khz);
    mark.style.bottom = `${(khz * 1000 / span.top) * 100}%`;
    return mark;
  }));
}

const TRACE_HEIGHT = 120;

/** Loudness over time as one filled trace: no frequency is seen before the ear has judged. */
function drawLoudness(canvas, ink) {
  canvas.height = TRACE_HEIGHT;
  const context = canvas.getContext("2d");
  context.fillStyle = `rgb(${INKS[0][1]})`;
  context.fillRect(0, 0, ink.length, TRACE_HEIGHT);
  context.fillStyle = `rgb(${INKS[2][1]})`;
  for (let t = 0; t < ink.length; t += 1) {
    const high = Math.round((0.94 * TRACE_HEIGHT * ink[t]) / 255);
    context.fillRect(t, TRACE_HEIGHT - high, 1, high);
  }
  canvas.setAttribute("aria-label", `Loudness of ${token.prompt} over time`);
  document.querySelector(".axis").replaceChildren();
}

const SHOWN_DB = 40;

function drawn(name, values) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(values)) element.setAttribute(key, value);
  return element;
}

/** The average spectrum on its side, sharing the frequency axis; mean from the left, peak from the right. */
function drawAverage() {
  const { average } = token;
  at("average").hidden = !average || !span;
  if (!average || !span) return;
  const up = (hz) => 100 * (1 - hz / span.top);
  const across = (db) => 86 * Math.max(0, 1 + db / SHOWN_DB);
  const line = average.hz.map((hz, n) => `${across(average.db[n]).toFixed(1)} ${up(hz).toFixed(2)}`).join(" L ");
  const says = `Average spectrum under ${average.method}: mean ${Math.round(average.mean_hz)} Hz, peak ${Math.round(average.peak_hz)} Hz`;
  const picture = drawn("svg", { viewBox: "0 0 100 100", preserveAspectRatio: "none", role: "img", "aria-label": says });
  picture.append(
    drawn("path", { d: `M 0 ${up(average.hz[0])} L ${line} L 0 ${up(average.hz.at(-1))} Z`, class: "under" }),
    drawn("path", { d: `M ${line}`, class: "over" }),
    drawn("path", { d: `M 0 ${up(average.mean_hz)} h 22`, class: "tick" }),
    drawn("path", { d: `M 100 ${up(average.peak_hz)} h -18`, class: "tick" }),
  );
  at("average").replaceChildren(picture);
}

// ---- closer and farther ------------------------------------------------------------------------------------------------
const MOST_CLOSER = 8;
let closer = 1;

/** What stands in the middle of the frame: the sibilant where it fits, else the edge in hand, else its beginning. */
function middle(wide, frame) {
  if (!edges) return 0.5;
  const [begin, end] = edges.map(share);
  if ((end - begin) * wide <= 0.9 * frame) return (begin + end) / 2;
  return document.activeElement === at("offset") ? end : begin;
}

/** The whole strip grows, and its frame scrolls. */
function lookCloser(factor) {
  if (!span || !token?.has_sound) return;
  closer = Math.min(MOST_CLOSER, Math.max(1, factor));
  at("sound-box").style.width = `${100 * closer}%`;
  at("closer").disabled = closer === MOST_CLOSER;
  at("farther").disabled = closer === 1;
  tried(drawWave);
  const [wide, frame] = [at("sound-box").clientWidth, at("scroller").clientWidth];
  at("scroller").scrollLeft = middle(wide, frame) * wide - frame / 2;
}

/** The waveform, once the ear has judged the set: before, loudness is all there is to see. */
async function drawWave() {
  const canvas = at("wave");
  canvas.hidden = !token.opened || !token.has_sound;
  if (canvas.hidden) return;
  const shown = token;
  const sound = await player.load(client, session, token.key);
  if (shown !== token) return;
  const [wide, high] = [Math.min(8000, at("sound-box").clientWidth), canvas.clientHeight];
  Object.assign(canvas, { width: wide, height: high });
  const context = canvas.getContext("2d");
  context.fillStyle = `rgb(${INKS[4][1]})`;
  const most = sound.samples.reduce((peak, value) => Math.max(peak, Math.abs(value)), 1e-9);
  const sample = (column) => Math.round((span.from + (column / wide) * (span.to - span.from) - sound.from) * sound.rate);
  for (let column = 0; column < wide; column += 1) {
    const piece = sound.samples.subarray(Math.max(0, sample(column)), Math.max(0, sample(column + 1)));
    let [low, top] = [0, 0];
    for (const value of piece) [low, top] = [Math.min(low, value), Math.max(top, value)];
    const [y, to] = [(1 - top / most) * high / 2, (1 - low / most) * high / 2];
    context.fillRect(column, y, 1, Math.max(1, to - y));
  }
}
at("closer")?.addEventListener("click", () => lookCloser(2 * closer));
at("farther")?.addEventListener("click", () => lookCloser(closer / 2));

const share = (time) => (time - span.from) / (span.to - span.from);

const by = (ms) => (ms === 0 ? "as found" : `${Math.abs(ms)} ms ${ms > 0 ? "later" : "earlier"}`);

/** Put edges, ribbon and words where the values are. */
function place() {
  const movable = Boolean(edges && span && token.has_sound);
  for (const id of ["onset", "offset", "ribbon", "was"]) at(id).hidden = !movable;
  at("play-sound").disabled = !edges;
  at("back").disabled = !movable;
  if (!movable) {
    at("edges-words").textContent = token.has_sound ? "No sibilant is bounded here." : "Its sound was not kept.";
    return;
  }
  const { automatic } = token.edges;
  for (const [n, id] of ["onset", "offset"].entries()) {
    const edge = at(id);
    const ms = Math.round(1000 * (edges[n] - span.from));
    const where = token.opened ? `${ms} ms` : by(Math.round(1000 * (edges[n] - automatic[n])));
    edge.style.left = `${100 * share(edges[n])}%`;
    edge.setAttribute("aria-valuemin", "0");
    edge.setAttribute("aria-valuemax", String(Math.round(1000 * (span.to - span.from))));
    edge.setAttribute("aria-valuenow", String(ms));
    edge.setAttribute("aria-valuetext", `${where}, beside ${token.edges.beside[n].replaceAll("_", " ")}`);
  }
  at("ribbon").style.left = `${100 * share(edges[0])}%`;
  at("ribbon").style.width = `${100 * (share(edges[1]) - share(edges[0]))}%`;
  at("was").style.left = `${100 * share(automatic[0])}%`;
  at("was").style.width = `${100 * (share(automatic[1]) - share(automatic[0]))}%`;
  const moved = edges.map((edge, n) => Math.round(1000 * (edge - automatic[n])));
  const long = token.opened ? `${Math.round(1000 * (edges[1] - edges[0]))} ms long; ` : "";
  at("edges-words").textContent = `${long}beginning ${by(moved[0])}, end ${by(moved[1])}`
    + (token.edges.reviewed_by ? ` · set by ${token.edges.reviewed_by}` : "");
}

/** Move an edge, kept within the word and on its own side of the other. */
function move(n, to) {
  const low = n === 0 ? span.from : edges[0] + 0.001;
  const high = n === 0 ? edges[1] - 0.001 : span.to;
  edges[n] = Math.min(high, Math.max(low, to));
  place();
}

for (const [n, id] of ["onset", "offset"].entries()) {
  const edge = at(id);
  if (!edge) continue;
  edge.addEventListener("keydown", (event) => {
    const step = (event.shiftKey ? 0.01 : 0.001) * { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
    if (!step) return;
    event.preventDefault();
    move(n, edges[n] + step);
    edge.scrollIntoView({ block: "nearest", inline: "nearest" });
  });
  let grabbed = 0; // how far beside its line an edge was taken hold of: it never jumps under a finger
  edge.addEventListener("pointerdown", (event) => {
    edge.setPointerCapture(event.pointerId);
    edge.focus({ preventScroll: true });
    const box = at("canvas").getBoundingClientRect();
    grabbed = event.clientX - box.left - share(edges[n]) * box.width;
  });
  edge.addEventListener("pointermove", (event) => {
    if (!edge.hasPointerCapture(event.pointerId)) return;
    const box = at("canvas").getBoundingClientRect();
    move(n, span.from + ((event.clientX - grabbed - box.left) / box.width) * (span.to - span.from));
  });
}

// ---- listening and keeping -----------------------------------------------------------------------------------------
async function play(part) {
  let played = null;
  if (!token?.has_sound) return;
  const sound = await player.load(client, session, token.key);
  const sample = (time) => Math.round((time - sound.from) * sound.rate);
  if (part === "word") played = await player.play(sound);
  else if (edges) played = await player.play(sound, Math.max(0, sample(edges[0])), sample(edges[1]));
  if (played) at("review").dataset.played = played.samples;
}

const reviewed = (more) => ({
  prompt_index: token.prompt_index, attempt: Math.max(1, token.attempt), slot: token.slot, session, rater: at("rater").value, ...more,
});

/** What was changed: this token's edges and voice, and another attempt where another is to count. */
function corrections() {
  const given = reviewed({});
  const was = token.edges?.now;
  if (edges && was && edges.some((edge, n) => Math.abs(edge - was[n]) > 1e-9)) [given.onset_s, given.offset_s] = edges;
  const voice = document.querySelector("input[name=voice]:checked")?.value || "";
  if (voice && voice !== token.voice) given.voice = voice;
  const counts = Number(document.querySelector("input[name=counts]:checked")?.value || 0);
  const before = token.attempts.find((one) => one.counts)?.attempt || 0;
  return counts && counts !== before ? [given, reviewed({ attempt: counts, counts: true })] : [given];
}

async function keep(given) {
  if (token.key.includes("x")) throw new Error("frication where none is expected has no place of its own to correct; judge it by ear");
  let done = null;
  for (const one of given) done = await tell("do/review/save", { client }, one);
  const before = token.key;
  await openSession();
  const now = rows.findIndex((row) => !row.checked && row.key !== before);
  await open(now >= 0 ? rows[now].key : before);
  at("kept-one").textContent = `Kept; ${done.checked} of ${done.of} tokens are checked by a person.`;
}

at("save")?.addEventListener("click", () => tried(() => keep(corrections())));
at("as-is")?.addEventListener("click", () => tried(() => keep([reviewed({})])));
at("back")?.addEventListener("click", () => { edges = [...token.edges.automatic]; place(); });
at("play-word")?.addEventListener("click", () => tried(() => play("word")));
at("play-sound")?.addEventListener("click", () => tried(() => play("sound")));
document.addEventListener("keydown", (event) => {
  if (!at("one") || at("one").hidden || typing(event) || event.repeat) return;
  const does = { w: () => tried(() => play("word")), h: () => tried(() => play("sound")), 1: () => at("onset").focus(), 2: () => at("offset").focus(), "+": () => lookCloser(2 * closer), "-": () => lookCloser(closer / 2) };
  const doing = does[event.key.toLowerCase()];
  if (!doing) return;
  event.preventDefault();
  doing();
});
at("session")?.addEventListener("change", () => tried(openSession));
at("choose")?.addEventListener("submit", (event) => event.preventDefault());
if (at("session")) tried(async () => {
  await openSession();
  const { sound } = at("review").dataset;
  if (rows.some((row) => row.key === sound)) await open(sound);
});
