"""Lists of words to be found, with what is true of them: one real speaker's clips in random order, or invented probes.

Real clips: ``../shared/real_speech`` (61 words of one woman, 13 of another speaker, 44.1 kHz). A word said again
is the same clip at another speed (up to 10 %), tilt and level. Noises are made here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from sibilant import lexicon
from sibilant.terms import Prompt, Recording, Source
from sibilant.words import WordSearch

CLIPS = Path(__file__).parents[3] / "shared" / "real_speech" / "audio"
RATE = 44100
KINDS = ("repeat", "false", "noise", "voice", "missing")


@dataclass(frozen=True)
class Spoken:
    """A recording of a list: where each prompt's first whole saying lies (None: not said), and what happened where."""

    recording: Recording
    prompts: tuple[Prompt, ...]
    truth: Mapping[int, tuple[float, float] | None]
    events: Mapping[int, Sequence[str]] = field(default_factory=dict)


def clips(prefix: str) -> dict[str, np.ndarray]:
    import soundfile

    out = {}
    for path in sorted(CLIPS.glob(f"{prefix}*.flac")):
        samples, rate = soundfile.read(path, dtype="float32")
        assert rate == RATE
        out[path.stem.split("_")[-1]] = samples / np.abs(samples).max() * 0.5
    return out


def said_again(clip: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    from scipy.signal import lfilter, resample_poly

    slower = resample_poly(clip, 100, int(rng.integers(90, 112)))
    tilted = lfilter([1.0, rng.uniform(-0.25, 0.25)], [1.0], slower)
    return tilted.astype(np.float32) * np.float32(10 ** (rng.uniform(-4, 4) / 20))


def noise(rng: np.random.Generator) -> np.ndarray:
    """A cough, a breath, a click or a chair, made of noise."""
    from scipy.signal import butter, lfilter

    kind = rng.choice(["cough", "breath", "click", "scrape"])
    n = int(
        rng.uniform(*{"cough": (0.15, 0.4), "breath": (0.25, 0.7), "click": (0.03, 0.031)}.get(kind, (0.2, 0.8))) * RATE
    )
    x = rng.standard_normal(n)
    if kind == "click":
        x *= np.exp(-np.arange(n) / (0.003 * RATE))
        return peak(x, rng.uniform(0.1, 0.7))
    low = rng.uniform(300, 900)
    high = low * 1.6 if kind == "scrape" else rng.uniform(2500, 8000)
    x = lfilter(*butter(1, [low / (RATE / 2), high / (RATE / 2)], "band"), x)
    x *= np.exp(-np.arange(n) / (0.25 * n)) if kind == "cough" else np.hanning(n)
    return peak(
        x, {"cough": rng.uniform(0.1, 0.6), "breath": rng.uniform(0.01, 0.06)}.get(kind, rng.uniform(0.05, 0.4))
    )


def peak(x: np.ndarray, to: float) -> np.ndarray:
    return (x / np.abs(x).max() * to).astype(np.float32)


def real_list(seed: int, kinds: Sequence[str] = (), n_words: int = 20) -> Spoken:
    """Random words of one woman in random order, pauses of 0.4 to 1.8 s, room noise 20 to 45 dB below the words."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(seed)
    own, others = clips("enw_"), list(clips("ktu_").values())
    words = [str(w) for w in rng.permutation(list(own))[:n_words]]
    events: dict[int, list[str]] = {}
    for kind in kinds:
        for k in rng.choice(n_words, size=int(rng.integers(1, 3)), replace=False):
            events.setdefault(int(k) + 1, []).append(kind)
    tape = Tape(rng)
    truth: dict[int, tuple[float, float] | None] = {}
    for index, word in enumerate(words, 1):
        here = events.get(index, [])
        if "noise" in here:
            tape.put(noise(rng))
        if "voice" in here:
            tape.put(others[int(rng.integers(len(others)))])
        if "missing" in here:
            truth[index] = None
            continue
        if "false" in here:
            begun = said_again(own[word], rng)
            begun = begun[: int(len(begun) * rng.uniform(0.3, 0.55))]
            begun[-400:] *= np.linspace(1, 0, 400, dtype=np.float32)
            tape.put(begun)
        truth[index] = tape.put(said_again(own[word], rng))
        if "repeat" in here:
            tape.put(said_again(own[word], rng))
    sound = tape.sound()
    level = np.sqrt(np.mean(sound[np.abs(sound) > 0.01] ** 2))
    room = lfilter([1.0], [1.0, -0.9], rng.standard_normal(len(sound)))
    sound = sound + room / room.std() * level * 10 ** (-rng.uniform(20, 45) / 20)
    return Spoken(as_recording(sound, RATE), tuple(lexicon.expect(w) for w in words), truth, events)


def invented_probe(seed: int, kinds: Sequence[str] = (), modelled: bool = False, name: str = "") -> Spoken:
    """A built-in list by an invented speaker, room 0 to 0.5 s, 20 to 45 dB."""
    from sibilant import synthetic

    rng = np.random.default_rng(seed)
    prompts = lexicon.builtin_list(name or str(rng.choice(["core-a", "core-b", "sh-a"])))
    make = (synthetic.woman, synthetic.man, synthetic.child_speaker)[int(rng.integers(3))]
    other = (synthetic.woman, synthetic.man)[int(rng.integers(2))](int(rng.integers(1000)))
    some = {kind: int(rng.integers(1, 3)) if kind in kinds else 0 for kind in KINDS}
    plan = synthetic.ProbePlan(
        repeats=some["repeat"], false_starts=some["false"], noises=some["noise"], second_voice=some["voice"],
        missing=(int(rng.integers(1, len(prompts) + 1)),) if some["missing"] else (), modelled=modelled,
        pause_s=(0.4, 1.5), room_t60_s=float(rng.choice([0.0, 0.3, 0.5])), snr_db=float(rng.uniform(20, 45)),
    )  # fmt: skip
    said = synthetic.probe(prompts, make(int(rng.integers(1000))), seed, plan=plan, other=other)
    truth: dict[int, tuple[float, float] | None] = dict.fromkeys(range(1, len(prompts) + 1))
    for stretch in said.truth.stretches:
        if stretch.kind == "word" and truth[stretch.prompt_index] is None:
            truth[stretch.prompt_index] = (stretch.interval.onset_s, stretch.interval.offset_s)
    return Spoken(as_recording(said.samples, said.sampling_rate_hz), prompts, truth)


class Tape:
    """Sounds one after another with pauses between."""

    def __init__(self, rng: np.random.Generator, pause_s: tuple[float, float] = (0.4, 1.8)) -> None:
        self.rng, self.pause_s, self.parts, self.n = rng, pause_s, [], 0
        self.rest()

    def rest(self) -> None:
        silence = np.zeros(int(self.rng.uniform(*self.pause_s) * RATE), dtype=np.float32)
        self.parts.append(silence)
        self.n += len(silence)

    def put(self, sound: np.ndarray) -> tuple[float, float]:
        begin = self.n
        self.parts.append(sound)
        self.n += len(sound)
        end = self.n
        self.rest()
        return begin / RATE, end / RATE

    def sound(self) -> np.ndarray:
        return np.concatenate(self.parts)


def as_recording(samples: np.ndarray, rate: int) -> Recording:
    return Recording(np.ascontiguousarray(samples, dtype=np.float32), rate, Source("list", ""))


@dataclass(frozen=True)
class Count:
    """Words found right, marked unsure, and wrong without a mark."""

    right: int = 0
    unsure: int = 0
    silent: int = 0
    where: tuple[tuple[int, int], ...] = ()

    def __add__(self, other: Count) -> Count:
        return Count(
            self.right + other.right, self.unsure + other.unsure, self.silent + other.silent, self.where + other.where
        )

    @property
    def n(self) -> int:
        return self.right + self.unsure + self.silent


def judged(found: WordSearch, said: Spoken, seed: int = 0) -> Count:
    """Hold the attempt that counts of each prompt against the truth: it must cover half of the first whole saying."""
    counted = {u.prompt_index: u for u in found.utterances if u.counts}
    right = unsure = 0
    silent = []
    for index, truth in said.truth.items():
        utterance = counted.get(index)
        if utterance is None:
            if index in found.doubtful:
                unsure += 1
            elif truth is None:
                right += 1
            else:
                silent.append((seed, index))
            continue
        if not utterance.sure:
            unsure += 1
            continue
        shared = 0.0
        if truth is not None:
            onset, offset = utterance.interval.onset_s, utterance.interval.offset_s
            shared = min(offset, truth[1]) - max(onset, truth[0])
        if truth is not None and shared > 0.5 * min(truth[1] - truth[0], 0.6):
            right += 1
        else:
            silent.append((seed, index))
    return Count(right, unsure, len(silent), tuple(silent))
