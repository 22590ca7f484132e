"""Kinds of error, consistency, goals and visits, told to each reader, against counts worked by hand. Invented data."""

from __future__ import annotations

import datetime as dt
import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import progress, report
from sibilant.report import errors, goals
from sibilant.terms.care import Goal, Visit
from sibilant.terms.case_view import CaseView
from sibilant.terms.document import Table

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def material() -> ModuleType:
    if "told_material" not in sys.modules:
        spec = importlib.util.spec_from_file_location("told_material", HERE.parent / "progress" / "material.py")
        assert spec is not None and spec.loader is not None
        sys.modules["told_material"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["told_material"])
    return sys.modules["told_material"]


@pytest.fixture(scope="module")
def told(material: ModuleType) -> CaseView:
    """Four probes; in the last 12 right, 5 frontal (4 of them initial), 2 left out at the end, 1 with a t."""
    case = material.case([6000] * 4)
    marks = {n: ("distorted", {"types": ("frontal",)}) for n in (1, 2, 3, 4, 7)}
    marks |= {11: ("omitted", {}), 12: ("omitted", {}), 20: ("substituted", {"substitute": "t"})}
    tokens = []
    for token in case.tokens:
        heard, more = marks.get(token.prompt_index, ("correct", {})) if token.session == 4 else ("correct", {})
        tokens.append(replace(token, judgements=(material.judgement(token.key, heard, **more),)))
    day = material.DAY
    aims = (
        Goal(1, "says /s/ in words", "word", "spontaneous", share=0.6, n_sessions=2, made_on=day),
        Goal(2, "says /s/ in words without thinking", "word", "spontaneous", share=0.9, n_sessions=1, made_on=day),
        Goal(3, "says /s/ in talk", "conversation", made_on=day, by_on=day + dt.timedelta(days=200)),
    )
    visits = (Visit(1, day, "attended", 45), Visit(2, day + dt.timedelta(days=7), "called off by the family", 45))
    return progress.view(replace(case, tokens=tuple(tokens), goals=aims, visits=visits))


def test_kinds_of_error_by_position_add_up(told: CaseView) -> None:
    last = [one for one in told.heard if one.session == 4]
    counted = {(one.by, one.value): (one.n_correct, one.n_scored) for one in last}
    assert counted == {  # words 1-6 and 15-20 initial, 7-10 medial, 11-14 final
        ("probe", ""): (12, 20),
        ("position", "initial"): (7, 12),
        ("position", "medial"): (3, 4),
        ("position", "final"): (2, 4),
    }


def test_each_reader_is_told_in_its_own_words(told: CaseView) -> None:
    technical = errors.errors_sentence(told, "supervisor")
    assert technical == (
        "Not correct on 25 February 2026: 8 of 20 (distorted (frontal) 5, left out 2, another sound instead: t 1)."
    )
    assert "heard with the tongue forward 5, left out 2" in errors.errors_sentence(told, "school")
    rows = {
        row[0]: row[1:] for part in errors.errors_heard(told, "payer") if isinstance(part, Table) for row in part.rows
    }
    assert rows["At the end of words"] == ("2 of 4", "left out 2")


def test_goals_are_counted_from_the_probes_at_their_level(told: CaseView) -> None:
    assert [goals.standing(told, goal) for goal in told.goals] == [
        "met",  # 20 of 20, then 12 of 20: both at 60 %
        "not met",  # 12 of 20
        "cannot be told (0 of 2 probes judged at this level and help)",
    ]
    (table,) = goals.goals_table(told, "school")
    assert isinstance(table, Table) and table.rows[0][1:3] == (
        "20 of 20 on 12 January 2026",
        "12 of 20 on 25 February 2026",
    )
    assert table.rows[2][0] == "says /s/ in talk (conversation)" and "by 31 July 2026" in table.rows[2][3]


def test_visits_are_counted_by_kind(told: CaseView) -> None:
    assert goals.visits_sentence(told) == (
        "1 of 2 appointments attended (45 minutes) from 12 January 2026 to 19 January 2026; 1 called off by the family."
    )


def test_three_sayings_alike_or_not(material: ModuleType) -> None:
    """Three sets: right three times, left out three times, right and left out."""
    session = material.session(1, level="set-of-three")
    tokens = []
    for place, heard in enumerate(["correct"] * 3 + ["omitted"] * 3 + ["correct", "omitted", "correct"]):
        made = material.token(place, None, prompt=material.prompt_of(place // 3))
        tokens.append(material.kept(1, made, material.judgement(made.sound.id, heard), level="set-of-three"))
    case = replace(material.case([6000]), sessions=(session,), tokens=tuple(tokens))
    (one,) = progress.view(case).consistency
    assert (one.n_sets, one.n_correct, one.n_same_error, one.n_mixed) == (3, 1, 1, 1)


def test_a_family_page_is_warm_and_whole_on_one_page(
    told: CaseView, settings: report.ReportSettings, reading: ModuleType
) -> None:
    document = report.compose("family", told, settings)
    text = "\n".join(reading.running(document))
    assert "On 25 February 2026, 12 of 20 had a clear s (single words, without help)." in text
    assert "In 8 the s was not clear yet." in text and document.large_print and "distorted" not in text
    pdf = report.render(document, "pdf")
    import io

    import pikepdf

    with pikepdf.open(io.BytesIO(pdf)) as read:
        assert len(read.pages) == 1
