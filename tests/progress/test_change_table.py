"""Alarms over a year, coverage and power of the decision rules, on clients drawn by a generator apart from any model.

A tenth of the clients by default; ``-m long`` draws 10,000 a cell and writes docs/evidence/change_days.csv. The truth
is the generator's own. What a rule that never speaks would pass (alarms) is asked together with power. Invented data –
not a person.
"""

from __future__ import annotations

import csv
import math
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import change_table as table
from invented_days import Clinic, Days, Scenario, called, draw

from sibilant.progress import changes
from sibilant.terms.change import LARGER
from sibilant.terms.summaries import MeasureSummary, WordValue

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "change_days.csv"
N = 1000


def cell(k: int, name: str, rule: str = "clinic", n_others: int = 20, n: int = N) -> table.Row:
    """One cell."""
    scenario = {**table.UNCHANGED, **table.CHANGED}[name]
    rows = table.cells(k, name, scenario, n)
    return next(one for one in rows if one.rule == rule and one.n_others == n_others)


def margin(percent: float, n: int = N) -> float:
    """Two Monte-Carlo standard errors of a share in percent."""
    return 200 * math.sqrt(percent / 100 * (1 - percent / 100) / n)


@pytest.mark.parametrize("k", [3, 4, 5])
def test_independent_days(k: int) -> None:
    """At most 5 % alarm in a year, the interval holds in 93 % and more, and is not wider than the plain rule's."""
    rows = list(table.cells(k, "independent days", Scenario(), N))
    before = rows[0]
    for one in rows[1:]:
        assert one.in_twelve <= 5 + margin(5)
        assert one.coverage >= 93 - margin(93)
        assert one.median_interval <= 1.02 * before.median_interval


def test_a_step_of_800_hz_is_found_within_three_probes() -> None:
    """Day SD 200 Hz, three baselines three weeks apart, 20 other clients: 58 % and more; the plain rule a third."""
    before, after = cell(3, "step of 800 Hz", "plain", 0, 2 * N), cell(3, "step of 800 Hz", n=2 * N)
    assert after.within_three >= 58 - margin(58, 2 * N)
    assert before.within_three <= 40 + margin(40, 2 * N)


@pytest.mark.parametrize("k", [3, 4, 5])
def test_related_days_three_weeks_apart(k: int) -> None:
    assert cell(k, "days related over 60 days").in_twelve <= 8 + margin(8)


@pytest.mark.parametrize("k", [3, 5])
def test_bunched_baselines_are_where_the_promise_breaks(k: int) -> None:
    """Why those verdicts are provisional: alarms as independent days; under the stated decay they are few."""
    rows = {one.rule: one for one in table.cells(k, "w", table.UNCHANGED[
        "days related over 60 days, weekly baseline"], N) if one.n_others in (0, 20)}  # fmt: skip
    assert rows["clinic"].in_twelve > 8
    assert rows["clinic, days alike over 60 days"].in_twelve <= 3


@pytest.mark.parametrize("name", list(table.MISFITS))
@pytest.mark.parametrize("k", [3, 5])
def test_others_who_do_not_fit(k: int, name: str) -> None:
    unchanged, step = table.misfit_cells(k, name, table.MISFITS[name], N)
    assert unchanged.in_twelve <= 8 + margin(8)
    assert step.within_three >= 5, "a limit that is never passed keeps any promise"


def test_the_table_gives_the_verdicts_of_the_project_itself() -> None:
    """The arrays of this test against :func:`~sibilant.progress.changes`, client by client."""
    scenario = Scenario(k=3, step=500.0, lost=0.08, days=Days(decay=30))
    random = np.random.default_rng(3)
    drawn = draw(random, scenario, 60)
    limit, _ = table.plain(drawn, 3)
    expected = called(drawn.difference, limit, drawn.enough)
    found = np.zeros_like(expected)
    for i, client in enumerate(drawn.values):
        probes = [(number, _summary(values)) for number, values in enumerate(client, start=1)]
        if any(one.n_measured < 16 for _, one in probes[:3]):
            expected[i] = False
            continue
        found[i] = [one.verdict == LARGER for one in changes("centroid_hz", probes[:3], probes[3:])]
    assert expected.sum() > 30
    np.testing.assert_array_equal(found, expected)


def _summary(values: np.ndarray) -> MeasureSummary:
    words = tuple(WordValue(f"{i}", f"w{i}", float(v)) for i, v in enumerate(values) if math.isfinite(v))
    return MeasureSummary("centroid_hz", "m", float(np.nanmean(values)), 0, 0, float(np.nanstd(values, ddof=1)),
                          len(words), len(words), values.size, {}, words)  # fmt: skip


def test_generator_has_the_days_it_says() -> None:
    """SDs and the likeness of days a month apart, as planted: exp(-30 / 60) = 0.607."""
    random = np.random.default_rng(1)
    state = Days(decay=60).state(random, (20000,), np.arange(0, 300, 30.0), np.full(20000, 200.0))
    assert state.std() == pytest.approx(200, rel=0.02)
    assert np.corrcoef(state[:, 3], state[:, 4])[0, 1] == pytest.approx(math.exp(-0.5), abs=0.02)
    others = Clinic(ratio=0.5).sds(random, 4000)
    assert np.exp(np.log(others).mean()) == pytest.approx(0.5, rel=0.02)


@pytest.mark.parametrize("n_clinics", [20, pytest.param(60, marks=pytest.mark.long)])
def test_why_six_others_are_refused(n_clinics: int) -> None:
    """Six, twice as steady by chance of who came: taken as they fall they break the yearly promise, in the worst tenth
    of clinics by far. With what the project adds they would not, in the mean; twelve is asked for so that it need not
    hang on that alone. The long run writes docs/evidence/six_others.csv.
    """
    rows = []
    for k in (3, 4, 5):
        for ratio in (0.5, 1.0):
            for by_points in (True, False):
                mean, worst = table.six_others(k, n_clinics, ratio=ratio, by_points=by_points)
                fit = "as they fall" if by_points else "as fitted here"
                rows.append({"k": k, "others_sd": ratio, "fit": fit, "year_mean": round(mean, 2),
                             "year_worst_tenth": round(worst, 2), "clinics": n_clinics})  # fmt: skip
                if ratio == 0.5:
                    assert (mean > 8 and worst > 15) if by_points else mean <= 8
    if n_clinics == 60:
        _written(EVIDENCE.with_name("six_others.csv"), rows)


def _written(path: Path, rows: list[dict[str, object]]) -> None:
    root = EVIDENCE.parents[2]
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True).stdout
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, [*rows[0], "commit"], lineterminator="\n")
        writer.writeheader()
        writer.writerows({**one, "commit": commit.strip()} for one in rows)


@pytest.mark.long
def test_the_whole_table() -> None:
    """Every cell of docs/change.md; no bound beyond those above."""
    n, rows = 10_000, []
    for k in (3, 4, 5):
        for name, scenario in {**table.UNCHANGED, **table.CHANGED}.items():
            rows += [asdict(one) for one in table.cells(k, name, scenario, n)]
        for name, clinic in table.MISFITS.items():
            rows += [asdict(one) for one in table.misfit_cells(k, name, clinic, n)]
    _written(EVIDENCE, rows)
    assert len(rows) > 300
