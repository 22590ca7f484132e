"""What each kind holds, in which order, and what is said aloud when it is missing."""

from __future__ import annotations

import dataclasses
import datetime as dt
from types import ModuleType

import pytest

from sibilant import charts, report
from sibilant.report import plain
from sibilant.terms.clinic import Event
from sibilant.terms.document import Blank, Box, Facts, Paragraph, Picture, Table
from sibilant.terms.reference import INSIDE_SENTENCE

NEVER_KEPT = {
    "payer": (
        "Name",
        "Birth date",
        "Identifiers",
        "Referrer",
        "Diagnosis and code",
        "Service codes",
        "Plan dates",
        "Frequency and duration",
        "Standardised measure and score",
        "Function at start",
        "Function now",
        "Prognosis",
        "credentials and licence",
        "Signature and date",
    ),
    "family": ("For", "How", "What goes well at home", "Questions, and whom to ask"),
    "school": ("Name", "Birth date", "Educational effect", "Goal, in the school team's words", "Signature and date"),
    "discharge": ("Name", "Criterion for closing", "Follow-up plan", "Signature and date"),
    "session": ("Name", "Reading, goal status", "Next level, home practice, next probe"),
    "monthly": ("Name", "Next month", "Signature and date"),
    "quarterly": ("Name", "Clinician's reading", "Signature and date"),
}


@pytest.mark.parametrize("kind", report.KINDS)
def test_fields_of_the_clinician_stand_empty(kind: str, invented: ModuleType, settings: report.ReportSettings) -> None:
    document = report.compose(kind, invented.case(1), settings)  # type: ignore[arg-type]
    labels = " | ".join(part.label for part in document.parts if isinstance(part, Blank))
    for wanted in NEVER_KEPT[kind]:
        assert wanted in labels
    assert {field.name for field in dataclasses.fields(Blank)} == {"label", "n_lines", "by_hand"}, (
        "nowhere to keep what is written"
    )


@pytest.mark.parametrize("kind", [kind for kind in report.KINDS if kind != "family"])
def test_notes_that_always_stand(kind: str, invented: ModuleType, settings: report.ReportSettings) -> None:
    document = report.compose(kind, invented.case(1), settings)  # type: ignore[arg-type]
    said = " ".join(part.text for part in document.parts if isinstance(part, Paragraph))
    assert charts.SUPPORTING in said and charts.NO_CAUSE in said
    (box,) = [part for part in document.parts if isinstance(part, Box)]
    assert len(box.lines) == 5 and "house-15k/2" in box.lines[1] and "1–15 kHz, power-weighted" in box.lines[1]
    assert document.mark == "Invented data – not a person"


@pytest.mark.parametrize("kind", ["monthly", "quarterly", "discharge"])
def test_heard_comes_first_and_words_before_figures(
    kind: str, invented: ModuleType, settings: report.ReportSettings
) -> None:
    document = report.compose(kind, invented.case(1), settings)  # type: ignore[arg-type]
    order = [part.text for part in document.parts if hasattr(part, "text")]
    assert order.index("What was heard") < order.index("What was measured")
    parts = [part for part in document.parts if not isinstance(part, Facts | Blank)]
    first_table = next(n for n, part in enumerate(parts) if isinstance(part, Table))
    first_sentence = next(n for n, part in enumerate(parts) if isinstance(part, Paragraph))
    assert first_sentence < first_table


@pytest.mark.parametrize("kind", ["school", "payer", "monthly"])
def test_one_acoustic_row_at_most(kind: str, invented: ModuleType, settings: report.ReportSettings) -> None:
    document = report.compose(kind, invented.case(1), settings)  # type: ignore[arg-type]
    tables = [part for part in document.parts if isinstance(part, Table)]
    acoustic = [row for table in tables if "Measured" in table.caption for row in table.rows]
    assert len(acoustic) == 1


@pytest.mark.parametrize("kind", ["school", "payer", "family"])
def test_who_reads_no_figures_is_told_counts_and_the_figures_stand_in_an_appendix(
    kind: str, invented: ModuleType, settings: report.ReportSettings, reading: ModuleType
) -> None:
    document = report.compose(kind, invented.case(1), settings)  # type: ignore[arg-type]
    body = dataclasses.replace(document, parts=document.body)
    text = "\n".join((*reading.running(body), *reading.cells(body)))
    for never in ("Hz", "p <", "p =", "McNemar", "house-15k", "looked at", "Wilson", "smallest detectable"):
        assert never not in text, never
    assert "may lie between" in text and len([p for p in body.parts if isinstance(p, Picture)]) == 1
    assert (len(document.body) == len(document.parts)) == (kind == "family")


def test_an_event_stands_in_the_text_beside_the_probes_it_lies_between_but_not_for_a_school(
    invented: ModuleType, settings: report.ReportSettings
) -> None:
    view = dataclasses.replace(invented.case(1), events=(Event(dt.date(2026, 4, 1), "upper incisors lost"),))
    told = "1 April 2026 (between the probes of 7 March 2026 and 6 April 2026): upper incisors lost"
    for kind in ("monthly", "quarterly", "discharge", "payer"):
        assert told in _all(report.compose(kind, view, settings)), kind
    for kind in ("school", "family"):
        body = dataclasses.replace(
            report.compose(kind, view, settings), parts=report.compose(kind, view, settings).body
        )
        assert "incisors" not in "\n".join(_all(body))


def test_a_range_is_shown_only_where_it_was_ticked(invented: ModuleType, settings: report.ReportSettings) -> None:
    view = invented.case(1)
    without = "\n".join(_all(report.compose("school", view, settings)))
    assert "No published range is shown." in without and INSIDE_SENTENCE not in without
    bracket = charts.RangeBracket(5200, 6600, "5200 to 6600 Hz, 10 women.", "somebody 2018")
    sentence = (
        "The measured value lies above the range published for women (somebody 2018), measured with open-adult/1."
    )
    ticked = dataclasses.replace(settings, bracket=bracket, range_sentence=sentence)
    with_range = "\n".join(_all(report.compose("school", view, ticked)))
    assert sentence in with_range and INSIDE_SENTENCE in with_range and "Source: somebody 2018" in with_range


def _all(document: object) -> list[str]:
    texts = []
    for part in document.parts:  # type: ignore[attr-defined]
        texts += [getattr(part, "text", ""), *getattr(part, "lines", ()), *getattr(part, "items", ())]
    return texts


def test_what_is_missing_is_said(invented: ModuleType, settings: report.ReportSettings) -> None:
    view = invented.case(1, n_baseline=2, n_later=2, judged=False, missing=3, other_device_in=4)
    said = " ".join(plain.missing_lines(view, settings))
    for wanted in (
        "Hearing status unknown",
        "No published range fits this age and recording",
        "Baseline probes: 2",
        "Not judged by ear: the probes of",
        "left out: voiced 1, weak 2",
        "Session 4 is not joined: another device",
        "Agreement of two listeners: not checked",
    ):
        assert wanted in said
    known = dataclasses.replace(view.client, hearing="screened, passed")
    assert "Hearing status unknown" not in " ".join(
        plain.missing_lines(dataclasses.replace(view, client=known), settings)
    )


def test_session_note_leaves_reading_and_plan_to_the_person(
    invented: ModuleType, settings: report.ReportSettings
) -> None:
    view = invented.case(1)
    last = view.summaries[-1]
    noted = dataclasses.replace(last, session=dataclasses.replace(last.session, note="tired, a cold"))
    document = report.compose("session", dataclasses.replace(view, summaries=(*view.summaries[:-1], noted)), settings)
    headings = [part.text for part in document.parts if part.__class__.__name__ == "Heading"]
    assert [h[0] for h in headings] == ["S", "O", "A", "P"]
    places = {
        h[0]: n for n, h in ((n, p.text) for n, p in enumerate(document.parts) if p.__class__.__name__ == "Heading")
    }
    after_a = document.parts[places["A"] + 1 : places["P"]]
    after_p = document.parts[places["P"] + 1 : places["P"] + 2]
    assert all(isinstance(part, Blank) for part in (*after_a, *after_p))
    facts = [part for part in document.parts if isinstance(part, Facts)]
    assert any("tired, a cold" in row for part in facts for row in part.rows)
    assert any(part.by_person for part in facts)


def test_a_session_note_of_an_earlier_day_knows_nothing_of_later(
    invented: ModuleType, settings: report.ReportSettings
) -> None:
    view = invented.case(1)
    early = report.compose("session", view, dataclasses.replace(settings, session=5))
    text = "\n".join([early.subject, *_all(early)])
    assert plain.day_text(view.summaries[4].on) in text
    for later in view.summaries[5:]:
        assert plain.day_text(later.on) not in text
    with pytest.raises(ValueError, match="no session 99"):
        report.compose("session", view, dataclasses.replace(settings, session=99))


def test_what_a_person_wrote_is_never_reworded(invented: ModuleType, settings: report.ReportSettings) -> None:
    view = dataclasses.replace(invented.case(1), events=(Event(dt.date(2026, 4, 1), "mother says: much better"),))
    document = report.compose("quarterly", view, settings)
    assert "): mother says: much better" in "\n".join(_all(document))


def test_an_empty_case_is_a_report_that_says_so(invented: ModuleType, settings: report.ReportSettings) -> None:
    view = dataclasses.replace(invented.case(1), summaries=(), changes=(), errors=(), gained=None, spreads=())
    for kind in report.KINDS:
        document = report.compose(kind, view, settings)
        assert "No probe has been recorded yet." in "\n".join(_all(document))
        assert report.render(document, "pdf").startswith(b"%PDF")


def test_another_kind_is_refused(invented: ModuleType, settings: report.ReportSettings) -> None:
    with pytest.raises(ValueError, match="monthly, quarterly"):
        report.compose("weekly", invented.case(1), settings)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="html, pdf or docx"):
        report.render(report.compose("school", invented.case(1), settings), "odt")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text",
    [
        "normal speech",
        "Abnormal",
        "this proves it",
        "caused by teeth",
        "a lisp",
        "a lisper",
        "significant change",
        "cured",
        "speech disorder",
        "prognosis is good",
        "better than before",
        "improved",
        "other children",
    ],
)
def test_forbidden_words_are_caught(text: str) -> None:
    assert report.forbidden_in(text)
