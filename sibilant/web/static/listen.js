// Two kept sounds one after another at equal loudness. Loudness: RMS of the 20 ms pieces within 30 dB of the loudest.
import { at, tried, typing } from "./ask.js";
import { Player } from "./player.js";

const PIECE_S = 0.02;
const WITHIN = 1e-3;
const GAP_MS = 350;
const client = at("listen").dataset.client;
const player = new Player();
let turn = 0;

function chosen(id) {
  const [session, key] = at(id).value.split(" ");
  return player.load(client, session, key);
}

/** The part of a word that is played: all of it, or the hiss alone where it is bounded. */
function part(sound) {
  const whole = !at("hiss").checked || !(sound.last > sound.first);
  return whole ? sound.samples : sound.samples.subarray(sound.first, sound.last);
}

export function loudness(samples, rate) {
  const size = Math.max(1, Math.round(PIECE_S * rate));
  const powers = [];
  for (let from = 0; from + size <= samples.length || from === 0; from += size) {
    const piece = samples.subarray(from, from + size);
    powers.push(piece.reduce((sum, value) => sum + value * value, 0) / Math.max(1, piece.length));
  }
  const most = Math.max(...powers);
  const heard = powers.filter((power) => power >= most * WITHIN);
  return Math.sqrt(heard.reduce((sum, power) => sum + power, 0) / heard.length);
}

/** Both sounds, the louder one turned down to the softer one; none is ever turned up. */
async function matched() {
  const sounds = await Promise.all([chosen("first"), chosen("second")]);
  const parts = sounds.map(part);
  const levels = parts.map((samples, n) => loudness(samples, sounds[n].rate));
  const softest = Math.min(...levels);
  return parts.map((samples, n) => {
    const gain = levels[n] > 0 ? softest / levels[n] : 1;
    return { rate: sounds[n].rate, gain, samples: samples.map((value) => value * gain) };
  });
}

async function play(...which) {
  const mine = ++turn;
  const sounds = await matched();
  const down = sounds.map((one) => Math.abs(20 * Math.log10(one.gain)));
  at("told").textContent = Math.max(...down) < 0.05 ? "Equally loud as they are." : `The ${down[0] > down[1] ? "first" : "second"} is played ${Math.max(...down).toFixed(1)} dB softer than it was.`;
  for (const n of which) {
    if (mine !== turn) return;
    await player.play(sounds[n]);
    await new Promise((done) => setTimeout(done, (1000 * sounds[n].samples.length) / sounds[n].rate + GAP_MS));
  }
}

function stop() {
  turn += 1;
  player.stop();
}

function swap() {
  [at("first").value, at("second").value] = [at("second").value, at("first").value];
}

const acts = { " ": () => tried(() => play(0, 1)), 1: () => tried(() => play(0)), 2: () => tried(() => play(1)), x: swap, escape: stop };
const buttons = { both: " ", "play-first": 1, "play-second": 2, swap: "x", stop: "escape" };
if (at("both")) {
  for (const [id, key] of Object.entries(buttons)) at(id).addEventListener("click", acts[key]);
  document.addEventListener("keydown", (event) => {
    const act = acts[event.key.toLowerCase()];
    if (!act || typing(event) || event.repeat || event.target.matches("button, a, summary, input")) return;
    event.preventDefault();
    act();
  });
  for (const link of document.querySelectorAll("[data-first]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      at("first").value = link.dataset.first;
      at("second").value = link.dataset.second;
      tried(() => play(0, 1));
    });
  }
  for (const button of document.querySelectorAll("[data-hear]")) {
    button.addEventListener("click", () => {
      at("first").value = button.dataset.hear;
      tried(() => play(0));
    });
  }
}
