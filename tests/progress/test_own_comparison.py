"""What moves /s/ and what is probed beside it alike is taken off: days, a microphone; what moves /s/ alone stays.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from sibilant.progress import view
from sibilant.progress.change import changes, limit_factor
from sibilant.progress.own_comparison import ANOTHER_SOUND, NOT_PRACTISED, Both, less
from sibilant.terms import Measurement
from sibilant.terms.change import LARGER, WITHIN
from sibilant.terms.clinic import Case
from sibilant.terms.summaries import MeasureSummary, WordValue

KEY = "centroid_hz"


def _summary(values: np.ndarray) -> MeasureSummary:
    words = tuple(WordValue(f"{i}", f"w{i}", float(v)) for i, v in enumerate(values))
    n = len(words)
    return MeasureSummary(KEY, "m/1", float(np.mean(values)), 0, 0, float(np.std(values, ddof=1)), n, n, n, {}, words)


def _client(random: np.random.Generator, shared: np.ndarray, own: np.ndarray) -> list[Both]:
    """Three baselines and later probes; /s/ and /ʃ/ move together by ``shared``, /s/ alone by ``own``."""
    s_words, sh_words = random.normal(6000, 600, 20), random.normal(4000, 500, 12)
    found = []
    for number, (day, alone) in enumerate(zip(shared, own, strict=True), start=1):
        s = s_words + day + alone + random.normal(0, 300, 20)
        found.append(Both(number, _summary(s), _summary(sh_words + day + random.normal(0, 300, 12))))
    return found


def test_worked_by_hand() -> None:
    """Three words each, no scatter of tokens: differences (400 - 100, 500 - 100, 300 - 100) = 300, 400, 200."""
    s = [np.array([0.0, 10, 20] * 4) + level for level in (5000, 4900, 5100, 5400)]
    sh = [np.array([0.0, 10, 20] * 4) + level for level in (3000, 3000, 3000, 3100)]
    *baseline, new = (Both(n, _summary(a), _summary(b)) for n, (a, b) in enumerate(zip(s, sh, strict=True), start=1))
    found = less(KEY, baseline, new, ANOTHER_SOUND)
    assert found is not None
    assert found.difference == pytest.approx(300.0)
    assert found.limit == pytest.approx(limit_factor(3) * 100.0)
    assert found.verdict == WITHIN and found.against == ANOTHER_SOUND


def test_a_microphone_that_nobody_declared_is_taken_off_and_a_change_of_s_alone_is_found() -> None:
    """Half a year with a microphone 400 Hz higher: the figure alone is called, /s/ less /ʃ/ is not."""
    random = np.random.default_rng(8)
    fooled, held, found = [], [], []
    for _ in range(60):
        shared = np.concatenate([random.normal(0, 40, 3), 400 + random.normal(0, 40, 2)])
        for own, into in ((np.zeros(5), held), (np.array([0, 0, 0, 900.0, 900.0]), found)):
            probes = _client(random, shared, own)
            one = [less(KEY, probes[:3], new, ANOTHER_SOUND) for new in probes[3:]]
            into.append(all(c is not None and abs(c.difference) > c.limit for c in one))
            if into is held:
                pairs = [(p.session, p.followed) for p in probes]
                fooled.append(changes(KEY, pairs[:3], pairs[3:])[0].verdict == LARGER)
    assert np.mean(fooled) > 0.3
    assert np.mean(held) <= 0.05
    assert np.mean(found) > 0.6


def _practising(material: ModuleType) -> Case:
    """Ten of twenty words practised after the baseline rise by 900 Hz, the others stay; all days move alike by 300."""
    start = dt.date(2026, 1, 12)
    days = [start + dt.timedelta(days=21 * i) for i in range(5)]
    sessions = [material.session(n, on=day) for n, day in enumerate(days, start=1)]
    case = material.case([6000, 6060, 5950, 6300, 6320], sessions=sessions)
    words = sorted({token.prompt.casefold() for token in case.tokens})
    treated = dict.fromkeys(words[:10], days[2] + dt.timedelta(days=7))
    tokens = []
    for token in case.tokens:
        rise = 900.0 if token.session > 3 and token.prompt.casefold() in treated else 0.0
        raised = {label: _raised(one, rise) for label, one in token.measurements.items()}
        tokens.append(replace(token, measurements=raised))
    return replace(case, tokens=tuple(tokens), client=replace(case.client, treated=treated))


def _raised(measured: Measurement, rise: float) -> Measurement:
    values = {**measured.measures.values, KEY: measured.measures.values[KEY] + rise}
    return replace(measured, measures=replace(measured.measures, values=values))


def test_words_not_practised_are_a_comparison_of_the_clients_own(material: ModuleType) -> None:
    found = view(_practising(material))
    own = [one for one in found.own_comparisons if one.against == NOT_PRACTISED]
    assert [one.session for one in own] == [4, 5]
    assert own[0].difference == pytest.approx(900.0, abs=150)
    assert own[0].verdict == LARGER and own[0].confirmed_by == 5
    assert view(material.case([6000, 6050, 5960, 6700])).own_comparisons == ()
