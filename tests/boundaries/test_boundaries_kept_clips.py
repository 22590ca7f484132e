"""Boundaries on the clips kept in ``reference_audio/``: real adults with two raters' hand marks, and invented words.

Truth: ``reference_audio/sibilants.csv`` (basis says which; hand marks to be met within 20 ms, methods.md section 6).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sibilant.audio import read_recording
from sibilant.boundaries import find_sibilants
from sibilant.terms import Interval, Utterance

FOLDER = Path(__file__).parents[2] / "reference_audio"


def rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def phones_of(entry: dict[str, str]) -> str:
    """Phones of a clip; the Czech ones carry a diphone inside a nonsense word."""
    if entry["phones"]:
        return entry["phones"]
    vowels = {"i": "IY1", "a": "AA1"}
    return " ".join(vowels.get(p, p.upper()) for p in entry["text"].removeprefix("carries ").split("-"))


def both_marks(sib: dict[str, str]) -> tuple[float, float]:
    """Mean of the raters where they agree within 15 ms, else not a number."""
    pairs = [(sib["onset_s"], sib["onset_2_s"]), (sib["offset_s"], sib["offset_2_s"])]
    means = []
    for one, two in pairs:
        first, second = float(one), float(two or one)
        means.append((first + second) / 2 if abs(first - second) <= 0.015 else float("nan"))
    return means[0], means[1]


def test_real_adults(marked) -> None:
    clips = {r["file"]: r for r in rows("registry.csv") if r["kind"] == "real_adult"}
    errors, n = [], 0
    for name, entry in clips.items():
        recording = read_recording(FOLDER / name, channel=1)
        prompt = marked.made_prompt([(entry["text"], phones_of(entry))])
        found = find_sibilants(recording, Utterance(prompt, 1, 1, Interval(0.0, recording.duration_s))).found
        for sib in (r for r in rows("sibilants.csv") if r["file"] == name):
            onset, offset = both_marks(sib)
            near = Interval(float(sib["onset_s"]), float(sib["offset_s"]))
            n += 1
            best = max(found, key=lambda s: s.automatic.overlap_s(near))
            assert best.automatic.overlap_s(near) > 0.5 * near.duration_s, name
            errors += [1000 * (best.automatic.onset_s - onset), 1000 * (best.automatic.offset_s - offset)]
    size = np.abs(np.array(errors)[np.isfinite(errors)])
    print(n, np.sort(size).round(1))
    assert n >= 10 and np.median(size) <= 6.0 and np.mean(size <= 20) >= 0.9


@pytest.mark.parametrize("name", ["level.flac", "whistled.flac", "weak.flac"])
def test_invented_words(marked, name: str) -> None:
    entry = next(r for r in rows("registry.csv") if r["file"] == name)
    recording = read_recording(FOLDER / name)
    sibs = [r for r in rows("sibilants.csv") if r["file"] == name]
    prompt = marked.made_prompt([(entry["text"] or "word", entry["phones"] or "S IY1 L")])
    search = find_sibilants(recording, Utterance(prompt, 1, 1, Interval(0.0, recording.duration_s)))
    sounds = [*search.found, *search.extras]
    for sib in sibs:
        near = Interval(float(sib["onset_s"]), float(sib["offset_s"]))
        best = max(sounds, key=lambda s: s.automatic.overlap_s(near))
        assert abs(best.automatic.onset_s - near.onset_s) < 0.015
        assert abs(best.automatic.offset_s - near.offset_s) < 0.015
