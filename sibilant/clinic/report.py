"""The verb ``report``: one client's view composed, rendered and written; published ranges only where ticked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from .. import files, lexicon, methods, ranges
from ..errors import OutputError, UsageError
from ..ranges import Question
from ..terms import Method
from ..terms.case_view import CaseView
from ..terms.clinic import Case
from ..terms.document import Blank, Document, Paragraph
from ..terms.kept import KeptToken
from ..terms.reference import Comparison
from ..terms.vocabulary import REPORT_KINDS
from .caseload import CaseloadHandle
from .compare import Measured, own_ranges, token_values

if TYPE_CHECKING:
    from ..charts import RangeBracket
    from ..report import ReportSettings
    from ..report.render import Format

FORMS: dict[str, Format] = {".pdf": "pdf", ".html": "html", ".docx": "docx"}
NOT_CHOSEN = "No published range was chosen to be shown; values are compared with the client's own baseline."
NONE_FITS = "No published range fits this age and recording; values are compared with the client's own baseline."


@dataclass(frozen=True, slots=True)
class Ticked:
    """What the clinician ticked: a published range, a session other than the last, which words, whose ear.

    ``filled``: what was written into fields that only a clinician can fill, as pairs of label and text. ``filed_as``:
    the clinic's own name for the client's file, printed beside the code and kept nowhere.
    """

    published_range: bool = False
    session: int | None = None
    words: str = "untreated"
    rater: str = ""
    filled: tuple[tuple[str, str], ...] = ()
    filed_as: str = ""


def make_report(
    caseload: CaseloadHandle, client: str | None, kind: str, path: Path, *, ticked: Ticked | None = None
) -> Document:
    """Write one report of a client.

    Parameters
    ----------
    caseload : CaseloadHandle
        The caseload, as the door opened it.
    client : str or None
        The client's code, or None for the one used last.
    kind : str
        ``monthly``, ``quarterly``, ``school``, ``payer``, ``family``, ``session`` or ``discharge``.
    path : Path
        Where it goes: ``.pdf``, ``.html`` or ``.docx`` (the editing copy).
    ticked : Ticked, optional
        What was chosen for this report.

    Returns
    -------
    Document
        What was written.

    Raises
    ------
    UsageError
        For another kind or ending, or a session that the client doesn't have.
    CaseloadError
        When there is no such caseload or client.
    OutputError
        When the place can't be written.
    """
    from .summarise import case_view

    chosen = ticked or Ticked()
    REPORT_KINDS.read(kind)
    form_of(path)
    view, case = case_view(caseload, client, words=chosen.words, rater=chosen.rater)
    return write_report(kind, view, case, path, ticked=chosen, caseload=caseload)


def report_bytes(
    caseload: CaseloadHandle, client: str | None, kind: str, form: str, *, ticked: Ticked | None = None
) -> bytes:
    """Compose one report of a client and return it as ``pdf``, ``html`` or ``docx``; nothing is written anywhere.

    Raises
    ------
    UsageError
        For another kind or form, or a session that the client doesn't have.
    CaseloadError
        When there is no such caseload or client.
    """
    from .. import report

    known = form_of(Path(f"report.{form}"))
    return report.render(report_document(caseload, client, kind, ticked or Ticked(), form=known), known)


def report_document(
    caseload: CaseloadHandle, client: str | None, kind: str, ticked: Ticked, *, form: str = "html"
) -> Document:
    """Compose one report of a client without rendering it: what is shown before it is made.

    Raises
    ------
    UsageError, CaseloadError
        As :func:`report_bytes` does.
    """
    from .summarise import case_view

    known = REPORT_KINDS.read(kind)
    view, case = case_view(caseload, client, words=ticked.words, rater=ticked.rater)
    document = compose_report(known, view, case, ticked, form=form, caseload=caseload)
    return filled_in(document, dict(ticked.filled))


def filled_in(document: Document, filled: Mapping[str, str]) -> Document:
    """Put what a person wrote where a field of that label stands empty; other fields stay to be filled by hand.

    Examples
    --------
    >>> from sibilant.terms.document import Blank
    >>> filled_in(Document("note", "A", (Blank("Goal"), Blank("Plan"))), {"Goal": "to 80 %"}).parts[0].text
    'Goal: to 80 %'
    """
    parts = [
        Paragraph(f"{part.label}: {filled[part.label]}", by_person=True)
        if isinstance(part, Blank) and filled.get(part.label, "").strip()
        else part
        for part in document.parts
    ]
    return replace(document, parts=tuple(parts))


def write_report(
    kind: str, view: CaseView, case: Case, path: Path, *, ticked: Ticked, caseload: CaseloadHandle | None = None
) -> Document:
    """Compose one report from a view, render it and write it; see ``make_report``."""
    from .. import report

    form = form_of(path)
    document = compose_report(kind, view, case, ticked, form=form, caseload=caseload)
    files.write_bytes(path, report.render(document, form))
    return document


def form_of(path: Path, what: str = "a report") -> Format:
    """Return ``pdf``, ``html`` or ``docx`` from a path's ending; ``what`` is written there, for the error.

    Raises
    ------
    UsageError
        For another ending.
    """
    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise UsageError(f"{path.name}: {what} ends in .pdf, .html or .docx")
    return form


def compose_report(
    kind: str, view: CaseView, case: Case, ticked: Ticked, *, form: str = "pdf", caseload: CaseloadHandle | None = None
) -> Document:
    """Compose one report from a view and what it was computed from.

    Raises
    ------
    UsageError
        When the client has no such session.
    """
    from .. import report

    known = [session.number for session in case.sessions]
    if ticked.session is not None and ticked.session not in known:
        shown = ", ".join(str(number) for number in known) or "none"
        raise UsageError(f"{view.client.code}: no session {ticked.session}; there are: {shown}")
    settings = settings_of(view, case, ticked, form=form, caseload=caseload)
    document = report.compose(REPORT_KINDS.read(kind), view, settings)
    filed = " · ".join(text for text in (document.subject, f"file {ticked.filed_as}") if text)
    return replace(document, subject=filed) if ticked.filed_as else document


def settings_of(
    view: CaseView, case: Case, ticked: Ticked, *, form: str = "pdf", caseload: CaseloadHandle | None = None
) -> ReportSettings:
    """Method, range or the reason for none, sampling rates and picture formats of a report."""
    from ..report import ReportSettings

    found = comparison_of(view, case, caseload=caseload)
    method, fits = method_of(view, case), found.range is not None
    said = found.statement if ticked.published_range and fits else ""
    return ReportSettings(
        method,
        bracket=bracket_of(found, method) if said else None,
        range_sentence=said,
        no_range=NOT_CHOSEN if fits else NONE_FITS,
        session=ticked.session,
        sampling_rates_hz=_rates_hz(case.tokens),
        picture_forms=("png",) if form == "docx" else ("svg",),
        known_lists=lexicon.list_names(),
    )


def bracket_of(found: Comparison, method: Method) -> RangeBracket | None:
    """Return a range for the chart's margin: only one measured under the chart's own method, or under none."""
    row = found.range
    if row is None or found.band is None or row.method not in ("", method.name):
        return None
    from ..charts import RangeBracket

    low, high = found.band
    if any(ranges.open_sides(row, found.band)):
        return None  # a bracket would show a side that cannot be left; the sentence says which
    unit = f" {row.unit}" if row.unit else ""
    text = f"{low:.0f} to {high:.0f}{unit} for a new speaker; {row.population.words}."
    return RangeBracket(low, high, text, f"{row.basis.citation} {row.basis.label}")


def method_of(view: CaseView, case: Case) -> Method:
    """Return the method whose figures a view holds; before anything was measured, the client's own."""
    from .months_chart import method_of as method_measured

    try:
        return method_measured(view, case)
    except OutputError:
        return methods.get_method(view.client.method)


def comparison_of(view: CaseView, case: Case, *, caseload: CaseloadHandle | None = None) -> Comparison:
    """Set the last probe's main measure beside a published range that fits, or say why that can't be.

    Sounds are compared as they were kept; where a range needs another method the answer is "not comparable" with that
    reason. Dialect and second-language speakers are asked against their own baseline only.
    """
    client, last = view.client, view.last
    tokens = case.tokens_of(last.number) if last is not None else ()
    spoken: list[Measured] = [
        (token.sound, token.measurements.get(label)) for token in tokens for label in sorted(token.measurements) or [""]
    ]
    question = Question(
        view.main_measure,
        age_months=last.age_months if last is not None else client.age_months,
        group=ranges.read_group(client.group),
        position="initial",
        level=last.session.level if last is not None else "",
        cue=last.session.cue if last is not None else "",
        dialect=client.dialect,
        own_baseline=bool(client.language) and not client.language.lower().startswith("english"),
    )
    return ranges.compare(token_values(spoken, view.main_measure), question, own=own_ranges(caseload))


def _rates_hz(tokens: tuple[KeptToken, ...]) -> tuple[int, ...]:
    found = {
        found.measures.sampling_rate_hz
        for kept in tokens
        for found in kept.measurements.values()
        if found.measures.sampling_rate_hz
    }
    return tuple(sorted(found))
