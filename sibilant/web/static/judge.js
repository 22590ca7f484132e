// One token after the other, in the order the caseload gives: listen, say what was heard, go on.
import { ROOT, ask, at, made, showOnly, tell, tried, typing } from "./ask.js";
import { fill, follow, markOf, said as marked, toggleCertainty } from "./marking.js";
import { Player } from "./player.js";

const PARTS = ["begin", "listening", "done"];
const client = at("judge").dataset.client;
const player = new Player();
let queue = null;
let place = 0;
let given = new Map();
let sound = null;
let busy = false;

at("blind")?.addEventListener("change", () => { at("share-line").hidden = !at("blind").checked; });

at("begin")?.addEventListener("submit", (event) => {
  event.preventDefault();
  tried(async () => {
    const session = at("session").value;
    const share = at("blind").checked ? at("share").value : "100";
    queue = await tell("do/judge/queue", { client }, { session, rater: at("rater").value, blind: at("blind").checked, share });
    given = new Map();
    place = 0;
    if (!queue.left.length) await done();
    else await next();
  });
});

async function next() {
  const one = queue.left[place];
  if (!one) {
    await done();
    return;
  }
  showOnly(PARTS, "listening", "prompt");
  at("place").textContent = `${one.place} of ${one.of}${queue.blind ? " · blind" : ""}${queue.turn > 1 ? ` · pass ${queue.turn}` : ""}`;
  at("prompt").textContent = one.prompt;
  at("sound").textContent = one.sound + (one.has_sound ? "" : " · its sound was not kept or it was not heard");
  at("play-word").disabled = at("play-sound").disabled = !one.has_sound;
  at("before").disabled = place === 0;
  fill(given.get(one.key));
  sound = null;
  for (const near of queue.left.slice(place, place + 3)) if (near.has_sound) player.load(client, queue.session, near.key).catch(() => {});
  if (one.has_sound) await heard();
}

at("marks")?.addEventListener("change", follow);

async function heard(part = "word") {
  const one = queue.left[place];
  if (!one?.has_sound) return;
  await tried(async () => {
    sound = await player.load(client, queue.session, one.key);
    at("play-sound").disabled = sound.first < 0;
    if (part !== "word" && sound.first < 0) return;
    const played = part === "word" ? await player.play(sound) : await player.play(sound, sound.first, sound.last);
    at("judge").dataset.played = played.samples;
  });
}

async function keep() {
  if (busy) return;
  const one = queue.left[place];
  const said = marked();
  busy = true;
  const kept = await tried(() => tell("do/judge/one", {}, { ...said, key: one.key, client: queue.client, session: queue.session, rater: queue.rater, turn: queue.turn, blind: queue.blind, revision: queue.revision }));
  busy = false;
  if (!kept) return;
  given.set(one.key, said);
  at("kept-one").textContent = `${one.prompt}: kept as ${markOf(said.heard).name}`;
  place += 1;
  await next();
}

async function back() {
  if (place > 0) {
    place -= 1;
    await next();
  }
}

async function done() {
  player.stop();
  const left = queue.left.length - given.size;
  const values = { client, session: queue.session, rater: queue.rater };
  at("done-head").textContent = left > 0 ? `Stopped; ${left} still to judge` : "This set is judged";
  at("to-progress").hidden = left > 0;
  at("to-review").href = `${ROOT}review?client=${client}&session=${queue.session}`;
  const lines = left > 0 || queue.blind && queue.turn > 1 ? [] : (await ask("do/judge/after", values)).lines;
  at("lines").replaceChildren(...lines.map((line) => made("li", line)));
  showOnly(PARTS, "done", "done-head");
}

at("play-word")?.addEventListener("click", () => heard("word"));
at("play-sound")?.addEventListener("click", () => heard("sound"));
at("next")?.addEventListener("click", keep);
at("before")?.addEventListener("click", back);
at("leave")?.addEventListener("click", () => tried(done));
at("once-more")?.addEventListener("click", () => location.assign(`${ROOT}judge?client=${client}`));

/** One key each, wherever on the page one has clicked; a field in which one types keeps its own keys, but for Enter and Escape. */
document.addEventListener("keydown", (event) => {
  if (!at("listening") || at("listening").hidden || event.target.closest("a, summary")) return;
  const inField = typing(event);
  if (event.key === "Enter" && !event.target.closest("button")) {
    event.preventDefault();
    keep();
    return;
  }
  if (event.key === "Escape") {
    if (inField) at("prompt").focus();
    else tried(done);
    return;
  }
  if (inField || event.repeat) return;
  const key = event.key.toLowerCase();
  const mark = document.querySelector(`#marks input[data-key="${CSS.escape(key)}"]`);
  const kind = at("kinds").hidden ? null : document.querySelector(`#kinds input[data-key="${CSS.escape(key)}"]`);
  if (key === " " && event.target.closest("button, input")) return;
  if (key === " ") heard("word");
  else if (key === "h") heard("sound");
  else if (key === "b") back();
  else if (key === "u") toggleCertainty();
  else if (mark) {
    mark.checked = true;
    follow();
    if (mark.value === "substituted") at("substitute").focus();
  } else if (kind) kind.checked = !kind.checked;
  else return;
  event.preventDefault();
});
