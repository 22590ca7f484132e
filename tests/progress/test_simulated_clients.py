"""Simulated clients with known truth: false alarms, coverage, planted contexts and fades, and tokens that fail.

A tenth of the clients by default; ``-m long`` runs 1,000 each and writes docs/evidence/simulated_clients.csv. The truth
is the simulation's own; margins are two Monte-Carlo standard errors. Invented data – not a person.
"""

from __future__ import annotations

import csv
import math
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from sibilant.progress import changes, context_map, first_against_third, limit_factor, newcombe, wilson
from sibilant.progress.change import Probe
from sibilant.terms.change import LARGER
from sibilant.terms.summaries import MeasureSummary, WordValue

N_WORDS = 20
TOKEN_SD, WORD_SD = 500.0, 600.0
EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "simulated_clients.csv"


def summary(values: np.ndarray, *, n_expected: int = N_WORDS, key: str = "centroid_hz") -> MeasureSummary:
    """One probe from one value a word; NaN is a word that could not be measured."""
    words = tuple(WordValue(f"{i}", f"w{i}", float(v)) for i, v in enumerate(values) if math.isfinite(v))
    mean = float(np.nanmean(values))
    sd = float(np.nanstd(values, ddof=1))
    missing = {"weak": n_expected - len(words)} if len(words) < n_expected else {}
    return MeasureSummary(key, "m", mean, 0, 0, sd, len(words), len(words), n_expected, missing, words)


@dataclass(frozen=True)
class World:
    """How a simulated client is made: baselines, later probes, day-to-day SD, shift, and what makes tokens fail."""

    k: int = 3
    n_later: int = 6
    day_sd: float = 200.0
    shift: float = 0.0
    fail: Callable[[np.random.Generator, np.ndarray, np.ndarray, int], np.ndarray] | None = None


def client(random: np.random.Generator, world: World) -> tuple[list[Probe], list[Probe]]:
    """Baseline and later probes of one client whose true state moves by ``shift`` only."""
    words = random.normal(0, WORD_SD, N_WORDS)
    probes = []
    for number in range(1, world.k + world.n_later + 1):
        noise = random.normal(0, TOKEN_SD, N_WORDS)
        values = 6000 + words + random.normal(0, world.day_sd) + noise
        later = number - world.k
        values += world.shift if later > 0 else 0
        if world.fail is not None and later > 0:
            values = np.where(world.fail(random, words, noise, later), np.nan, values)
        probes.append((number, summary(values)))
    return probes[: world.k], probes[world.k :]


def verdicts(world: World, n_clients: int, seed: int) -> np.ndarray:
    """Whether each later probe of each client was called larger than error: (clients, probes)."""
    random = np.random.default_rng(seed)
    return np.asarray(
        [[c.verdict == LARGER for c in changes("centroid_hz", *client(random, world))] for _ in range(n_clients)]
    )


def margin(share: float, n: int) -> float:
    """Two Monte-Carlo standard errors of a share over n independent clients."""
    return 2 * math.sqrt(share * (1 - share) / n)


@pytest.fixture(scope="module", params=[pytest.param(100), pytest.param(1000, marks=pytest.mark.long)])
def n_clients(request: pytest.FixtureRequest) -> int:
    """A tenth by default, all with ``-m long``."""
    return int(request.param)


@pytest.fixture(scope="module")
def evidence(n_clients: int) -> Iterator[Callable[..., None]]:
    """Collect rows; the full count writes them with the commit they were made at."""
    rows: list[dict[str, object]] = []

    def add(what: str, condition: str, value: float, bound: str) -> None:
        rows.append({"what": what, "condition": condition, "value": round(value, 4), "asked": bound, "n": n_clients})

    yield add
    if n_clients == 1000 and rows:
        root = EVIDENCE.parents[2]
        commit = subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True
        ).stdout
        EVIDENCE.parent.mkdir(exist_ok=True)
        with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.DictWriter(stream, [*rows[0], "commit"], lineterminator="\n")
            writer.writeheader()
            writer.writerows({**row, "commit": commit.strip()} for row in rows)


@pytest.mark.parametrize("k", [3, 4, 5])
@pytest.mark.parametrize("day_sd", [100.0, 300.0])
def test_false_alarms_are_at_most_five_percent_a_probe(
    k: int, day_sd: float, n_clients: int, evidence: Callable[..., None]
) -> None:
    alarms = verdicts(World(k=k, day_sd=day_sd), n_clients, seed=int(100 * k + day_sd))
    a_probe, in_six = float(alarms.mean()), float(alarms.any(axis=1).mean())
    evidence("false alarm a probe", f"k={k}, day SD {day_sd:.0f} Hz", a_probe, "<= 0.05")
    evidence("false alarm in six probes", f"k={k}, day SD {day_sd:.0f} Hz", in_six, "stated")
    assert a_probe <= 0.05 + margin(0.05, n_clients)


def test_one_limit_without_the_next_probe_holds_five_percent(n_clients: int, evidence: Callable[..., None]) -> None:
    """The limit's own level, exact for normal days: t(.975, k-1) sqrt(1 + 1/k); confirming lowers it further."""
    random = np.random.default_rng(5)
    passed = []
    for _ in range(n_clients):
        baseline, later = client(random, World(k=3, n_later=1, day_sd=300.0))
        (change,) = changes("centroid_hz", baseline, later)
        passed.append(abs(change.difference) > change.limit)
    share = float(np.mean(passed))
    evidence("limit passed by an unchanged probe", "k=3, day SD 300 Hz", share, "<= 0.05")
    assert share <= 0.05 + margin(0.05, n_clients)


@pytest.mark.parametrize("k", [3, 4, 5])
@pytest.mark.parametrize("day_sd", [0.0, 200.0])
def test_interval_of_the_change_covers_the_truth(
    k: int, day_sd: float, n_clients: int, evidence: Callable[..., None]
) -> None:
    random = np.random.default_rng(int(10 * k + day_sd))
    inside = []
    for _ in range(n_clients):
        (change,) = changes("centroid_hz", *client(random, World(k=k, n_later=1, day_sd=day_sd, shift=400.0)))
        inside.append(change.low <= 400.0 <= change.high)
    share = float(np.mean(inside))
    evidence("coverage of the change interval", f"k={k}, day SD {day_sd:.0f} Hz", share, "0.93 to 0.97")
    assert 0.93 - margin(0.95, n_clients) <= share <= 0.97 + margin(0.95, n_clients)


def test_real_changes_are_found(n_clients: int, evidence: Callable[..., None]) -> None:
    """Power, stated: a lasting rise of 1.5 limits' expected size is called by the sixth probe."""
    for k in (3, 5):
        shift = 1.5 * limit_factor(k) * math.sqrt(200.0**2 + TOKEN_SD**2 / N_WORDS)
        found = float(verdicts(World(k=k, shift=shift), n_clients, seed=k).any(axis=1).mean())
        evidence("lasting change found within six probes", f"k={k}, rise {shift:.0f} Hz", found, "stated")
        assert found >= 0.80 - margin(0.80, n_clients)


def _weak_words_fail(random: np.random.Generator, words: np.ndarray, noise: np.ndarray, later: int) -> np.ndarray:
    """Words that are low for this client fail more and more often over the months."""
    return random.random(N_WORDS) < np.where(words < -0.5 * WORD_SD, min(0.9, 0.15 * later), 0.0)


def _weak_tokens_fail(random: np.random.Generator, words: np.ndarray, noise: np.ndarray, later: int) -> np.ndarray:
    """Tokens that came out low fail more and more often over the months."""
    return random.random(N_WORDS) < np.where(noise < -0.8 * TOKEN_SD, min(0.9, 0.15 * later), 0.0)


@pytest.mark.parametrize("fail", [_weak_words_fail, _weak_tokens_fail])
def test_weak_tokens_that_fail_more_often_do_not_look_like_a_rise(
    fail: Callable[..., np.ndarray], n_clients: int, evidence: Callable[..., None]
) -> None:
    random = np.random.default_rng(77)
    alarms, naive = [], []
    for _ in range(n_clients):
        baseline, later = client(random, World(day_sd=100.0, fail=fail))
        found = changes("centroid_hz", baseline, later)
        alarms.append([c.verdict == LARGER and c.word == "higher" for c in found])
        means = [one.mean for _, one in baseline]
        limit = limit_factor(3) * np.std(means, ddof=1)
        naive.append([one.mean - np.mean(means) > limit for _, one in later])
    share = float(np.mean(alarms))
    name = fail.__name__.strip("_").replace("_", " ")
    evidence("called higher though unchanged", name, share, "<= 0.05")
    evidence("the same by plain means of what is left", name, float(np.mean(naive)), "for scale")
    assert share <= 0.05 + margin(0.05, n_clients)


def test_planted_best_context_is_ranked_first(n_clients: int, evidence: Callable[..., None]) -> None:
    """+1.5 token SD at n = 8 among six contexts that differ by 0.3 token SD, over eight sessions of shifting means."""
    random = np.random.default_rng(8)
    contexts = {f"w{i}": ("initial", "", f"vowel {i}") for i in range(6)}
    first = []
    for _ in range(n_clients):
        effects = random.normal(0, 0.3 * TOKEN_SD, 6)
        best = int(random.integers(6))
        effects[best] = np.delete(effects, best).max() + 1.5 * TOKEN_SD
        probes = [
            summary(6000 + random.normal(0, 200) + effects + random.normal(0, TOKEN_SD, 6), n_expected=6)
            for _ in range(8)
        ]
        top = context_map("centroid_hz", probes, contexts)[0]
        first.append(top.rank == 1 and top.vowel == f"vowel {best}" and top.n == 8)
    share = float(np.mean(first))
    evidence("planted best context ranked first", "+1.5 token SD, n=8, six contexts", share, ">= 0.80")
    assert share >= 0.80 - margin(0.80, n_clients)


def test_seven_tokens_in_a_context_are_not_ranked() -> None:
    contexts = {f"w{i}": ("initial", "", f"vowel {i}") for i in range(6)}
    random = np.random.default_rng(9)
    cells = context_map("centroid_hz", [summary(random.normal(6000, 500, 6), n_expected=6) for _ in range(7)], contexts)
    assert all(cell.rank is None and "8 are needed" in cell.reason for cell in cells)


@pytest.mark.parametrize("n_sets", [8, 10])
def test_planted_fade_is_found_and_none_is_made_up(n_sets: int, n_clients: int, evidence: Callable[..., None]) -> None:
    """-25 % from first to third, token SD 15 % of the mean (within one word said three times running)."""
    random = np.random.default_rng(25)
    found: dict[float, list[bool]] = {0.75: [], 1.0: []}
    for fade, hits in found.items():
        for _ in range(n_clients):
            words = random.normal(120, 12, n_sets)
            first = words * (1 + random.normal(0, 0.15, n_sets))
            third = words * (fade + random.normal(0, 0.15, n_sets))
            result = first_against_third("core_duration_ms", list(zip(first, third, strict=True)))
            assert result.p is not None
            hits.append(result.p < 0.05 and result.first > result.third)
    power, alarms = float(np.mean(found[0.75])), float(np.mean(found[1.0]))
    evidence("planted fade found", f"-25 %, {n_sets} sets", power, ">= 0.80" if n_sets >= 10 else "stated")
    evidence("fade alarm without a fade", f"{n_sets} sets", alarms, "<= 0.05")
    assert n_sets < 10 or power >= 0.80 - margin(0.80, n_clients)
    assert alarms <= 0.05 + margin(0.05, n_clients)


@pytest.mark.parametrize("p", [0.1, 0.5, 0.85])
def test_wilson_covers_as_the_binomial_says(p: float, n_clients: int, evidence: Callable[..., None]) -> None:
    """Exact coverage: the binomial probability of the counts whose interval holds p."""
    inside = np.asarray([wilson(k, 20)[0] <= p <= wilson(k, 20)[1] for k in range(21)])
    exact = float(stats.binom.pmf(np.arange(21), 20, p)[inside].sum())
    drawn = np.random.default_rng(int(100 * p)).binomial(20, p, n_clients)
    share = float(inside[drawn].mean())
    evidence("Wilson coverage, drawn", f"n=20, p={p}", share, f"{exact:.4f} exact")
    assert abs(share - exact) <= margin(exact, n_clients) + 1e-12


def test_newcombe_covers(n_clients: int, evidence: Callable[..., None]) -> None:
    """Average coverage near 95 % (Newcombe 1998, from memory: method 10 is near nominal on average)."""
    random = np.random.default_rng(10)
    inside = []
    for _ in range(n_clients):
        p, q = random.uniform(0.1, 0.9, 2)
        _, low, high = newcombe((int(random.binomial(20, p)), 20), (int(random.binomial(20, q)), 20))
        inside.append(low <= p - q <= high)
    share = float(np.mean(inside))
    evidence("Newcombe coverage", "n=20 and 20", share, "near 0.95")
    assert abs(share - 0.95) <= 0.015 + margin(0.95, n_clients)
