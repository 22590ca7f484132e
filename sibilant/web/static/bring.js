// A recording already made: dropped or chosen, looked at first, then measured and kept; nothing is kept before that.
import { at, made, showOnly, tellSamples, tried, wrapped } from "./ask.js";
import { tellWords } from "./kept.js";

const client = at("bring").dataset.client;
const PARTS = ["setup", "question", "kept"];
let chosen = [];
let ordered = 0;
let said = {};

async function own() {
  if (at("words").value !== "") return "";
  const file = at("own-list").files[0];
  return file ? file.text() : "";
}

async function asked(answer = {}) {
  const list = await own();
  if (!list && at("words").value === "") throw new Error("choose a LIST.csv, or one of the lists");
  return {
    words: at("words").value, listed: list, on: at("on").value, level: at("level").value, cue: at("cue").value,
    device: at("device").value, elicited: at("elicited").value, keep: at("keep").value, note: at("note").value, list_name: (at("own-list").files[0]?.name || "").replace(/[-_.]+/g, " "),
    channel: at("channel").value, modelled: at("modelled").checked, ...answer,
  };
}

function day(ms) {
  const date = new Date(ms);
  return [date.getFullYear(), date.getMonth() + 1, date.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
}

// ---- the first look --------------------------------------------------------------------------------------------------
async function look() {
  const turn = ++ordered;
  at("keep-it").disabled = true;
  at("working").textContent = chosen.length ? "Looking at it …" : "";
  at("looked").replaceChildren(...chosen.map((one) => made("li", one.name)));
  if (!chosen.length) return;
  const found = await tried(async () => tellSamples("do/bring/look", {}, wrapped(chosen, { words: at("words").value, listed: await own(), channel: at("channel").value })));
  if (turn !== ordered) return;
  at("working").textContent = "";
  if (!found) return;
  at("looked").replaceChildren(...found.files.map(told));
  if (found.files.some((one) => one.channels_differ)) at("both-ways").hidden = false;
  at("looked-asked").textContent = found.asked;
  at("looked-asked").hidden = !found.asked;
  at("keep-it").disabled = found.files.some((one) => one.error);
}

function told(one, place) {
  const item = made("li");
  item.append(made("strong", one.name));
  if (one.error) item.append(made("span", ` – ${one.error}`));
  else {
    const spectra = [...new Set(Object.values(one.verdict.moments))].join(" or ");
    item.append(` ${one.duration_s.toFixed(0)} s; durations ${one.verdict.durations}, levels ${one.verdict.levels}, spectra ${spectra}`);
    for (const line of one.remedies) item.append(made("small", line));
  }
  const row = made("span", "", { className: "row" });
  if (place > 0) row.append(button("earlier", `${one.name}: earlier`, () => { [chosen[place - 1], chosen[place]] = [chosen[place], chosen[place - 1]]; }));
  if (chosen.length > 1) row.append(button("leave out", `leave out ${one.name}`, () => { chosen.splice(place, 1); }));
  if (row.children.length) item.append(row);
  return item;
}

function button(text, label, act) {
  const one = made("button", text, { type: "button" });
  one.setAttribute("aria-label", label);
  one.addEventListener("click", () => { act(); look(); });
  return one;
}

function take(files) {
  chosen = [...files].sort((a, b) => a.lastModified - b.lastModified || a.name.localeCompare(b.name));
  if (chosen.length) at("on").value = day(chosen[0].lastModified);
  return look();
}

at("files").addEventListener("change", () => take(at("files").files));
at("channel").addEventListener("change", look);
at("words").addEventListener("change", () => {
  at("own").hidden = at("words").value !== "";
  if (chosen.length && at("words").value) look();
});
at("own-list").addEventListener("change", () => { if (chosen.length) look(); });
const drop = at("drop");
for (const name of ["dragenter", "dragover"]) document.addEventListener(name, (event) => { event.preventDefault(); drop.classList.add("over"); });
for (const name of ["dragleave", "drop"]) document.addEventListener(name, (event) => { event.preventDefault(); drop.classList.remove("over"); });
document.addEventListener("drop", (event) => { if (!at("setup").hidden && event.dataTransfer.files.length) take(event.dataTransfer.files); });

// ---- kept --------------------------------------------------------------------------------------------------------------
async function keep(answer = {}) {
  let question = null;
  at("keep-it").disabled = true;
  at("working").textContent = "Measuring …";
  const kept = await tried(async () => tellSamples("do/bring/keep", { client }, wrapped(chosen, await asked(answer))).catch((error) => {
    if (!error.answers?.length) throw error;
    question = error;
  }));
  at("working").textContent = "";
  at("keep-it").disabled = false;
  if (question) {
    at("question-words").textContent = `${question.message}.`;
    said = { ...said, ...(question.answers.includes("no_name") ? { no_name: true } : { anyway: true }) };
    at("was-model").hidden = !question.answers.includes("modelled");
    showOnly(PARTS, "question", "question-head");
  } else if (kept) {
    at("verdict").textContent = `The recording: ${kept.recordings.map((one) => one.verdict).join(", ")}.`;
    tellWords(kept);
    for (const id of ["to-judge", "to-session"]) at(id).href = `${at(id).href.split("&")[0]}&session=${kept.session}`;
    showOnly(PARTS, "kept", "kept-head");
  } else showOnly(PARTS, "setup", "keep-it");
}

at("setup").addEventListener("submit", (event) => { event.preventDefault(); said = {}; keep(); });
at("was-model").addEventListener("click", () => keep({ ...said, anyway: false, modelled: true }));
at("keep-anyway").addEventListener("click", () => keep({ ...said, modelled: at("modelled").checked }));
at("back-to-it").addEventListener("click", () => showOnly(PARTS, "setup", "words"));
