"""A client with little measured: each place says so in a line, whatever measure it is asked for. Invented data."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from sibilant import store
from sibilant.terms import MEASURES

PLACES = (
    "/progress?",
    "/progress/months.svg?",
    "/progress/months.svg?width=narrow&",
    "/do/progress/points?",
    "/plan?change=400&",
)


@pytest.fixture
def with_lengths(served: Any, material: ModuleType) -> Any:
    """One session in which no sound has the client's main measure."""
    with store.open_caseload(served.folder) as one:
        recording = store.NewRecording(f"{1:064d}", 44100, 30.0, {})
        tokens = material.new_sounds(material.token(i, {"duration_ms": 150.0 + i}) for i in range(3))
        prompts = tuple(material.prompt_of(i) for i in range(3))
        session = replace(material.session(1), client="C-7QXK", on=dt.date(2026, 3, 9))
        store.keep_session(one, store.NewSession(session, prompts, (recording,), tokens))
    return served


def test_a_measure_that_no_session_has_is_said_in_a_line(with_lengths: Any) -> None:
    """On the code before: a fault of the program."""
    for place in PLACES[1:4]:
        status, _, body = with_lengths.asked("GET", f"{place}client=C-7QXK")
        assert status == 422 and b"no session has centroid_hz to show yet" in body, place
    status, _, body = with_lengths.asked("GET", "/progress?client=C-7QXK")
    assert status == 200 and b"no session has centroid_hz to show yet" in body


def test_no_measure_asked_for_is_a_fault(with_lengths: Any) -> None:
    keys = [*MEASURES, "no_such", "<b>", "centroid_hz&measure=sd_hz", "%00", "x" * 500]
    asked = [f"{place}client=C-7QXK&measure={key}" for key in keys for place in (PLACES[0], PLACES[3], PLACES[4])]
    wrong = [one for one in asked if with_lengths.asked("GET", one)[0] not in (200, 400, 422)]
    assert wrong == []
