"""Average the band shapes of sibilant/words/band_templates.py: python docs/average_band_shapes.py OUT [SPEAKER ...].

Needs ``shared/real_speech`` beside the checkout and the speech engine espeak-ng. Nine invented speakers whose formant
scale is known come first; then fourteen voices of a formant synthesiser, a woman's German words and short sentences of
sixteen children, each aligned with what is expected of its words. Speakers count alike, the woman three times. The
speakers of English words that the tests of matching use (``enw``, ``ktu``) are left out unless named. Invented data –
not a person, as far as it is invented.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from sibilant import lexicon, synthetic
from sibilant.terms import Prompt, Recording, Source
from sibilant.words import band_templates, finding, speaker, viterbi
from sibilant.words.adaptation import no_adaptation
from sibilant.words.features import Features, features_near
from sibilant.words.phone_model import PhoneModel, phone_model

REAL = Path(__file__).parents[2] / "shared" / "real_speech"
RATE = 44100
VOICES = (*(f"en-us+f{k}" for k in range(1, 6)), *(f"en-us+m{k}" for k in range(1, 8)), "en-us", "en-gb")
LISTS = ("core-a", "core-b", "three-a", "three-b", "sh-a", "sh-b", "foils")
KEPT = ("LAT", "ZH", "BAR", "HH")  # hardly any in the material: outlines set by hand
MEAN_TRACT, ROUNDS = 1.2, (3, 4)
# What the makers of the clips say in them, where it is not an English word.
GERMAN = {"bus": "D EH1 AH0 B UH1 S", "fish": "D EH1 AH0 F IH1 SH", "foot": "D EH1 AH0 F UW1 S", "glass":
          "D AA1 S G L AA1 S", "house": "D AA1 S HH AW1 S", "ice": "D AA1 S AY1 S", "knife": "D AA1 S M EH1 S AH0",
          "nut": "D IY1 N UH1 S", "sand": "D EH1 AH0 Z AA1 N T", "school": "D IY1 SH UW1 L AH0", "ship":
          "D AA1 S SH IH1 F", "shoe": "D EH1 AH0 SH UW1", "snake": "D IY1 SH L AA1 NG AH0", "sun":
          "D IY1 Z AO1 N AH0", "table": "D EH1 AH0 T IH1 SH"}  # fmt: skip


@dataclass
class Voice:
    """One speaker's words: features, frames and chain of each; weight, and the formant scale where it is known."""

    weight: float = 1.0
    scale: float = 0.0
    words: list[tuple[Features, tuple[int, int], PhoneModel]] = field(default_factory=list)

    def add(self, samples: np.ndarray, rate: int, prompt: Prompt) -> None:
        """Find a word between two silences and keep it."""
        rest, rng = np.zeros(int(0.4 * rate)), np.random.default_rng(1)
        sound = np.concatenate([rest, samples, rest])
        sound = sound + rng.standard_normal(sound.size) * np.abs(samples).max() * 10 ** (-55 / 20)
        recording = Recording(sound.astype(np.float32), rate, Source("word", ""))
        pieces = finding.pieces_s(recording)
        if pieces:
            features = features_near(recording, [(pieces[0][0], pieces[-1][1])])
            first, last = features.frame(pieces[0][0]) - 2, features.frame(pieces[-1][1]) + 2
            self.words.append((features, (max(0, first), min(features.n_frames, last)), phone_model(prompt)))


def invented() -> dict[str, Voice]:
    """Three women, men and children, sixty words each, and fourteen voices of a formant synthesiser, seventy each."""
    seen = {p.text: p for name in LISTS for p in lexicon.builtin_list(name)}
    prompts, out = list(seen.values()), {}
    for make in (synthetic.woman, synthetic.man, synthetic.child_speaker):
        for seed in (5001, 5002, 5003):
            who, rng = make(seed), np.random.default_rng(seed)
            voice = out[f"invented {make.__name__} {seed}"] = Voice(scale=who.tract_scale / MEAN_TRACT)
            for k in rng.permutation(len(prompts))[:60]:
                said = synthetic.say(prompts[k], who, rng)
                voice.add(said.samples, said.sampling_rate_hz, prompts[k])
    for name in VOICES:
        rng, voice = np.random.default_rng(len(name) + ord(name[-1])), Voice()
        for k in rng.permutation(len(prompts))[:70]:
            asked = ["-v", name, "-s", str(rng.integers(120, 170)), "-p", str(rng.integers(30, 70))]
            made = subprocess.run(
                ["espeak-ng", *asked, "--stdout", prompts[k].text], check=True, capture_output=True
            ).stdout
            samples, rate = soundfile.read(BytesIO(made))
            heard = np.flatnonzero(np.abs(samples) > 1e-3)
            samples = resample_poly(samples[max(0, heard[0] - 200) : heard[-1] + 200], 2, 1)
            voice.add(samples / np.abs(samples).max() * 0.5, 2 * rate, prompts[k])
        out[name] = voice
    return out


def real(also: Iterable[str]) -> dict[str, Voice]:
    """Real speakers: a woman's German words, a short sentence each of 16 children, and others asked for."""
    out: dict[str, Voice] = {}
    rows = {row["file"]: row["word"] for row in csv.DictReader((REAL / "manifest.csv").open(encoding="utf-8"))}
    for file, word in sorted(rows.items()):
        stem = Path(file).stem
        first, last = stem.split("_")[0], stem.split("_")[-1]
        if first not in ("dew", "so762", *also):
            continue
        prompt = lexicon.expect(word if first == "so762" else last, phones=GERMAN[last] if first == "dew" else "")
        samples, rate = soundfile.read(REAL / file)
        voice = out.setdefault(*((stem, Voice()) if first == "so762" else (first, Voice(weight=3.0))))
        voice.add(samples / np.abs(samples).max() * 0.5, rate, prompt)
    return out


Table = tuple[np.ndarray, np.ndarray, np.ndarray]


def current() -> Table:
    """Shapes, spreads, and levels with their spreads, as installed."""
    rows = list(band_templates._ROWS.values())
    return np.stack([r[0] for r in rows]), 0.5 * np.stack([r[1] for r in rows]), np.stack([r[2] for r in rows])


def install(table: Table) -> None:
    """Use a table from now on."""
    for k, name in enumerate(band_templates.CLASSES):
        band_templates._ROWS[name] = [table[0][k], 2 * table[1][k], table[2][k]]
    band_templates.warped.cache_clear()
    band_templates.level_template.cache_clear()


def means_of(voice: Voice) -> list[tuple[int, np.ndarray, np.ndarray, float, float, float]]:
    """Of each class heard: mean and variance by band at formant scale 1, of the level, and the weight."""
    flat, middle = no_adaptation(), np.log(np.asarray(band_templates.EDGES_HZ))
    middle = 0.5 * (middle[:-1] + middle[1:])

    def total(scale: float) -> float:
        each = ((f, np.array([ab]), [c]) for f, ab, c in voice.words[:25])
        return sum(
            float(viterbi.best_scores(viterbi.emissions(f, scale, flat), ab, c, np.array([0])).whole[0])
            for f, ab, c in each
        )

    scale = voice.scale or max(speaker.FINER_SCALES, key=total)
    shape, spread = band_templates.warped(scale)
    index = {name: k for k, name in enumerate(band_templates.CLASSES)}
    kind_of = {k: k for k in index.values()} | {k: index[name] for k, name in speaker.COUNTS_AS.items()}
    seen: dict[int, list[np.ndarray]] = {}
    levels: dict[int, list[float]] = {}
    for features, reach, own in voice.words:
        b = features.n_bands
        path = viterbi.best_paths(viterbi.emissions(features, scale, flat), np.array([reach]), [own])[0]
        loud, peak, _ = viterbi.loudness(features)
        for row, state in enumerate(path, reach[0]):
            kind = kind_of.get(own.states[state].kind)
            heard = features.level_db[row, :b] - features.noise_db[row, :b] > 4.0
            if kind is None or heard.sum() < 6:
                continue
            x = np.full(band_templates.N_BANDS, np.nan)
            far = features.level_db[row, :b] - shape[kind, :b]
            x[:b][heard] = (features.level_db[row, :b] - far[heard].mean())[heard]
            seen.setdefault(kind, []).append(x)
            levels.setdefault(kind, []).append(float(loud[row] - peak[row]))
    shared = np.zeros(band_templates.N_BANDS)
    if sum(len(x) >= 5 for x in seen.values()) > 4:
        residues = [mean_of(np.array(x) - shape[k]) for k, x in seen.items() if len(x) >= 5]
        shared = np.nan_to_num(mean_of(np.array(residues)))
        shared -= shared.mean()
    out = []
    for k, frames in seen.items():
        x = np.array(frames) - shared
        if len(x) < 4:
            continue
        many = np.isfinite(x).sum(axis=0) >= 3
        mean = np.where(many, mean_of(x), shape[k])
        variance = np.where(many, mean_of((x - mean) ** 2), spread[k] ** 2)
        warp = [np.interp(middle + np.log(scale), middle, v) for v in (mean, variance)]
        weight = voice.weight * min(1.0, len(x) / 40.0)
        out.append((k, warp[0], warp[1], float(np.mean(levels[k])), float(np.var(levels[k])), weight))
    return out


def mean_of(x: np.ndarray) -> np.ndarray:
    """Mean over rows of what is not NaN; NaN where nothing is."""
    known = np.isfinite(x)
    return np.asarray(np.where(known, x, 0.0).sum(axis=0) / np.where(known.any(axis=0), known.sum(axis=0), np.nan))


def averaged(voices: Iterable[Voice]) -> Table:
    """One round: every speaker aligned with the table as installed, and averaged."""
    shape, spread, level = current()
    found = [part for voice in voices for part in means_of(voice)]
    for k, name in enumerate(band_templates.CLASSES):
        own = [part for part in found if part[0] == k]
        if name in KEPT or len(own) < 2:
            continue
        share = np.array([part[5] for part in own])
        share /= share.sum()
        means = np.array([part[1] for part in own])
        mean = share @ means
        variance = share @ np.array([part[2] for part in own]) + share @ (means - mean) ** 2
        shape[k], spread[k] = mean - mean.mean(), np.clip(np.sqrt(variance), 3.5, 12.5)
        at = np.array([part[3] for part in own])
        within = np.array([part[4] for part in own])
        level[k] = (share @ at, max(4.0, np.sqrt(share @ within + share @ (at - share @ at) ** 2)))
    return shape, spread, level


def main(out: str, also: list[str]) -> None:
    """Average and write the rows of the table."""
    made = invented()
    voices = made | real(also)
    for _ in range(ROUNDS[0]):
        install(averaged(voice for voice in made.values() if voice.scale))
    for _ in range(ROUNDS[1]):
        install(averaged(voices.values()))
    table = current()
    rows = []
    for k, name in enumerate(band_templates.CLASSES):
        parts = (" ".join(f"{x:.0f}" for x in part) for part in (table[0][k], 2 * table[1][k], table[2][k]))
        rows.append(f"{name:<3} | " + " | ".join(parts))
    Path(out).write_text("\n".join(rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
