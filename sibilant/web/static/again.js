// A set as the list of its words with their marks: go to one, hear it, change its mark, put the one before back.
import { ask, at, made, tell, tried, typing } from "./ask.js";
import { follow, fill, markOf, said, toggleCertainty } from "./marking.js";
import { Player } from "./player.js";

const client = at("again").dataset.client;
const player = new Player();
let rows = [];
let place = 0;
let session = 0;
let rater = "";
let keeping = false;

async function openSet() {
  session = Number(at("session").value);
  rater = at("rater").value;
  player.forget();
  ({ tokens: rows, rater } = await ask("do/again/marks", { client, session, rater }));
  place = 0;
  list();
  if (rows.length) go(0, false);
}

function told(row) {
  if (!row.heard) return "not judged";
  const mark = markOf(row.heard);
  return [`${mark.sign} ${mark.name}`, row.types.join(", "), row.substitute ? `said ${row.substitute}` : "", row.certainty === "unsure" ? "unsure" : ""].filter(Boolean).join(" · ");
}

function list() {
  at("words").replaceChildren(...rows.map((row, n) => {
    const item = made("li");
    const button = made("button", row.prompt, { type: "button", tabIndex: n === place ? 0 : -1 });
    button.append(made("small", told(row) + (row.earlier ? ` · changed ${row.earlier}×` : "")));
    if (n === place) button.setAttribute("aria-current", "true");
    button.addEventListener("click", () => go(n));
    item.append(button);
    return item;
  }));
}

function go(n, focus = true) {
  if (n < 0 || n >= rows.length) return;
  place = n;
  const row = rows[n];
  list();
  at("listening").hidden = false;
  at("prompt").textContent = row.prompt;
  at("sound").textContent = row.sound + (row.has_sound ? "" : " · its sound was not kept or it was not heard");
  at("play-word").disabled = at("play-sound").disabled = !row.has_sound;
  at("undo").disabled = !row.earlier;
  at("kept-one").textContent = row.was ? `before: ${markOf(row.was).name}` : "";
  fill(row.heard ? row : null);
  if (focus) {
    at("words").querySelectorAll("button")[n].focus();
    heard("word");
  }
}

async function heard(part) {
  const row = rows[place];
  if (!row?.has_sound) return;
  await tried(async () => {
    const sound = await player.load(client, session, row.key);
    if (part !== "word" && sound.first < 0) return;
    await (part === "word" ? player.play(sound) : player.play(sound, sound.first, sound.last));
  });
}

/** Whether what is chosen is what stands already: keeping it again would only lengthen the trail. */
function stands(row, chosen) {
  const parts = ({ heard, types, substitute, certainty, note, line }) =>
    JSON.stringify([heard, [...types].sort(), substitute || "", certainty || "", note || "", line ?? null]);
  return Boolean(row.heard) && parts(row) === parts(chosen);
}

async function change(more) {
  const n = place;
  if (keeping) return;
  if (!more.undo && stands(rows[n], more)) {
    at("kept-one").textContent = `${rows[n].prompt}: ${told(rows[n])}, as it stands`;
    return;
  }
  keeping = true;
  const now = await tried(() => tell("do/again/one", { client }, { session, rater, key: rows[n].key, ...more }));
  keeping = false;
  if (!now) return;
  rows[n] = now;
  go(n, false);
  at("words").querySelectorAll("button")[n].focus();
  at("kept-one").textContent = `${now.prompt}: now ${told(now)}; ${now.was ? `before ${markOf(now.was).name}, kept in the trail` : "no mark stood before"}`;
}

at("session")?.addEventListener("change", () => tried(openSet));
at("rater")?.addEventListener("change", () => tried(openSet));
at("choose")?.addEventListener("submit", (event) => event.preventDefault());
at("marks")?.addEventListener("change", follow);
at("play-word")?.addEventListener("click", () => heard("word"));
at("play-sound")?.addEventListener("click", () => heard("sound"));
at("keep")?.addEventListener("click", () => change(said()));
at("undo")?.addEventListener("click", () => change({ undo: true }));

document.addEventListener("keydown", (event) => {
  if (!at("listening") || at("listening").hidden || event.target.closest("a, summary, #choose")) return;
  const onWord = event.target.closest("#words button");
  const inField = typing(event);
  if (event.key === "Enter" && (onWord || !event.target.closest("button"))) {
    event.preventDefault();
    if (!event.repeat) change(said());
    return;
  }
  if (inField || event.repeat && !event.key.startsWith("Arrow")) return;
  const key = event.key.toLowerCase();
  if (event.target.matches("input[type=radio], input[type=range]") && key.startsWith("arrow")) return;
  if (key === " " && event.target.closest("button, input") && !onWord) return;
  const mark = document.querySelector(`#marks input[data-key="${CSS.escape(key)}"]`);
  const kind = at("kinds").hidden ? null : document.querySelector(`#kinds input[data-key="${CSS.escape(key)}"]`);
  if (key === "arrowdown") go(place + 1);
  else if (key === "arrowup") go(place - 1);
  else if (key === " ") heard("word");
  else if (key === "h") heard("sound");
  else if (key === "z") at("undo").click();
  else if (key === "u") toggleCertainty();
  else if (mark) {
    mark.checked = true;
    follow();
    if (mark.value === "substituted") at("substitute").focus();
  } else if (kind) kind.checked = !kind.checked;
  else return;
  event.preventDefault();
});
if (at("session")) tried(openSet);
