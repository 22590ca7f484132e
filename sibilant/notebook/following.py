"""A caseload's folder comes in and is opened; one client comes in and sessions, changes and a chart go out."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from .. import charts
from ..clinic import months_chart, summarise, worked_out
from ..clinic.caseload import CaseloadHandle, usual_folder
from ..demo import job
from ..tables import Column, Row, as_frame
from ..terms import MEASURES
from ..terms.case_view import CaseView
from ..terms.clinic import Case
from .picture import Picture, short

if TYPE_CHECKING:
    import pandas as pd

SESSIONS = (
    Column("session", "integer", "Number of the session"),
    Column("on", "string", "Its day, as 2026-01-12"),
    Column("month", "number", "Months from the first baseline", "", 2),
    Column("phase", "string", "Baseline, treatment, maintenance, follow-up"),
    Column("measure", "string", "Key of the measure"),
    Column("unit", "string", "Unit of mean, low, high, sd"),
    Column("mean", "number", "Mean over words of /s/"),
    Column("low", "number", "Lower end of its 95 % interval"),
    Column("high", "number", "Upper end of its 95 % interval"),
    Column("sd", "number", "SD over words"),
    Column("n_words", "integer", "Words measured"),
    Column("n_expected", "integer", "Places where the sound was expected"),
    Column("method", "string", "Name and version of the method"),
    Column("n_correct", "integer", "Judged correct by ear"),
    Column("n_scored", "integer", "Judged by ear and scorable"),
    Column("apart", "string", "Why the session does not stand on the baseline's line"),
)
CHANGES = (
    Column("measure", "string", "Key of the measure"),
    Column("session", "integer", "Number of the session"),
    Column("verdict", "string", "larger than error, within error, or cannot be judged"),
    Column("word", "string", "higher, lower, longer, shorter, or none"),
    Column("difference", "number", "Mean over words measured in both, this session less the baseline"),
    Column("low", "number", "Lower end of its 95 % interval"),
    Column("high", "number", "Upper end of its 95 % interval"),
    Column("limit", "number", "Larger than this is larger than error"),
    Column("exploratory", "string", "yes for a measure beside the main one"),
    Column("reasons", "string", "Why it cannot be judged, or needs care"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """One client over sessions: ``table``, ``changes``, ``summary``, ``plot()``.

    Figures of a session are there once its words are judged by ear. They support, and never replace, clinical
    judgement.

    Examples
    --------
    See ``follow``, which makes one.

    >>> Followed.__slots__[:4]
    ('client', 'table', 'changes', 'summary')
    """

    client: str
    table: pd.DataFrame = field(repr=False)
    changes: pd.DataFrame = field(repr=False)
    summary: tuple[str, ...]
    view: CaseView = field(repr=False)
    _case: Case = field(repr=False)

    def plot(self, measure: str = "") -> Picture:
        """Return the months chart of a measure, the main one without a name.

        Raises
        ------
        OutputError
            When nothing was measured yet.
        """
        method = months_chart.method_of(self.view, self._case)
        figure = charts.months_chart(self.view, method=method, key=measure)
        return Picture(figure, charts.alt_text(figure))

    def __repr__(self) -> str:
        n = len(self.view.summaries)
        return f"Followed({self.client}: {n} sessions; .table .changes .summary .plot())"

    def _repr_html_(self) -> str:
        main = self.table[self.table["measure"].isin([self.view.main_measure, ""])]
        shown = main.drop(columns=["unit", "method"]).to_html(index=False, na_rep="", float_format=short, border=0)
        told = f"{self.client}: {MEASURES[self.view.main_measure].name} of /s/ by session. {worked_out.SUPPORT}"
        return f"<p>{escape(told)}</p>{shown}"


def open_caseload(folder: str | os.PathLike[str] | None = None, *, who: str = "") -> CaseloadHandle:
    """Open a caseload that is there.

    Parameters
    ----------
    folder : path, optional
        Where it lies; ``SIBILANT_CASELOAD`` or the usual place without it.
    who : str
        Code of the person who works in it, for the audit trail.

    Returns
    -------
    CaseloadHandle
        What ``follow`` and the verbs of ``sibilant.clinic`` take; it looks anew at each step.

    Raises
    ------
    CaseloadError
        When there is none, or its passphrase is wrong (``SIBILANT_PASSPHRASE``, or asked in a terminal).

    Notes
    -----
    docs/caseload.md tells what is kept, docs/security.md what protects it.

    Examples
    --------
    >>> open_caseload("nowhere")
    Traceback (most recent call last):
    sibilant.errors.CaseloadError: nowhere: no caseload here; start one with: ... --caseload)
    """
    caseload = CaseloadHandle(usual_folder(None if folder is None else Path(folder)), who)
    with caseload.opened():
        return caseload


def demo_case(folder: str | os.PathLike[str], client: str = "C-7QXK") -> CaseloadHandle:
    """Return a caseload with one invented client, made in a folder if it is not there yet (some seconds).

    Parameters
    ----------
    folder : path
        A new folder, or one that an earlier call filled.
    client : str
        Code of one of the demo's invented clients.

    Returns
    -------
    CaseloadHandle
        Invented data – not a person.

    Raises
    ------
    UsageError
        When no invented client has that code.
    OutputError
        When the folder holds something else.

    Notes
    -----
    docs/synthetic.md tells how the clients were invented.

    Examples
    --------
    >>> demo_case("somewhere", "C-2222")
    Traceback (most recent call last):
    sibilant.errors.UsageError: ...
    """
    return job.one_client(Path(folder), client)


def follow(
    caseload: CaseloadHandle, client: str = "", *, measures: Sequence[str] = (), words: str = "untreated"
) -> Followed:
    """Follow one client over sessions: means with intervals, change against measurement error, judgements by ear.

    Parameters
    ----------
    caseload : CaseloadHandle
        What ``open_caseload`` or ``demo_case`` gave.
    client : str
        The client's code; the one used last without it.
    measures : sequence of str
        Keys of ``MEASURES`` to look at beside the main one.
    words : str
        Which words count: ``untreated``, ``treated`` or ``all``.

    Returns
    -------
    Followed
        With ``table`` (a row a session and measure), ``changes``, ``summary``, ``plot()``.

    Raises
    ------
    UsageError
        When a measure or a set of words is not known.
    CaseloadError
        When there is no such client.

    Notes
    -----
    docs/change.md holds the rule of change with its source, docs/caseload.md what a session keeps.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     followed = follow(demo_case(folder, "C-A83L"))
    >>> followed.client, set(followed.changes["verdict"]) <= {"larger than error", "within error", "cannot be judged"}
    ('C-A83L', True)
    """
    view, case = summarise.case_view(caseload, client or None, measures=measures, words=words)
    table, changes = as_frame(_session_rows(view), SESSIONS), as_frame(_change_rows(view), CHANGES)
    return Followed(view.client.code, table, changes, tuple(worked_out.lines(view)), view, case)


def _session_rows(view: CaseView) -> list[Row]:
    rows: list[Row] = []
    for one in view.summaries:
        head: Row = {
            "session": one.number, "on": one.on.isoformat(), "month": one.month, "phase": one.phase,
            "n_correct": one.accuracy.n_correct if one.accuracy is not None else None,
            "n_scored": one.accuracy.n_scored if one.accuracy is not None else None, "apart": "; ".join(one.apart),
        }  # fmt: skip
        for key, measured in one.measures.items() if one.shown else ():
            figures: Row = {name: _finite(getattr(measured, name)) for name in ("mean", "low", "high", "sd")}
            counts: Row = {"n_words": measured.n_words, "n_expected": measured.n_expected, "method": measured.method}
            rows.append({**head, "measure": key, "unit": MEASURES[key].unit, **figures, **counts})
        if not (one.shown and one.measures):
            rows.append(head)
    return rows


def _change_rows(view: CaseView) -> list[Row]:
    return [
        {
            "measure": one.key, "session": one.session, "verdict": one.verdict, "word": one.word,
            "difference": _finite(one.difference), "low": _finite(one.low), "high": _finite(one.high),
            "limit": _finite(one.limit), "exploratory": "yes" if one.exploratory else "no",
            "reasons": "; ".join(one.reasons),
        }
        for one in view.changes
    ]  # fmt: skip


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
