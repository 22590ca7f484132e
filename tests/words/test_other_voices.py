"""Probe lists spoken by other people's synthesisers, which no rule for finding or bounding sibilants was made on.

External source: the speech engines eSpeak NG (formant synthesis, 22.05 kHz) and Flite (statistical and diphone voices
made from real speakers, 16 kHz), general-purpose packages of the system. Flite prints where its own sounds lie; its
marks come from automatic alignment and are not the criterion's, so only overlap with them is asked for, not edges.
The band shapes that tell words apart were partly averaged from the formant engine's voices; Flite's are in no table.
"""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sibilant.audio import recording_from_samples
from sibilant.lexicon import builtin_list
from sibilant.methods import HOUSE_7K
from sibilant.pipeline import analyse
from sibilant.terms import Sound

EVIDENCE = Path(__file__).parents[2] / "docs/evidence/other_voices.csv"
ESPEAK = tuple(f"en-us+{kind}" for kind in ("f1", "f2", "f3", "f4", "f5", "m1", "m3", "m7", "klatt", "klatt4"))
FLITE = ("slt", "awb", "rms", "kal16")
LISTS = ("core-a", "core-b", "three-a", "three-b", "sh-a", "foils")


@dataclass
class Read:
    """A list read out: samples, rate, where each prompt lies and where the engine says its sibilants lie."""

    samples: np.ndarray
    rate_hz: int
    words: list[tuple[float, float]] = field(default_factory=list)
    sibilants: list[list[tuple[float, float]]] = field(default_factory=list)


def by_espeak(voice: str, text: str, rng: np.random.Generator, _: Path) -> tuple[np.ndarray, int, list]:
    asked = ["espeak-ng", "-v", voice, "-s", str(rng.integers(110, 150)), "--stdout", text]
    samples, rate_hz = soundfile.read(io.BytesIO(subprocess.run(asked, check=True, capture_output=True).stdout))
    return samples, rate_hz, []


def by_flite(voice: str, text: str, rng: np.random.Generator, folder: Path) -> tuple[np.ndarray, int, list]:
    stretch = f"duration_stretch={rng.uniform(1.0, 1.5):.2f}"
    asked = ["flite", "-voice", voice, "--setf", stretch, "-psdur", "-t", text, "-o", str(folder / "word.wav")]
    told = subprocess.run(asked, check=True, capture_output=True, text=True).stdout.split()
    ends = [(name, float(end)) for name, end in (one.rsplit(":", 1) for one in told)]
    marks = [(ends[i - 1][1], end) for i, (name, end) in enumerate(ends) if name in ("s", "z", "sh", "zh")]
    samples, rate_hz = soundfile.read(folder / "word.wav")
    return samples, rate_hz, marks


def read_out(voice: str, listed: str, snr_db: float, folder: Path) -> Read:
    """Words with pauses of 0.35 to 0.8 s in steady noise, falling towards high frequencies."""
    rng = np.random.default_rng([len(voice), len(listed), int(snr_db)])
    engine = by_flite if voice in FLITE else by_espeak
    made, parts, at = Read(np.zeros(0), 0), [], 0
    for prompt in builtin_list(listed):
        samples, rate_hz, marks = engine(voice, prompt.text, rng, folder)
        heard = np.flatnonzero(np.abs(samples) > 0.002)
        first, last = max(0, heard[0] - rate_hz // 100), heard[-1]
        pause = np.zeros(int(rng.uniform(0.35, 0.8) * rate_hz))
        at += pause.size
        made.words.append((at / rate_hz, (at + last - first) / rate_hz))
        made.sibilants.append([((at - first) / rate_hz + a, (at - first) / rate_hz + b) for a, b in marks])
        parts += [pause, samples[first:last]]
        at, made.rate_hz = at + last - first, rate_hz
    spoken = np.concatenate([*parts, np.zeros(made.rate_hz // 2)])
    loud = np.sqrt(np.mean(spoken[np.abs(spoken) > 0.01] ** 2))
    noise = np.convolve(rng.standard_normal(spoken.size), [1.0, 0.9, 0.7, 0.4, 0.2], "same")
    made.samples = 0.8 * (spoken + noise * (loud / noise.std() * 10 ** (-snr_db / 20)))
    return made


def misplaced(sound: Sound, made: Read) -> bool:
    """Whether a sibilant said to be found lies elsewhere than its word, or than the engine's own mark."""
    assert sound.edges is not None
    found = sound.edges.automatic
    places = [made.words[sound.prompt_index - 1], *made.sibilants[sound.prompt_index - 1]]
    covered = [min(found.offset_s, b) - max(found.onset_s, a) for a, b in places]
    inside, marked = covered[0], covered[1:]
    length = found.offset_s - found.onset_s
    return inside < 0.5 * length or (bool(marked) and max(marked) < 0.3 * length)


def outcome(voice: str, listed: str, snr_db: float, folder: Path) -> Counter[str]:
    """How many rows of each finding, and how many found sibilants lie elsewhere."""
    made = read_out(voice, listed, snr_db, folder)
    heard = recording_from_samples(made.samples.astype(np.float32), made.rate_hz)
    sounds = analyse(heard, builtin_list(listed), methods=(HOUSE_7K,)).sounds
    counts = Counter(sound.finding for sound in sounds)
    placed = [sound for sound in sounds if sound.finding == "found" and sound.slot is not None]
    return counts + Counter(misplaced=sum(misplaced(sound, made) for sound in placed))


def available(voice: str) -> str:
    command = "flite" if voice in FLITE else "espeak-ng"
    if shutil.which(command) is None:
        pytest.skip(f"{command} is not installed here (a system package)")
    return voice


@pytest.mark.parametrize("voice", ["en-us+f2", "en-us+klatt", "slt", "kal16"])
def test_every_slot_is_found_and_no_word_is_shifted(voice: str, tmp_path: Path) -> None:
    counts = sum((outcome(available(voice), listed, 45.0, tmp_path) for listed in ("core-b", "foils")), Counter())
    assert counts["found"] == 20 and counts["none_expected"] == 20, counts
    assert counts["misplaced"] == 0 and sum(counts.values()) == 40, counts


@pytest.mark.long
def test_all_voices_lists_and_two_rooms(tmp_path: Path) -> None:
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    rows: list[list[object]] = []
    names = ("found", "none_expected", "unsure", "no_frication", "prompt_missing", "extra", "misplaced")
    for voice in (*ESPEAK, *FLITE):
        for snr_db in (45.0, 25.0):
            counts = sum((outcome(available(voice), listed, snr_db, tmp_path) for listed in LISTS), Counter())
            rows.append([voice, snr_db, *(counts[name] for name in names), commit.stdout.strip()])
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["voice", "snr_db", *names, "commit"])
        writer.writerows(rows)
    whole = {name: sum(int(str(row[2 + i])) for row in rows) for i, name in enumerate(names)}
    n = sum(whole[name] for name in names[:5])
    assert whole["misplaced"] + whole["prompt_missing"] + whole["no_frication"] == 0, whole
    assert whole["unsure"] <= 0.05 * n and whole["extra"] <= 0.02 * n, whole
