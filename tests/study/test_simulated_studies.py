"""Simulated studies with known truth, in three designs: nothing is found where nothing is; what is planted is covered.

Speakers N(0, 1), a speaker's own shift in a group N(0, 0.5), words N(0, 0.3), tokens N(0, 0.7), three such measures;
d = 0.8 is in SDs of speakers' means. Invented data – not a person.
"""

from __future__ import annotations

import csv
import math
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from sibilant.study import Question, all_effects, evaluate, fit, prepare

EVIDENCE = Path(__file__).parents[2] / "docs/evidence/simulated_studies.csv"
D = 0.8
SPEAKER, OWN, WORD, TOKEN = 1.0, 0.5, 0.3, 0.7
N_WORDS = 10
SD_OF_MEANS = math.sqrt(SPEAKER**2 + OWN**2 + TOKEN**2 / N_WORDS)
DESIGNS = {"whole speakers": (24, 0), "all in both": (12, 12), "8 of 40 in both": (40, 8)}
"""Speakers, and how many of them are in both groups."""
MEASURES = ("m0", "m1", "m2")
LEVEL, FAMILY = 0.05, 0.05


def simulated(seed: int, design: str, d: float) -> pd.DataFrame:
    """One table; group ``k1`` lies ``d`` SDs of speakers' means above ``k0`` in every measure."""
    rng = np.random.default_rng([seed, 2026, len(design)])
    n_speakers, n_both = DESIGNS[design]
    words = rng.normal(0, WORD, (N_WORDS, 3))
    rows = []
    for s in range(n_speakers):
        own = rng.normal(0, SPEAKER, 3)
        for k in (0, 1) if s < n_both else (s % 2,):
            middle = own + rng.normal(0, OWN, 3) + d * SD_OF_MEANS * k
            values = middle + words + rng.normal(0, TOKEN, (N_WORDS, 3))
            rows += [(f"S{s:02d}", f"k{k}", f"w{w}", *value) for w, value in enumerate(values)]
    return pd.DataFrame(rows, columns=["speaker", "type", "prompt", *MEASURES])


def asked(measures: tuple[str, ...]) -> Question:
    return Question("type", measures=measures, n_permutations=999, n_chance=39, n_repeats=2)


def outcomes(seed: int, design: str, d: float) -> dict[str, bool]:
    """What one study says: False positives where ``d`` is 0, intervals that miss the truth where it is not."""
    question = asked(MEASURES[:1])
    prepared = prepare(simulated(seed, design, d), question)
    effect = all_effects(prepared, question)[0]
    contrast = fit(prepared, "m0", question, leaning=False).contrasts[0]
    true = d * SD_OF_MEANS
    found = {
        "interval over means misses": not effect.low <= true <= effect.high,
        "interval of g misses": not effect.g_low <= d <= effect.g_high,
        "interval of the model misses": not contrast.low <= true <= contrast.high,
    }
    if d:
        return found
    found |= {"p over means": effect.p <= LEVEL, "p of the model": contrast.p <= LEVEL}
    if math.isfinite(effect.p_everyone):
        found["p over everyone"] = effect.p_everyone <= LEVEL
    several = asked(MEASURES)
    told = evaluate(prepare(simulated(seed, design, 0.0), several), several)
    return found | {
        "p of the discriminant": told.p <= LEVEL,
        "discriminant's interval misses": not told.low <= 0.5 <= told.high,
    }


def counted(n: int, design: str, d: float, first: int = 0) -> dict[str, int]:
    """How many of n studies say each thing."""
    total: dict[str, int] = {}
    for seed in range(first, first + n):
        for name, wrong in outcomes(seed, design, d).items():
            total[name] = total.get(name, 0) + int(wrong)
    return total


def bounds(n: int, n_counts: int, level: float = LEVEL) -> tuple[int, int]:
    """Least and most of n at a level that all of ``n_counts`` counts stay in, 95 times in 100 (exact binomial)."""
    tail = FAMILY / 2 / n_counts
    return int(binom.ppf(tail, n, level)), int(binom.isf(tail, n, level))


@pytest.mark.parametrize("design", list(DESIGNS))
def test_nothing_is_found_where_nothing_is(design: str) -> None:
    """A tenth of the counts: gross faults only. The upper bound alone; a few dozen studies can't show too wide."""
    n = 25
    found = counted(n, design, 0.0)
    most = bounds(n, 3 * len(found))[1]
    assert all(count <= most for count in found.values()), (found, most)


@pytest.mark.parametrize("design", list(DESIGNS))
def test_what_is_planted_is_covered(design: str) -> None:
    n = 25
    found = counted(n, design, D)
    assert all(count <= bounds(n, 9)[1] for count in found.values()), found


@pytest.mark.long
def test_five_hundred_studies_in_three_designs() -> None:
    """All counts of all designs inside bounds that hold for the whole family, from both sides."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    n = 500
    counts = [
        (design, "none" if d == 0 else f"d {d}", name, count)
        for design in DESIGNS
        for d in (0.0, D)
        for name, count in counted(n, design, d, first=1000).items()
    ]
    least, most = bounds(n, len(counts))
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(
            ["design", "planted", "figure", "n_studies", "count", "share", "least", "most", "inside", "commit"]
        )
        writer.writerows(
            [*row, f"{row[4] / n:.3f}", least, most, "yes" if least <= row[4] <= most else "no", commit.stdout.strip()]
            for row in [(a, b, c, n, k) for a, b, c, k in counts]
        )
    outside = [row for row in counts if not least <= row[3] <= most]
    assert not outside, (outside, least, most)
