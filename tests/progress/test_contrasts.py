"""Two sounds of one speaker, the same words twice, ear and figure: intervals that hold, and published numbers."""

from __future__ import annotations

import csv
import datetime as dt
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy import stats

from sibilant.progress import newcombe
from sibilant.progress.contrasts import ALL, CORRECT, WRONG, beside_like_vowels, contrast, contrasts_beside
from sibilant.progress.ear_and_figure import area_within, ear_and_figure
from sibilant.progress.paired_shares import newcombe_paired
from sibilant.progress.separation import overlap_of_normals, separation
from sibilant.terms import SibilantSlot
from sibilant.terms.summaries import MeasureSummary, WordValue

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "contrast_intervals.csv"
APART = ((0.0, 1.0), (0.5, 1.0), (1.0, 1.0), (1.0, 1.6), (2.0, 1.0), (3.0, 1.6), (4.0, 1.0))


@pytest.fixture(scope="module", params=[200, pytest.param(2000, marks=pytest.mark.long)])
def drawn(request: pytest.FixtureRequest) -> Iterator[tuple[int, Callable[..., None]]]:
    rows: list[dict[str, object]] = []
    yield int(request.param), lambda **row: rows.append(row)
    if request.param == 2000 and rows:
        root = EVIDENCE.parents[2]
        commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True)
        with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.DictWriter(stream, [*rows[0], "commit"], lineterminator="\n")
            writer.writeheader()
            writer.writerows({**row, "commit": commit.stdout.strip()} for row in rows)


@pytest.mark.parametrize("n", [7, 10, 20])
def test_intervals_hold(n: int, drawn: tuple[int, Callable[..., None]]) -> None:
    """Difference, area and overlap of two normals whose truth is known: 93 to 97 % in the mean over how far apart."""
    n_pairs, note = drawn
    random = np.random.default_rng(n)
    shares, one = [], np.ones(1)
    for shift, ratio in APART:
        area = float(stats.norm.cdf(shift / np.hypot(1, ratio)))
        common = float(overlap_of_normals(shift * one, one, 0 * one, ratio * one)[0])
        inside = np.zeros(3)
        for _ in range(n_pairs):
            found = separation(random.normal(shift, 1, n), random.normal(0, ratio, n))
            intervals = (found.difference_interval, found.auc_interval, found.overlap_interval)
            inside += [low <= truth <= high for (low, high), truth in zip(intervals, (shift, area, common))]  # type: ignore[misc]
        share = inside / n_pairs
        note(n=n, shift=shift, sd_ratio=ratio, area=round(area, 4), overlap=round(common, 4), groups=n_pairs,
             difference_held=share[0], area_held=share[1], overlap_held=share[2])  # fmt: skip
        shares.append(share)
    margin = 2 * np.sqrt(0.05 * 0.95 / n_pairs)
    assert np.all(np.abs(np.mean(shares, axis=0) - 0.95) <= 0.02 + margin / np.sqrt(len(APART)))
    assert np.min(shares) >= 0.91 - margin


def test_overlap_may_be_whole_where_means_may_be_equal() -> None:
    same = [float(v) for v in range(10)]
    assert separation(same, [v + 0.3 for v in same]).overlap_interval[1] == 1.0  # type: ignore[index]
    assert separation(same, [v + 30 for v in same]).overlap_interval[1] < 0.1  # type: ignore[index]


@pytest.mark.parametrize(
    ("cells", "published"),
    [
        # Cavo et al. 2012 as worked in the textbook of Fagerland, Lydersen & Laake (2017, chapter 8), method 10; read
        # in a public test file that prints its output. Signs as there: first share minus second.
        ((59, 6, 16, 80), (-0.0621, -0.1186, -0.0046)),
        # Newcombe 1998, table of examples (from memory).
        ((36, 12, 2, 0), (0.20, 0.0569, 0.3404)),
    ],
)
def test_paired_interval_against_published_numbers(cells: tuple[int, ...], published: tuple[float, ...]) -> None:
    assert newcombe_paired(*cells) == pytest.approx(published, abs=5e-5)


def test_paired_interval_is_narrower_than_unpaired_where_the_words_agree_and_holds() -> None:
    """Twenty words, each right with its own chance, on two days."""
    random = np.random.default_rng(5)
    held, unpaired, widths = [], [], []
    for _ in range(2000):
        chance = random.beta(0.8, 0.8, 20)
        gain = 0.15 * (1 - chance)
        first, second = random.random(20) < chance, random.random(20) < chance + gain
        truth = float(gain.mean())
        cells = [int(v) for v in (np.sum(first & second), np.sum(second & ~first), np.sum(first & ~second))]
        _, low, high = newcombe_paired(*cells, 20 - sum(cells))
        _, wide_low, wide_high = newcombe((int(second.sum()), 20), (int(first.sum()), 20))
        held.append(low <= truth <= high)
        unpaired.append(wide_low <= truth <= wide_high)
        widths.append((high - low) / (wide_high - wide_low))
    assert 0.93 <= np.mean(held) <= 0.985
    assert np.mean(unpaired) > 0.98
    assert np.mean(widths) < 0.9


def test_no_words_and_no_change() -> None:
    assert np.isnan(newcombe_paired(0, 0, 0, 0)).all()
    difference, low, high = newcombe_paired(20, 0, 0, 0)
    assert difference == 0 and low < 0 < high


def _tokens(material: ModuleType, sounds: list[tuple[str, str, str, float]]) -> list[object]:
    """Tokens of (phone, vowel after, heard, centroid)."""
    found = []
    for place, (phone, vowel, heard, value) in enumerate(sounds):
        slot = SibilantSlot(phone, 1, "initial", vowel_after=vowel)
        made = material.changed(material.token(place, value, slot=slot), id=f"{place + 1}.1.1")
        found.append(material.kept(1, made, material.judgement(made.key, heard)))
    return found


def test_contrast_made_and_not_yet_heard_shows(material: ModuleType) -> None:
    """/s/ all heard as wrong, 800 Hz above /ʃ/ beside each vowel; rounded vowels pull both down by 1500 Hz."""
    random = np.random.default_rng(3)
    front, rounded = ["IY1"] * 5 + ["UW1"] * 3, ["IY1"] * 3 + ["UW1"] * 5
    sounds = [("S", v, "distorted", 5800 - 1500 * (v == "UW1") + random.normal(0, 150)) for v in rounded]
    sounds += [("SH", v, "correct", 5000 - 1500 * (v == "UW1") + random.normal(0, 150)) for v in front]
    tokens = _tokens(material, sounds)
    judged_right = contrast(tokens, 1, "centroid_hz", "house-15k", "R1")
    assert judged_right is not None and judged_right.over == CORRECT
    assert "0 /s/ and 8 /ʃ/" in judged_right.reasons[0] and "7 of each are needed" in judged_right.reasons[0]
    everything, wrong = contrasts_beside(tokens, 1, "centroid_hz", "house-15k", "R1")
    assert (everything.over, wrong.over) == (ALL, WRONG)
    assert wrong.low < 800 < wrong.high and wrong.low > 400
    assert not everything.low > 400, "vowels not matched hide it"


def test_sounds_buried_or_not_corrected_are_left_out_and_counted(material: ModuleType) -> None:
    """A sound whose noise could not be taken out has a figure, drawn towards the noise: it stays out."""
    sounds = [("S", "IY1", "correct", 7000.0 + 30 * i) for i in range(9)]
    sounds += [("SH", "IY1", "correct", 5000.0 + 40 * i) for i in range(8)]
    tokens = _tokens(material, sounds)
    for place, flag in ((0, "uncorrected"), (9, "buried")):
        gone = {"centroid_hz": 100.0} if flag == "uncorrected" else {"sd_hz": 900.0}
        made = material.token(place, gone, slot=tokens[place].sound.slot, flags=(flag,))
        tokens[place] = material.kept(1, made, *tokens[place].judgements)
    found = contrast(tokens, 1, "centroid_hz", "house-15k", "R1")
    assert (found.n_s, found.n_sh, dict(found.left_out)) == (8, 7, {"uncorrected": 1, "buried": 1})
    assert found.left_out_words == (
        "left out: buried 1 (weak sounds fail first), uncorrected 1 (no pause to judge the noise by)"
    )
    assert found.difference > 1800


def test_against_theta_where_words_for_it_were_asked(material: ModuleType) -> None:
    sounds = [("S", "IY1", "correct", 7000.0 + 30 * i) for i in range(7)]
    sounds += [("TH", "IY1", "correct", 6000.0 + 40 * i) for i in range(7)]
    (found,) = contrasts_beside(_tokens(material, sounds), 1, "centroid_hz", "house-15k", "R1")
    assert found.against == "θ" and found.difference == pytest.approx(970.0)


def test_vowels_matched_by_hand() -> None:
    """Two vowels 1000 apart, sounds 100 apart: without matching -500/3 + 100; matched 100."""
    s, other = [("a", 0.0), ("a", 0.0), ("b", 1000.0)], [("a", -100.0), ("b", 900.0), ("b", 900.0)]
    left, right = beside_like_vowels(s, other)
    assert np.mean([v for _, v in left]) - np.mean([v for _, v in right]) == pytest.approx(100.0)


def _session(right: np.ndarray, wrong: np.ndarray) -> MeasureSummary:
    words = [WordValue(f"r{i}", f"r{i}", float(v), "correct") for i, v in enumerate(right)]
    words += [WordValue(f"w{i}", f"w{i}", float(v), "distorted") for i, v in enumerate(wrong)]
    n = len(words)
    return MeasureSummary("centroid_hz", "m", 0, 0, 0, 1, n, n, n, {}, tuple(words))


def test_ear_and_figure_without_any_bond() -> None:
    """Both rise over the year, no bond within a session: the interval holds one half, where a correlation is fooled."""
    random = np.random.default_rng(4)
    held, fooled = [], []
    for _ in range(300):
        sessions, heard, means = [], [], []
        for month in range(8):
            right = random.random(20) < 0.1 + 0.1 * month
            values = 5000 + 200 * month + random.normal(0, 500, 20)
            sessions.append(_session(values[right], values[~right]))
            heard.append(right)
            means.append(values)
        found = ear_and_figure("centroid_hz", sessions)
        assert found is not None
        held.append(found.low <= 0.5 <= found.high)
        fooled.append(stats.pearsonr(np.concatenate(heard), np.concatenate(means)).pvalue < 0.05)
    assert 0.92 <= np.mean(held) <= 0.985
    assert np.mean(fooled) > 0.9


def test_ear_and_figure_finds_a_bond_and_its_size() -> None:
    """One SD apart within sessions: area Phi(1/sqrt 2) = 0.760."""
    random = np.random.default_rng(6)
    truth, held = float(stats.norm.cdf(1 / np.sqrt(2))), []
    for _ in range(300):
        pairs = [(random.normal(1, 1, 6) + 3 * m, random.normal(0, 1, 8) + 3 * m) for m in range(4)]
        area, low, high = area_within(pairs)
        held.append(low <= truth <= high)
    assert 0.91 <= np.mean(held) <= 0.985
    assert low < area < high and low > 0.4


def test_one_session_is_mann_whitney() -> None:
    """Independent library: scipy's U over the number of pairs."""
    random = np.random.default_rng(7)
    right, wrong = random.normal(1, 1, 9), random.normal(0, 1, 11)
    assert area_within([(right, wrong)])[0] == pytest.approx(stats.mannwhitneyu(right, wrong).statistic / 99)


def test_too_few_heard_as_wrong_are_told() -> None:
    found = ear_and_figure("centroid_hz", [_session(np.arange(20.0), np.arange(3.0))])
    assert found is not None and "3 as wrong" in found.reasons[0]
    assert ear_and_figure("centroid_hz", [_session(np.arange(20.0), np.empty(0))]) is None


def test_words_gained_take_the_paired_interval(material: ModuleType) -> None:
    from sibilant.progress import words_gained

    days = (dt.date(2026, 1, 1), dt.date(2026, 6, 1))
    early, late = [], []
    for place in range(20):
        for number, kept, right in ((1, early, place < 10), (2, late, place < 14)):
            made = material.token(place, 6000.0)
            kept.append(material.kept(number, made, material.judgement(made.key, "correct" if right else "distorted")))
    found = words_gained(early, late, "R1", days=days)
    assert found is not None
    assert (found.difference, found.low, found.high) == newcombe_paired(10, 4, 0, 6)
