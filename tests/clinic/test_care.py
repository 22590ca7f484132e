"""Goals, visits and practice: kept, changed, taken out, erased with the client. Invented data."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from sibilant import store
from sibilant.clinic import clients, goals, runs, visits
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, UsageError, WordError

NOW = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)


@pytest.fixture
def caseload(tmp_path: Path) -> CaseloadHandle:
    found = CaseloadHandle(tmp_path / "case", clock=lambda: NOW)
    clients.add_client(found, "7y4m", code="C-7QXK", fields={"invented": True})
    return found


def test_a_goal_is_typed_once_changed_and_ended_and_its_words_are_in_the_bank(caseload: CaseloadHandle) -> None:
    goals.add_goal(
        caseload, None, "says /s/ in words", {"level": "word", "cue": "S", **goals.read_criterion("90% n10")}
    )
    (row,) = goals.list_goals(caseload, "C-7QXK")
    assert (row["level"], row["cue"], row["made"]) == ("word", "spontaneous", "2026-03-02")
    assert row["criterion"] == "90\u2009% of 10 or more sounds, 2 probes running"
    assert goals.phrases(caseload) == ("says /s/ in words",)
    goals.change_goal(caseload, None, 1, {"ended": "met"})
    assert goals.list_goals(caseload, None)[0]["ended"] == "met on 2026-03-02"
    assert goals.drop_phrase(caseload, "says /s/ in words") == () and len(goals.list_goals(caseload, None)) == 1
    for wrong, fields in (("", {"level": "word"}), ("x", {"level": "wrod"}), ("x", {"level": "word", "share": 1.2})):
        with pytest.raises(UsageError):
            goals.add_goal(caseload, None, wrong, fields)
    with pytest.raises(CaseloadError, match="no goal 2; it has 1"):
        goals.change_goal(caseload, None, 2, {"ended": "met"})


def test_a_visit_has_a_kind_and_a_day_that_has_come(caseload: CaseloadHandle) -> None:
    visits.add_visit(caseload, None, minutes=45)
    visits.add_visit(caseload, None, "family", on=dt.date(2026, 2, 1))
    found = [(row["on"], row["kind"], row["minutes"]) for row in visits.list_visits(caseload, None)]
    assert found == [("2026-02-01", "called off by the family", ""), ("2026-03-02", "attended", 45)]
    with pytest.raises(UsageError, match="later than today"):
        visits.add_visit(caseload, None, on=dt.date(2026, 3, 9))
    visits.remove_visit(caseload, None, 1)
    assert [row["kind"] for row in visits.list_visits(caseload, None)] == ["called off by the family"]


def test_practice_is_kept_by_cue_and_is_no_session(caseload: CaseloadHandle) -> None:
    marks = [
        {"said": "sun", "word": "sun", "heard": "correct", "cue": "M"},
        {"said": "soap", "word": "soap", "heard": "distorted", "cue": "M"},
        {"said": "sun", "word": "sun", "heard": "correct", "cue": "S"},
        {"said": "soap", "word": "soap", "heard": "not_scorable", "cue": "S"},
    ]
    runs.keep_run(caseload, None, "word", marks)
    found = {row["cue"]: (row["correct"], row["said"]) for row in runs.list_runs(caseload, None)}
    assert found == {"model": (1, 2), "spontaneous": (1, 1)}
    with caseload.opened() as one:
        case = store.read_case(one, "C-7QXK")
    assert case.sessions == () and set(case.client.treated) == {"sun", "soap"}
    with pytest.raises(WordError):
        runs.keep_run(caseload, None, "word", [{"said": "sun", "heard": "fine"}])


def test_all_of_it_goes_with_the_client_and_leaves_no_word_in_the_trail(caseload: CaseloadHandle) -> None:
    goals.add_goal(caseload, None, "says quincunx", {"level": "word"})
    goals.drop_phrase(caseload, "says quincunx")
    visits.add_visit(caseload, None)
    runs.keep_run(caseload, None, "word", [{"said": "quincunx", "heard": "correct"}])
    with caseload.opened() as one:
        assert not any("quincunx" in entry.detail for entry in store.audit_trail(one, "C-7QXK"))
        store.remove_client(one, "C-7QXK", "all")
    assert b"quincunx" not in b"".join(p.read_bytes() for p in caseload.folder.rglob("*") if p.is_file())


@pytest.mark.parametrize("text", ["0% x2", "101%", "90% x0", "90% x00 n10", "90% n000", "often"])
def test_a_criterion_with_a_nought_or_in_words_is_refused_as_a_rule_is(text: str) -> None:
    with pytest.raises(UsageError, match=r"^criterion .*: write share, sessions running and sounds, as in '80% x2"):
        goals.read_criterion(text)
    with pytest.raises(UsageError, match=r"^rule .*: write share, sessions running and tokens, as in '80% x2 n20'"):
        clients.read_move_up(text)
