// A probe word by word: Space next, A again, S skip, B back, P pause, Esc stop.
import { ROOT, ask, at, made, say, showOnly, tell, tellSamples, tried, typing } from "./ask.js";
import { Microphone, inputs, meterOf } from "./microphone.js";
import { tellWords } from "./kept.js";

const client = at("capture").dataset.client;
const PARTS = ["unfinished", "setup", "registering", "trying", "stage", "ended", "question", "sure", "kept"];
const RUN_ON_MS = 250; // a final sound may outlast the key press
const LONGEST_S = 150;
const TRIAL_S = 5;
let microphone = null;
let take = null;
let busy = false;
let paused = false;
let cameFrom = "setup";

const wait = (ms) => new Promise((done) => setTimeout(done, ms));
const described = () => ({ rate: microphone.rate, microphone: microphone.settings });
const show = (part, focus) => showOnly(PARTS, part, focus);

// ---- what is asked -------------------------------------------------------------------------------------------------
function chosen(name) {
  return document.querySelector(`#setup input[name=${name}]:checked`).value;
}

async function asked() {
  const file = at("own-list").files[0];
  const own = at("words").value === "";
  if (own && !file) throw new Error("choose a LIST.csv, or one of the lists");
  return {
    words: at("words").value,
    listed: own ? await file.text() : "",
    level: chosen("level"),
    cue: chosen("cue"),
    device: at("device").value,
    phase: at("phase").value,
    keep: chosen("keep"),
    modelled: at("modelled").checked,
    elicited: at("elicited").value,
    pictures: !at("by-picture").hidden && at("pictures").checked,
  };
}

/** Pictures are offered where every word of the list has one. */
function follow() {
  at("own").hidden = at("words").value !== "";
  at("by-picture").hidden = at("words").selectedOptions[0]?.dataset.drawn !== "yes";
}
at("words").addEventListener("change", follow);
follow();

/** One key for a cue or a level while one of the two groups has the focus. */
function pickByKey(event) {
  if (typing(event)) return;
  const key = event.key.toUpperCase();
  const cues = [...at("cues").querySelectorAll("input")];
  const levels = [...at("levels").querySelectorAll("input")];
  let pick = levels[Number(key) - 1];
  if (!pick) {
    const fitting = cues.filter((one) => one.value[0] === key);
    pick = fitting.find((one, n) => n > 0 && fitting[n - 1].checked) || fitting[0];
  }
  if (pick) {
    pick.checked = true;
    pick.focus();
    event.preventDefault();
  }
}
at("cues").addEventListener("keydown", pickByKey);
at("levels").addEventListener("keydown", pickByKey);

// ---- room and microphone -------------------------------------------------------------------------------------------
async function listen(device = "") {
  if (microphone) await microphone.close();
  microphone = null;
  let opened;
  try {
    opened = await Microphone.open(device);
  } catch (error) {
    const why = error.name === "NotAllowedError" ? "the browser was not allowed to use it; allow it and try again"
      : error.name === "NotFoundError" ? "none is there; plug one in and try again" : error.message;
    throw new Error(`no microphone: ${why}`);
  }
  microphone = opened;
  const held = microphone.settings;
  const off = held.echoCancellation === false && held.noiseSuppression === false && held.autoGainControl === false;
  at("settings").textContent = `${microphone.rate} samples a second; echo, noise and gain processing ${off ? "off" : "not all known to be off"}`
    + (held.sampleRate ? "" : "; this browser does not tell the device's own rate, so the sound may have been changed on its way");
  meterOf(microphone, at("capture"));
  await fillInputs();
  await tell("do/microphone", { client }, described());
}

async function fillInputs() {
  const select = at("input");
  select.replaceChildren(...(await inputs()).map((one) => made("option", one.label || "microphone", { value: one.deviceId })));
  select.value = microphone.settings.deviceId || "";
}

at("input").addEventListener("change", () => tried(() => listen(at("input").value)).then(mayStart));

function mayStart() {
  at("start").textContent = take ? "Go on with the probe" : "Start the probe";
}

async function openTrying() {
  cameFrom = take ? "unfinished" : "setup";
  show("trying", "trying-head");
  at("try").disabled = at("start").disabled = true;
  await listen();
  at("try").disabled = at("start").disabled = false;
  mayStart();
  at("try").focus();
}

at("setup").addEventListener("submit", (event) => {
  event.preventDefault();
  tried(openTrying).then((done) => { if (at("trying").hidden) show("setup"); });
});

at("try").addEventListener("click", () => tried(async () => {
  at("try").disabled = at("start").disabled = true;
  const told = at("tried");
  microphone.collect();
  told.textContent = "Quiet, please …";
  await wait(2000);
  told.textContent = "Now say a word with s, such as “yes”.";
  await wait(1000 * TRIAL_S - 2000);
  told.textContent = "Looking at it …";
  const samples = microphone.cut();
  microphone.rest();
  try {
    tellTrial(await tellSamples("do/trial", { client, rate: microphone.rate }, samples));
  } finally {
    at("try").disabled = at("start").disabled = false;
    at("start").focus();
  }
}));

function tellTrial(found) {
  const told = at("tried");
  if (found.again) {
    told.replaceChildren(made("p", `Not yet: ${found.again}.`));
    return;
  }
  const { durations, levels, moments } = found.verdict;
  const kinds = [...new Set(Object.values(moments))];
  const spectra = kinds.length === 1 ? kinds[0] : Object.entries(moments).map(([name, support]) => `${name} ${support}`).join(", ");
  const noise = found.snr_4_10khz_db === null ? "No s was heard in it, so the noise could not be set against one."
    : `Its s stands ${Math.round(found.snr_4_10khz_db)} dB over the room's noise between 4 and 10 kHz.`;
  at("try").classList.remove("first");
  at("start").classList.add("first");
  told.replaceChildren(
    made("p", `From such a recording: durations ${durations}, levels ${levels}, spectra ${spectra}. ${noise}`),
    ...found.remedies.map((remedy) => made("p", `To do: ${remedy}`)),
  );
}

// ---- the probe itself ----------------------------------------------------------------------------------------------
at("start").addEventListener("click", () => tried(async () => {
  if (take) take = await tell("do/take/go-on", { client }, described());
  else take = await tell("do/take/begin", { client }, { ...(await asked()), ...described() });
  openStage();
}));

function openStage() {
  paused = false;
  show("stage");
  shownWord();
  microphone.collect();
}

function shownWord(line = "") {
  if (take.place > take.words.length) {
    stop();
    return;
  }
  const word = take.words[take.place - 1];
  const before = take.said[take.place - 1];
  const drawn = take.pictures && !paused;
  at("drawing").hidden = !drawn;
  at("word").hidden = drawn;
  if (drawn) at("drawing").src = `${ROOT}drawing?${new URLSearchParams({ word })}`;
  at("word").textContent = paused ? "pause" : word;
  at("word").classList.toggle("long", word.length > 14 && word.length <= 60);
  at("word").classList.toggle("passage", word.length > 60);
  at("word").classList.toggle("away", paused);
  at("drawing").classList.remove("away");
  at("stage-place").textContent = `${take.place} of ${take.words.length}` + (drawn ? ` · ${word}` : "") + (before ? ` · said ${before === 1 ? "once" : `${before} times`}; the first whole one counts` : "");
  at("stage-said").textContent = line;
  at("pause-word").textContent = paused ? "go on" : "pause";
}

async function keepStretch(then) {
  for (const id of ["word", "drawing"]) at(id).classList.add("away");
  await wait(RUN_ON_MS);
  const samples = microphone.cut();
  take = await tellSamples("do/take/stretch", { client, take: take.take, place: take.place, then }, samples);
  microphone.collect();
  shownWord(take.again ? `Once more: ${take.again}` : "");
}

async function stepped(back) {
  take = await tell("do/take/step", { client }, { take: take.take, place: take.place, back });
  microphone.collect();
  shownWord();
}

function pause() {
  paused = !paused;
  if (paused) microphone.rest();
  else microphone.collect();
  shownWord(paused ? "Paused: nothing is recorded." : "");
}

function stop() {
  microphone.rest();
  paused = false;
  const said = take.said.filter((n) => n > 0).length;
  at("ended-head").textContent = said === take.words.length ? "All words are said" : `${said} of ${take.words.length} words are said`;
  at("ended-words").textContent = said === take.words.length ? "" : "Words without sound are kept as not heard.";
  at("more").hidden = take.place > take.words.length;
  at("keep").disabled = said === 0;
  show("ended", said ? "keep" : "away");
}

const DOES = {
  next: () => (paused ? pause() : keepStretch("next")),
  again: () => (paused ? pause() : keepStretch("again")),
  skip: () => (paused ? pause() : stepped(false)),
  back: () => (paused ? pause() : stepped(true)),
  pause,
  stop,
};
const KEYS = { " ": "next", a: "again", s: "skip", b: "back", p: "pause", escape: "stop" };

async function act(name) {
  if (busy) return;
  busy = true;
  try {
    await DOES[name]();
  } catch (error) {
    at("stage-said").textContent = error.message;
    microphone.collect();
    for (const id of ["word", "drawing"]) at(id).classList.remove("away");
  } finally {
    busy = false;
    if (!at("stage").hidden) at("stage").focus();
  }
}

document.addEventListener("keydown", (event) => {
  if (at("stage").hidden || event.target.closest("a, summary")) return;
  const name = KEYS[event.key.toLowerCase()];
  const onButton = event.target.closest("button");
  if (!name || event.ctrlKey || event.metaKey || event.altKey || (onButton && event.key === " ")) return;
  event.preventDefault();
  if (!event.repeat) act(name);
});
for (const button of at("stage").querySelectorAll("button")) button.addEventListener("click", () => act(button.dataset.do));
setInterval(() => {
  if (microphone && !at("stage").hidden && !busy && microphone.collecting && microphone.seconds > LONGEST_S) act("pause");
}, 1000);

// ---- the end -------------------------------------------------------------------------------------------------------
at("more").addEventListener("click", () => (microphone ? openStage() : tried(openTrying)));
at("away").addEventListener("click", () => { cameFrom = "ended"; show("sure", "not-erase"); });
at("not-erase").addEventListener("click", () => show(cameFrom, { ended: "keep", question: "question-head" }[cameFrom] || "continue"));
at("erase").addEventListener("click", () => tried(async () => {
  await tell("do/take/throw-away", { client }, {});
  location.assign(`${ROOT}capture?client=${client}`);
}));
at("keep").addEventListener("click", () => finish());
at("was-model").addEventListener("click", () => finish({ modelled: true }));
at("keep-anyway").addEventListener("click", () => finish({ anyway: true }));

/** A question about the list or the voices is asked where the probe ends, each answer a button. */
function askBack(question) {
  at("question-words").textContent = `${question.message}.`;
  at("was-model").hidden = !question.answers.includes("modelled");
  at("sure-away").hidden = false;
  show("question", "question-head");
}
at("sure-away").addEventListener("click", () => { cameFrom = "question"; show("sure", "not-erase"); });

async function finish(answer = {}) {
  const ids = ["keep", "more", "away", "finish-now", "was-model", "keep-anyway", "sure-away"];
  const buttons = ids.map(at).filter(Boolean);
  for (const one of buttons) one.disabled = true;
  at("ended-words").textContent = "Measuring …";
  let question = null;
  const kept = await tried(() => tell("do/take/finish", { client }, answer).catch((error) => {
    if (!error.answers?.length) throw error;
    question = error;
  }));
  for (const one of buttons) one.disabled = false;
  if (question) askBack(question);
  if (!kept) {
    at("ended-words").textContent = "";
    return;
  }
  if (microphone) await microphone.close();
  microphone = null;
  tellKept(kept);
}

function tellKept(kept) {
  const of = (word) => kept.recordings.filter((one) => one.verdict === word).length;
  const byPlace = new Map(kept.recordings.flatMap((one) => one.prompts.map((place) => [place, one])));
  const counts = ["usable", "with care", "not usable"].filter(of).map((word) => `${of(word)} ${word}`).join(", ");
  at("verdict").textContent = `The words' recordings: ${counts}.`;
  tellWords(kept, (place) => byPlace.get(place)?.verdict ?? "");
  if (of("usable") === kept.recordings.length) at("remedies").replaceChildren();
  at("to-judge").href = `${ROOT}judge?client=${client}&session=${kept.session}`;
  show("kept", "kept-head");
}

// ---- what was left unfinished --------------------------------------------------------------------------------------
if (at("unfinished")) {
  at("continue").addEventListener("click", () => tried(async () => {
    ({ take } = await ask("do/take", { client }));
    await openTrying();
  }));
  at("finish-now").addEventListener("click", () => finish());
  at("discard").addEventListener("click", () => { cameFrom = "unfinished"; show("sure", "not-erase"); });
} else {
  say("");
}
addEventListener("beforeunload", (event) => { if (!at("stage").hidden && !paused) event.preventDefault(); });
