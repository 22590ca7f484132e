"""Make ``sibilant/words/data/sounds.npz``: what the network of ``words/sound_model.py`` has learnt.

    python docs/train_sounds.py SENTENCES [ROUNDS]

SENTENCES is a folder with ``manifest.csv`` (``file``, ``prompt``, ``speaker``) and the sound files it names, such as
the open collection in ``shared/sentences`` (speechocean762, CC BY 4.0). Each sentence is aligned with its own prompt by
what was learnt before, and learnt again; no label of any person or program is used. The first alignment of all was by
the band shapes of the word search. Beside them stand 600 invented sentences (Invented data - not a person), of known
sounds, half of their sibilants left out or said in another way. Each sentence is learnt once as it is and once
with a room's tail and noise added. Seeded, and quickest with ``OMP_NUM_THREADS=1``; the result depends on the sentences
and on what was learnt before. The network that ships was learnt with 300 invented sentences, round after round. Run
once from it, this gives one that reads as well and no better; it was not taken, so that words stay as they are.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sibilant import lexicon, read_recording, synthetic
from sibilant.audio import recording_from_samples
from sibilant.synthetic import SIBILANT_TYPES, Room
from sibilant.synthetic.truth import TruePhone
from sibilant.terms import Prompt, Recording, Utterance, Word
from sibilant.words import find_words, place_phones, sound_model
from sibilant.words.sound_model import HOP_S, PHONES, SILENCE

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]
HIDDEN, BATCH, DROPPED = 128, 256, 0.15
N_INVENTED, INVENTED_WORTH, CHANGED_WORTH, EPOCHS = 600, 0.35, 0.6, 7
RATE_HZ, VOICES = 16000, (synthetic.woman, synthetic.man, synthetic.child_speaker)
FATES, FATE_SHARES = ("", "omitted", "odd", "th"), (0.5, 0.18, 0.2, 0.12)
SURE, SILENT, UNKNOWN = 0.6, 0.4, -1
WHERE = Path(sound_model.__file__).parent / "data" / "sounds.npz"


@dataclass(frozen=True, slots=True, eq=False)
class Invented:
    """An invented sentence: what was asked, what became of each sibilant, the sound, and its phones in time."""

    asked: Prompt
    fates: tuple[str, ...]
    recording: Recording
    phones: tuple[TruePhone, ...]


@dataclass
class Learnt:
    """Frames as the network sees them, the sound of each, and its worth."""

    seen: list[Float32s]
    sound: list[Ints]
    worth: list[Float32s]
    speaker: list[str]

    def without(self, speakers: Collection[str]) -> Learnt:
        """The same, less what some speakers said."""
        kept = [k for k, speaker in enumerate(self.speaker) if speaker not in speakers]
        return Learnt(*([column[k] for k in kept] for column in (self.seen, self.sound, self.worth, self.speaker)))  # type: ignore[arg-type]

    def add(self, power: Float32s, rate: int, sound: Ints, worth: float, speaker: str = "") -> None:
        """Take the frames whose sound is known."""
        known = sound != UNKNOWN
        ends = ((sound_model.REACH, sound_model.REACH), (0, 0))
        seen = sound_model.seen_by_network(
            np.pad(power, ends, mode="edge"), sound_model.normalisation_of([power], rate)
        )
        self.seen.append(seen[known])
        self.sound.append(sound[known])
        self.worth.append(np.full(int(known.sum()), worth, dtype=np.float32))
        self.speaker.append(speaker)


def labels_of(recording: Recording, prompt: Prompt, n: int) -> Ints | None:
    """Sound of each frame by the present model; unknown where it is in doubt, None where no words were found."""
    found = find_words(recording, [prompt]).utterances[:1]
    places = place_phones(recording, [Utterance(prompt, 1, 1, u.interval) for u in found])
    if not places or places[0] is None:
        return None
    own, first = places[0], round(places[0].start_s / HOP_S)
    names = [PHONES.index(phone.rstrip("012")) for phone in prompt.phones]
    out = np.full(n, SILENCE)
    part = np.where(own.weight.max(axis=0) > SURE, np.array(names)[own.weight.argmax(axis=0)], UNKNOWN)
    part[own.weight.sum(axis=0) < SILENT] = SILENCE
    out[first : first + part.size] = part[: max(0, n - first)]
    return out


def changed(power: Float32s, rng: np.random.Generator) -> Float32s:
    """Power in each band with the tail of a room, or noise, or both."""
    out = power.astype(np.float64)
    if rng.random() < 0.5:
        steps = np.arange(1, int(rng.uniform(0.25, 0.8) / HOP_S) + 1)
        tail = 10.0 ** (-6.0 * steps / steps[-1])
        tail *= 10.0 ** (-rng.uniform(0.0, 8.0) / 10.0) / tail.sum()
        for step, share in zip(steps, tail, strict=True):
            out[step:] += share * power[:-step]
    if rng.random() < 0.6:
        slope = 10.0 ** (rng.uniform(-1.2, 0.0) * np.linspace(0.0, 1.0, power.shape[1]))
        level = np.percentile(power.sum(axis=1), 95) * 10.0 ** (-rng.uniform(2.0, 4.5))
        out += level * slope / slope.sum() * rng.gamma(2.0, 0.5, size=power.shape)
    return out.astype(np.float32)


def add_read(learnt: Learnt, folder: Path, rows: list[dict[str, str]], rng: np.random.Generator) -> None:
    """Sentences that people read, aligned with their prompts."""
    for row in rows:
        recording, prompt = read_recording(folder / row["file"]), lexicon.expect(row["prompt"], guess=True)
        n, rate = int(recording.duration_s / HOP_S) + 1, recording.sampling_rate_hz
        power, sound = sound_model.mel_power(recording, 0, n), labels_of(recording, prompt, n)
        if sound is not None:
            learnt.add(power, rate, sound, 1.0, row["speaker"])
            learnt.add(changed(power, rng), rate, sound, CHANGED_WORTH, row["speaker"])


def invented(texts: list[str], number: int, rng: np.random.Generator) -> Invented:
    """One sentence of an invented speaker: half of its sibilants left out, said in another way, or as /θ/."""
    asked = lexicon.expect(texts[number % len(texts)], guess=True)
    speaker = VOICES[number % 3](int(rng.integers(1000, 9000)))
    fates = tuple(str(rng.choice(FATES, p=FATE_SHARES)) for _ in asked.slots)
    words, kinds = _as_said(asked, fates, rng)
    said = replace(asked, words=words, slots=lexicon.slots_of(words))
    dry = synthetic.say(said, speaker, rng, sibilant_type=kinds or "", sampling_rate_hz=RATE_HZ)
    room = Room(float(rng.uniform(0.2, 0.6)), 6.0) if number % 2 else None
    snr_db, seed = float(rng.uniform(25.0, 45.0)), int(rng.integers(2**31))
    made = synthetic.in_room(dry, speaker, seed, room=room, snr_db=snr_db)
    recording = recording_from_samples(made.samples, made.sampling_rate_hz)
    return Invented(asked, fates, recording, made.truth.stretches[0].phones)


def _as_said(prompt: Prompt, fates: tuple[str, ...], rng: np.random.Generator) -> tuple[tuple[Word, ...], list[str]]:
    """Words with what became of each sibilant, and how each one still said is said."""
    fate_at = {slot.phone_index: fate for slot, fate in zip(prompt.slots, fates, strict=True)}
    words, kinds, at = [], [], 0
    for word in prompt.words:
        phones = []
        for phone in word.phones:
            fate = fate_at.get(at, "")
            at += 1
            phones.append("TH" if fate == "th" else phone)
            if at - 1 in fate_at and fate != "th":
                kinds.append(str(rng.choice(SIBILANT_TYPES)) if fate == "odd" else fate)
        words.append(Word(word.spelling, tuple(phones)))
    return tuple(words), kinds


def add_invented(learnt: Learnt, texts: list[str], numbers: range, rng: np.random.Generator) -> None:
    """Sentences that invented speakers say, their sounds known."""
    for number in numbers:
        made = invented(texts, number, rng)
        n = int(made.recording.duration_s / HOP_S) + 1
        sound = np.full(n, SILENCE)
        for phone in made.phones:
            first, last = (round(time / HOP_S) for time in (phone.interval.onset_s, phone.interval.offset_s))
            sound[first:last] = PHONES.index(phone.phone.rstrip("012"))
        learnt.add(sound_model.mel_power(made.recording, 0, n), RATE_HZ, sound, INVENTED_WORTH)


def fitted(learnt: Learnt, seed: int) -> dict[str, Float32s]:
    """One hidden layer, by stochastic gradients of the cross-entropy (Adam, from memory), a share of units dropped."""
    rng, n_out = np.random.default_rng([seed, 1]), SILENCE + 1
    seen, sound, worth = np.concatenate(learnt.seen), np.concatenate(learnt.sound), np.concatenate(learnt.worth)
    sizes = ((seen.shape[1], HIDDEN, 2.0), (HIDDEN, n_out, 1.0))
    first, second = (rng.normal(0, np.sqrt(gain / n), (n, m)).astype(np.float32) for n, m, gain in sizes)
    weights = [first, np.zeros(HIDDEN, np.float32), second, np.zeros(n_out, np.float32)]
    means, squares, step = [np.zeros_like(w) for w in weights], [np.zeros_like(w) for w in weights], 0
    for epoch in range(EPOCHS):
        rate = 6e-4 * (1 + np.cos(np.pi * epoch / EPOCHS)) + 1e-5
        order = rng.permutation(len(sound))
        for begin in range(0, len(order) - BATCH + 1, BATCH):
            step += 1
            rows = order[begin : begin + BATCH]
            for k, slope in enumerate(_slopes(weights, (seen[rows], sound[rows], worth[rows]), rng)):
                means[k] = 0.9 * means[k] + 0.1 * slope
                squares[k] = 0.999 * squares[k] + 0.001 * slope**2
                size = np.sqrt(squares[k] / np.float32(1 - 0.999**step)) + 1e-8
                weights[k] = weights[k] - np.float32(rate / (1 - 0.9**step)) * means[k] / size
    prior = np.bincount(sound, weights=worth, minlength=n_out) + 50.0
    named = zip(("first", "first_bias", "second", "second_bias"), weights, strict=True)
    return {name: w.astype(np.float16) for name, w in named} | {
        "log_prior": np.log(prior / prior.sum()).astype(np.float32)
    }


def _slopes(
    weights: list[Float32s], batch: tuple[Float32s, Ints, Float32s], rng: np.random.Generator
) -> list[Float32s]:
    seen, sound, worth = batch
    kept = (rng.random((len(seen), HIDDEN), dtype=np.float32) > DROPPED) * np.float32(1 / (1 - DROPPED))
    hidden = np.maximum(seen @ weights[0] + weights[1], np.float32(0.0)) * kept
    out = hidden @ weights[2] + weights[3]
    share = np.exp(out - out.max(axis=1, keepdims=True))
    share /= share.sum(axis=1, keepdims=True)
    share[np.arange(len(sound)), sound] -= 1.0
    share *= (worth / worth.sum())[:, None]
    back = (share @ weights[2].T) * kept * (hidden > 0)
    return [seen.T @ back, back.sum(axis=0), hidden.T @ share, share.sum(axis=0)]


def rows_of(folder: Path) -> list[dict[str, str]]:
    """Lines of the manifest of a folder of sentences."""
    with (folder / "manifest.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def gathered(folder: Path, seed: int) -> Learnt:
    """Sentences as the present network aligns them, and invented ones."""
    rng, learnt, rows = np.random.default_rng(seed), Learnt([], [], [], []), rows_of(folder)
    add_read(learnt, folder, rows, rng)
    add_invented(learnt, [row["prompt"] for row in rows], range(N_INVENTED), rng)
    return learnt


def main() -> None:
    """Learn as often as asked, each time from the alignment that the time before gives."""
    folder, rounds = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for number in range(rounds):
        learnt = gathered(folder, number)
        print(f"round {number + 1}: {sum(map(len, learnt.sound))} frames")
        np.savez_compressed(WHERE, **fitted(learnt, number))  # type: ignore[arg-type]
        sound_model._network.cache_clear()


if __name__ == "__main__":
    main()
