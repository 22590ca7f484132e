"""Simulated studies with known truth: planted differences are recovered, and nothing is found where nothing is.

Shape of the invented corpus: 12 speakers, 5 ways of saying /s/ within each speaker, 40 words. Speakers N(0, 1), a
speaker's own shift in a way N(0, 0.5), words N(0, 0.3), tokens N(0, 0.7); d = 0.8 is in SDs of speakers' means.
"""

from __future__ import annotations

import csv
import math
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sibilant.study import Question, evaluate, fit, prepare
from sibilant.study.effects import all_effects, effect_of

EVIDENCE = Path(__file__).parents[2] / "docs/evidence/simulated_studies.csv"
D = 0.8
SPEAKER, OWN, WORD, TOKEN = 1.0, 0.5, 0.3, 0.7
N_WORDS = 40
SD_OF_MEANS = math.sqrt(SPEAKER**2 + OWN**2 + TOKEN**2 / N_WORDS)


def simulated(seed: int, *, between: bool, d: float, n_kinds: int = 5) -> pd.DataFrame:
    """One simulated table of 12 speakers; the way ``k1`` lies ``d`` SDs of speakers' means above the rest."""
    rng = np.random.default_rng([seed, 2026])
    words = rng.normal(0, WORD, N_WORDS)
    rows = []
    for s in range(12):
        own = rng.normal(0, SPEAKER)
        for k in [s % n_kinds] if between else range(n_kinds):
            middle = own + rng.normal(0, OWN) + (d * SD_OF_MEANS if k == 1 else 0.0)
            values = middle + words + rng.normal(0, TOKEN, N_WORDS)
            rows += [(f"S{s:02d}", f"k{k}", f"w{w}", value) for w, value in enumerate(values)]
    return pd.DataFrame(rows, columns=["speaker", "type", "prompt", "centroid_hz"])


def question(**more: object) -> Question:
    return Question("type", measures=("centroid_hz",), n_permutations=999, **more)  # type: ignore[arg-type]


def first_effect(seed: int, *, between: bool, d: float) -> tuple[float, float, float, float, float]:
    n_kinds = 2 if between else 5
    asked = question(reference="k0")
    prepared = prepare(simulated(seed, between=between, d=d, n_kinds=n_kinds), asked)
    effect = next(e for e in all_effects(prepared, asked) if e.second == "k1")
    return effect.low, effect.high, effect.g_low, effect.g_high, effect.p


def from_speaker_means(seed: int, *, between: bool, d: float) -> tuple[float, float, float, float, float]:
    """The same without tables: means of speakers drawn at once, the effect computed from them."""
    rng = np.random.default_rng([seed, 7])
    rest = math.sqrt(OWN**2 + TOKEN**2 / N_WORDS)
    if between:
        x, y = rng.normal(0, SD_OF_MEANS, 6), rng.normal(d * SD_OF_MEANS, SD_OF_MEANS, 6)
    else:
        own = rng.normal(0, SPEAKER, 12)
        x, y = own + rng.normal(0, rest, 12), own + rng.normal(d * SD_OF_MEANS, rest, 12)
    effect = effect_of("centroid_hz", "k0", "k1", x, y, paired=not between, question=question())
    return effect.low, effect.high, effect.g_low, effect.g_high, effect.p


def rates(n: int, study: Callable[..., tuple[float, ...]], *, between: bool) -> dict[str, float]:
    """Coverage of the difference and of g, power, and how often a null measure is found."""
    planted = np.array([study(seed, between=between, d=D) for seed in range(n)])
    null = np.array([study(seed + 10_000, between=between, d=0.0) for seed in range(n)])
    true = D * SD_OF_MEANS
    return {
        "difference covered": float(np.mean((planted[:, 0] <= true) & (true <= planted[:, 1]))),
        "g covered": float(np.mean((planted[:, 2] <= D) & (planted[:, 3] >= D))),
        "planted found": float(np.mean(planted[:, 4] < 0.05)),
        "null found": float(np.mean(null[:, 4] < 0.05)),
    }


def at_most(share: float, n: int) -> float:
    """A share and two Monte-Carlo standard errors."""
    return share + 2 * math.sqrt(share * (1 - share) / n)


def check(found: dict[str, float], n: int) -> None:
    assert found["null found"] <= at_most(0.05, n), found
    for name in ("difference covered", "g covered"):
        assert 1 - found[name] <= at_most(0.05, n), found


@pytest.mark.parametrize("between", [True, False])
def test_five_hundred_studies_from_speaker_means(between: bool) -> None:
    check(rates(500, from_speaker_means, between=between), 500)


def test_a_table_gives_what_its_speaker_means_give() -> None:
    found = rates(10, first_effect, between=False)
    assert found["difference covered"] >= 0.7 and found["null found"] <= 0.2


def test_a_discriminant_finds_nothing_in_noise() -> None:
    """Groups given to speakers at random: p of the discriminant is below 0.05 no more often than chance."""
    n = 12
    asked = Question("type", measures=("centroid_hz",), n_permutations=99, n_chance=39)
    p = [evaluate(prepare(simulated(seed + 500, between=True, d=0.0, n_kinds=2), asked), asked).p for seed in range(n)]
    assert np.mean(np.array(p) < 0.05) <= at_most(0.05, n)


def model_covers(seed: int, *, between: bool) -> bool:
    asked = question(reference="k0")
    frame = simulated(seed, between=between, d=D, n_kinds=2)
    term = next(t for t in fit(prepare(frame, asked), "centroid_hz", asked).terms if t.name == "k1 - k0")
    return term.low <= D * SD_OF_MEANS <= term.high


@pytest.mark.parametrize("between", [True, False])
def test_models_cover_the_planted_difference(between: bool) -> None:
    n = 10
    assert 1 - np.mean([model_covers(seed, between=between) for seed in range(n)]) <= at_most(0.05, n)


@pytest.mark.long
def test_five_hundred_studies() -> None:
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    rows = []
    for between in (True, False):
        found = rates(500, first_effect, between=between)
        found["model covers"] = float(np.mean([model_covers(seed, between=between) for seed in range(100)]))
        design = "between" if between else "within"
        rows += [
            [design, name, 100 if name == "model covers" else 500, f"{value:.3f}", commit.stdout.strip()]
            for name, value in found.items()
        ]
        check(found, 500)
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["design", "figure", "n_studies", "share", "commit"])
        writer.writerows(rows)
