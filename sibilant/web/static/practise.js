// Practice: a long sound as a ribbon, still until a person has marked the try; runs of words by one key each.
import { ROOT, at, made, showOnly, tell, tried, typing } from "./ask.js";
import { LongSound } from "./longsound.js";
import { Microphone } from "./microphone.js";

const client = at("practise").dataset.client;
const PARTS = ["doors", "long", "run", "over"];
const TRIES = 3;

// ---- one long sound ------------------------------------------------------------------------------------------------
let microphone = null;
let sound = null;
let tries = 0;

async function openLong() {
  microphone = await Microphone.open();
  await tell("do/microphone", { client }, { rate: microphone.rate, microphone: microphone.settings });
  sound = new LongSound(microphone.rate);
  tries = 0;
  microphone.onblock = hear;
  tellTries();
  showOnly(PARTS, "long", "long");
  still();
}

/** The length is told to nobody but the one who works: on the child's side there is the ribbon alone. */
function hear(block) {
  const before = sound.ended;
  sound.take(block);
  draw(sound.length_s);
  if (sound.ended && !before) ended();
}

function draw(seconds) {
  at("unrolled").style.strokeDasharray = `${Math.round(1000 * seconds)} 5000`;
  at("unrolled").classList.toggle("away", seconds === 0);
}

function still() {
  sound.reset();
  draw(0);
  at("long-said").textContent = tries >= TRIES ? "Three long tries are done: rest, then go on or stop." : "Still. Nothing moves until you mark this try as in place.";
  at("in-place").disabled = tries >= TRIES;
}

function ended() {
  tries += 1;
  const { seconds, wander_db: wander } = sound.whole;
  at("long-said").textContent = "The try is over, and its mark with it.";
  at("long-told").textContent = `${seconds.toFixed(2)} s${Number.isFinite(wander) ? `; loudness wandered by ${wander.toFixed(1)} dB` : ""}`;
  at("in-place").disabled = true;
  tellTries();
}

function tellTries() {
  at("tries").textContent = `${tries} of ${TRIES} tries`;
}

function markIt() {
  if (at("in-place").disabled || sound.ended) return;
  at("long-told").textContent = "";
  sound.mark();
  at("long-said").textContent = "This try is in place: the ribbon grows while the sound lasts.";
}

function nextTry() {
  if (tries >= TRIES) tries = 0;
  at("long-told").textContent = "";
  tellTries();
  still();
}

async function leaveLong() {
  if (microphone) await microphone.close();
  microphone = null;
  showOnly(PARTS, "doors", "open-long");
}

at("open-long").addEventListener("click", () => tried(openLong));
at("in-place").addEventListener("click", markIt);
at("next-try").addEventListener("click", nextTry);
at("leave-long").addEventListener("click", leaveLong);

// ---- a run -----------------------------------------------------------------------------------------------------------
let items = [];
let given = [];
let cue = "";
let ending = false; // from here on nothing more is marked
let keeping = false; // a run is kept once

at("run-form").addEventListener("submit", (event) => {
  event.preventDefault();
  tried(async () => {
    items = await tell("do/practise/items", { client }, { level: at("level").value, words: at("words").value, probe_words: at("probe_words").checked });
    given = [];
    ending = false;
    setCue(at("run-cues").querySelector("button").dataset.cue);
    showOnly(PARTS, "run", "run");
    showItem();
  });
});

function setCue(name) {
  cue = name;
  for (const one of at("run-cues").querySelectorAll("button")) one.setAttribute("aria-pressed", String(one.dataset.cue === name));
}

function showItem() {
  const item = items[given.length % items.length];
  at("run-place").textContent = `${(given.length % items.length) + 1} of ${items.length}`;
  at("run-drawing").hidden = !item.drawn;
  if (item.drawn) at("run-drawing").src = `${ROOT}drawing?${new URLSearchParams({ word: item.drawn })}`;
  at("run-word").replaceChildren(...item.runs.map(([text, kind]) => (kind === "target" ? made("b", text) : document.createTextNode(text))));
  at("run-word").classList.toggle("long", item.runs.map(([text]) => text).join("").length > 18);
  at("run-count").textContent = counted().join(" · ");
  at("run-undo").disabled = !given.length;
}

/** Correct of all that could be scored, for each cue apart. */
function counted() {
  const cues = [...new Set(given.map((one) => one.cue))];
  return cues.map((name) => {
    const scored = given.filter((one) => one.cue === name && one.heard !== "not_scorable");
    return `${name}: ${scored.filter((one) => one.heard === "correct").length} of ${scored.length} correct`;
  });
}

async function markItem(heard) {
  if (ending) return;
  const item = items[given.length % items.length];
  given.push({ heard, cue, word: item.word, said: item.runs.map(([text]) => text).join("") });
  if (given.length % items.length === 0) await over();
  else showItem();
}

async function over() {
  if (ending) return;
  ending = true;
  await keepRun();
}

async function keepRun() {
  if (keeping) return;
  keeping = true;
  const words = [...new Set(given.map((one) => one.word).filter(Boolean))];
  const kept = given.length ? await tried(() => tell("do/practise/said", { client }, { level: at("level").value, marks: given })) : null;
  keeping = false;
  const lines = counted();
  if (kept && words.length) lines.push(`${words.length} word${words.length === 1 ? "" : "s"} practised; ${words.length === 1 ? "it counts" : "they count"} as treated from today`);
  at("over-lines").replaceChildren(...(lines.length ? lines : ["Nothing was marked."]).map((line) => made("li", line)));
  at("over-head").textContent = kept === undefined ? "Practised, and not kept" : "Practised";
  at("run-kept").hidden = !kept;
  at("keep-again").hidden = kept !== undefined;
  showOnly(PARTS, "over", "over-head");
}
at("keep-again").addEventListener("click", keepRun);

at("run-marks").addEventListener("click", (event) => { const one = event.target.closest("button"); if (one) markItem(one.dataset.heard); });
at("run-cues").addEventListener("click", (event) => { const one = event.target.closest("button"); if (one) setCue(one.dataset.cue); });
at("run-undo").addEventListener("click", takeBack);
at("run-tell").addEventListener("click", tellCount);
at("run-stop").addEventListener("click", over);
/** The count is for the one who works: it shows when asked for, and never by itself. */
function tellCount() {
  at("run-count").hidden = !at("run-count").hidden;
  at("run-tell").setAttribute("aria-pressed", String(!at("run-count").hidden));
}

function takeBack() {
  if (ending) return;
  given.pop();
  showItem();
}

document.addEventListener("keydown", (event) => {
  if (typing(event) || event.repeat) return;
  const key = event.key.toLowerCase();
  if (!at("long").hidden) {
    const act = { i: markIt, n: nextTry, escape: leaveLong }[key];
    if (act) act();
    return;
  }
  if (at("run").hidden) return;
  const button = at("run").querySelector(`button[data-key="${CSS.escape(key)}"]`);
  if (button) button.click();
  else if (key === "z" && given.length) takeBack();
  else if (key === "t") tellCount();
  else if (key === "escape") over();
  else return;
  event.preventDefault();
});
addEventListener("pagehide", () => { if (microphone) microphone.close(); });
