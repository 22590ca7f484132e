"""Verdicts weighed: with others' spread, with bunched baselines, with several exploratory measures."""

from __future__ import annotations

import datetime as dt
from types import ModuleType

import numpy as np
import pytest

from sibilant.progress import ViewRequest, baseline_advice, plan, view
from sibilant.progress.change import plain_factor
from sibilant.progress.decay import fit_decay
from sibilant.progress.related import bunched, cost_of_spacing, likeness, next_baseline, smallest_gap, widened
from sibilant.terms.change import LARGER, UNJUDGED, WITHIN
from sibilant.terms.lending import ClinicSpread
from sibilant.terms.therapy import Therapy

START = dt.date(2026, 1, 12)
LENT = ClinicSpread(60.0, 0.55, 20, dt.date(2026, 6, 1))


def spaced(material: ModuleType, gap: int, n_later: int = 2) -> list[object]:
    """Three baselines so many days apart and later monthly probes."""
    days = [START + dt.timedelta(days=gap * i) for i in range(3)]
    days += [days[-1] + dt.timedelta(days=30 * (i + 1)) for i in range(n_later)]
    return [material.session(number, on=day) for number, day in enumerate(days, start=1)]


def test_others_spread_decides_and_the_plain_rule_stands_beside(material: ModuleType) -> None:
    """Baseline SD about 100 and a rise of 350: the plain limit is 4.97 x 100, the clinic's is less."""
    case = material.case([6000, 6100, 5900, 6350, 6360], sessions=spaced(material, 21))
    lent = {("centroid_hz", session): LENT for session in (4, 5)}
    with_others, alone = view(case, ViewRequest(lent=lent)), view(case)
    first, plain = with_others.changes_of("centroid_hz")[0], alone.changes_of("centroid_hz")[0]
    assert (first.verdict, first.plain_verdict, plain.verdict) == (LARGER, WITHIN, WITHIN)
    assert first.lent == LENT and plain.lent is None
    assert first.limit < first.plain_limit == plain.limit == pytest.approx(4.968 * 100, rel=1e-3)
    assert first.provisional == "" and first.related_verdict is None
    error = with_others.error_of("centroid_hz")
    assert error is not None and error.lent == LENT and error.sd_known < error.sd


def test_bunched_baselines_are_provisional_and_both_assumptions_are_told(material: ModuleType) -> None:
    means = [6000, 6020, 5980, 6150, 6160]
    weekly = view(material.case(means, sessions=spaced(material, 7))).changes_of("centroid_hz")[0]
    apart = view(material.case(means, sessions=spaced(material, 21))).changes_of("centroid_hz")[0]
    assert weekly.verdict == apart.verdict == LARGER
    assert "7 days apart" in weekly.provisional and apart.provisional == ""
    assert weekly.related_verdict in (WITHIN, UNJUDGED) and weekly.related_limit > 2 * weekly.limit


def test_exploratory_measures_share_one_promise(material: ModuleType) -> None:
    found = view(material.case([6000, 6050, 5960, 6700, 6800]))
    main, other = found.changes_of("centroid_hz")[0], found.changes_of("core_duration_ms")[0]
    assert (main.n_measures, other.n_measures) == (1, 2)
    error = found.error_of("centroid_hz")
    assert error is not None and main.limit == pytest.approx(error.limit)
    assert plain_factor(3, 2) == pytest.approx(7.165, abs=0.001)


def test_t_quantiles_of_the_correction_against_scipy() -> None:
    from scipy import stats

    for n in (1, 2, 5):
        assert plain_factor(4, n) == pytest.approx(stats.t.ppf(1 - 0.025 / n, 3) * (1 + 1 / 4) ** 0.5)


def test_likeness_worked_by_hand() -> None:
    """Gaps 10, 10, 20 at decay 20: mean of e^-.5, e^-.5, e^-1 = .5269; 20 days on: (e^-1 + e^-1.5 + e^-2)/3."""
    days = [START + dt.timedelta(days=10 * i) for i in range(3)]
    found = likeness(days, days[-1] + dt.timedelta(days=20), decay_days=20)
    assert found.among == pytest.approx(0.5269, abs=1e-4)
    assert found.with_later == pytest.approx(0.2421, abs=1e-4)
    assert found.of_difference == pytest.approx(1 + (1 + 2 * 0.5269) / 3 - 2 * 0.2421, abs=1e-3)


def test_tokens_alone_are_not_widened() -> None:
    days = [START + dt.timedelta(days=i) for i in range(3)]
    alike = likeness(days, days[-1] + dt.timedelta(days=60))
    assert widened(100.0, 100.0, alike) == pytest.approx(1.0)
    assert widened(100.0, 50.0, alike) > 2
    assert widened(0.0, 0.0, alike) == 1.0


def test_advice_on_the_next_baseline() -> None:
    assert bunched([START, START + dt.timedelta(days=20)]) and not bunched([START, START + dt.timedelta(days=21)])
    assert smallest_gap([START]) is None and next_baseline([]) == ""
    assert str(START + dt.timedelta(days=21)) in next_baseline([START])
    assert cost_of_spacing(7, 3) > cost_of_spacing(21, 3) > 1


def test_view_advises_while_the_baseline_is_not_whole(material: ModuleType) -> None:
    sessions = [material.session(1, on=START)]
    assert "next baseline: 2026-02-02" in view(material.case([6000], sessions=sessions)).advice[0]
    done = view(material.case([6000, 6050, 5960, 6700]))
    assert done.advice == ()


def test_no_design_is_called_enough_that_finds_less_than_four_in_five() -> None:
    for change in (300.0, 800.0, 1500.0):
        for row in plan("centroid_hz", change, 500.0, day_sd=200.0).rows:
            assert not row.enough or row.missed <= 0.2


def test_a_decay_is_fitted_only_on_many_untreated_probes_that_reach_far() -> None:
    """Forty fortnightly probes, days alike over 20 days: the interval holds it in most; three probes give none."""
    random = np.random.default_rng(9)
    on = [START + dt.timedelta(days=14 * i) for i in range(40)]
    gaps = np.abs(np.subtract.outer(*[[day.toordinal() for day in on]] * 2))
    root = np.linalg.cholesky(np.exp(-gaps / 20.0) + 1e-9 * np.eye(40))
    found = [
        fit_decay(on, 200 * root @ random.normal(size=40) + 112 * random.normal(size=40), 112.0) for _ in range(30)
    ]
    told = [one for one in found if one is not None]
    assert len(told) > 20
    assert np.mean([one.low <= 20.0 <= one.high for one in told]) > 0.85
    assert np.mean([10.0 <= one.days <= 40.0 for one in told]) > 0.6
    assert "fitted on 40 untreated probes over 546 days" in told[0].words
    assert fit_decay(on[:39], [6000.0] * 39, 112.0) is None
    assert fit_decay(on[:3], [6000.0, 6100.0, 6050.0], 112.0) is None


def test_the_limit_shown_is_the_one_that_gives_the_verdicts(material: ModuleType) -> None:
    """With others, without, and before the first later probe: the error's limit is that of the verdict to come."""
    means, sessions = [6000, 6100, 5900, 6350, 6360], spaced(material, 21)
    lent = {("centroid_hz", session): LENT for session in (0, 4, 5)}
    with_others = view(material.case(means, sessions=sessions), ViewRequest(lent=lent))
    error, first = with_others.error_of("centroid_hz"), with_others.changes_of("centroid_hz")[0]
    assert error is not None and error.limit == pytest.approx(first.limit) and error.later_limit > error.limit
    assert error.plain_limit == pytest.approx(first.plain_limit)
    before = view(material.case(means[:3], sessions=sessions[:3]), ViewRequest(lent=lent)).error_of("centroid_hz")
    assert before is not None and before.limit == pytest.approx(error.limit)
    alone = view(material.case(means, sessions=sessions)).error_of("centroid_hz")
    assert alone is not None and alone.limit == alone.later_limit == alone.plain_limit


def test_advice_where_nobody_said_when_therapy_started(material: ModuleType) -> None:
    session = material.session(1, on=START, phase="not stated")
    told = baseline_advice(material.client(), [session])
    assert told.startswith("if therapy has not started, the next baseline: 2026-02-02")
    assert baseline_advice(material.client(therapy=Therapy(under_way=True)), [session]) == ""
