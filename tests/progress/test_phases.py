"""Phases come from when therapy ran, as a person said it; nothing is called a baseline because it came first."""

from __future__ import annotations

import datetime as dt
from types import ModuleType

import pytest

from sibilant.progress import view
from sibilant.progress.phases import phase_question, with_phases
from sibilant.terms.change import LARGER, UNJUDGED
from sibilant.terms.clinic import Session
from sibilant.terms.therapy import Therapy

KEY = "centroid_hz"
MEANS = [6000, 6050, 5960, 6040, 6700, 6800]


def monthly(material: ModuleType, n: int = 6, **changed: object) -> list[Session]:
    """Probes a month apart, from 12 January, as a new caseload keeps them: no phase said."""
    days = [material.DAY + dt.timedelta(days=30 * number) for number in range(n)]
    return [material.session(i, **{"on": day, "phase": "not stated"} | changed) for i, day in enumerate(days, start=1)]


def phases(case: object) -> list[str]:
    return [one.phase for one in view(case).summaries]  # type: ignore[arg-type]


def test_therapy_under_way_gives_a_reference_under_treatment_and_never_a_baseline(material: ModuleType) -> None:
    case = material.case(MEANS, sessions=monthly(material), therapy=Therapy(under_way=True))
    assert phases(case) == ["reference under treatment"] * 3 + ["treatment"] * 3
    assert view(case).reference == "reference under treatment"
    assert [change.verdict for change in view(case).changes_of(KEY)][1:] == [LARGER, LARGER]


def test_a_start_before_the_first_probe_is_the_same_as_under_way(material: ModuleType) -> None:
    case = material.case(MEANS, sessions=monthly(material), therapy=Therapy(material.DAY - dt.timedelta(days=50)))
    assert "baseline" not in phases(case) and phases(case)[:3] == ["reference under treatment"] * 3


def test_guessed_phases_of_an_old_caseload_give_way_once_therapy_is_stated(material: ModuleType) -> None:
    """August, September, October were called baseline for a client in therapy since July: baseline no more."""
    old = [material.session(n) for n in range(1, 7)]
    assert phases(material.case(MEANS, sessions=old)) == ["baseline"] * 3 + ["treatment"] * 3  # read as before
    said = material.case(MEANS, sessions=old, therapy=Therapy(under_way=True))
    assert phases(said) == ["reference under treatment"] * 3 + ["treatment"] * 3


def test_the_start_divides_baseline_from_treatment_however_many_came_before(material: ModuleType) -> None:
    days = [one.on for one in monthly(material)]
    two = material.case(MEANS, sessions=monthly(material), therapy=Therapy(days[2]))
    assert phases(two) == ["baseline"] * 2 + ["treatment"] * 4
    first = view(two).changes_of(KEY)[0]
    assert first.verdict == UNJUDGED and any("2 baseline probes; 3" in reason for reason in first.reasons)
    four = material.case(MEANS, sessions=monthly(material), therapy=Therapy(days[4]))
    assert phases(four) == ["baseline"] * 4 + ["treatment"] * 2
    assert view(four).error_of(KEY).sessions == (1, 2, 3, 4)


def test_a_pause_is_neither_baseline_nor_treatment(material: ModuleType) -> None:
    days = [one.on for one in monthly(material)]
    therapy = Therapy(days[3] - dt.timedelta(days=1)).paused(days[4]).resumed(days[5])
    case = material.case(MEANS, sessions=monthly(material), therapy=therapy)
    assert phases(case) == ["baseline"] * 3 + ["treatment", "pause", "treatment"]
    assert "pause" not in {trend.phase for trend in view(case).trends}


def test_not_stated_is_a_question_and_no_guess(material: ModuleType) -> None:
    found = view(material.case(MEANS, sessions=monthly(material)))
    assert [one.phase for one in found.summaries] == ["not stated"] * 6
    assert found.reference == "not stated" and found.error_of(KEY).sessions == (1, 2, 3)
    asked = [sentence for sentence in found.questions if "when did therapy" in sentence]
    assert len(asked) == 1 and "neither baseline nor treatment" in asked[0]
    stated = material.case(MEANS, sessions=monthly(material), therapy=Therapy(under_way=True))
    assert not phase_question(stated.client, stated.sessions)


def test_what_a_person_set_stays(material: ModuleType) -> None:
    sessions = monthly(material)
    sessions[5] = material.session(6, on=sessions[5].on, phase="maintenance")
    case = material.case(MEANS, sessions=sessions, therapy=Therapy(sessions[3].on))
    assert phases(case) == ["baseline"] * 3 + ["treatment"] * 2 + ["maintenance"]


def test_a_new_baseline_for_another_device_in_therapy_is_a_reference_under_treatment(material: ModuleType) -> None:
    sessions = [
        *monthly(material, 4),
        *(material.session(n + 3, device="clip-on", phase="baseline") for n in (5, 6, 7)),
        *(material.session(n + 3, device="clip-on", phase="not stated") for n in (8, 9)),
    ]
    means = [6000, 6050, 5960, 6040, 5500, 5550, 5460, 6500, 6600]
    therapy = Therapy(sessions[3].on)
    found = view(material.case(means, sessions=sessions, therapy=therapy))
    assert [one.phase for one in found.summaries][4:] == ["reference under treatment"] * 3 + ["treatment"] * 2
    assert [c.verdict for c in found.changes_of(KEY) if c.session > 10] == [LARGER, LARGER]


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"starts_on": dt.date(2026, 2, 2), "under_way": True},
        {"starts_on": dt.date(2026, 2, 2), "pauses": ((dt.date(2026, 1, 1), None),)},
        {"under_way": True, "pauses": ((dt.date(2026, 3, 1), dt.date(2026, 3, 1)),)},
        {"under_way": True, "pauses": ((dt.date(2026, 3, 1), None), (dt.date(2026, 5, 1), None))},
    ],
)
def test_therapy_that_contradicts_itself_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"therapy|pause"):
        Therapy(**wrong)  # type: ignore[arg-type]


def test_therapy_survives_plain_values() -> None:
    said = Therapy(dt.date(2026, 2, 2)).paused(dt.date(2026, 7, 1)).resumed(dt.date(2026, 9, 1))
    said = said.paused(dt.date(2026, 12, 20))
    assert Therapy.from_dict(said.as_dict()) == said
    assert with_phases(None, ()) == ()
