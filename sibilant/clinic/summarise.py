"""Progress of one client: the view that charts, reports and the page share, and its sessions as rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from .. import progress, store
from ..errors import UsageError
from ..terms import MEASURES
from ..terms.case_view import CaseView
from ..terms.clinic import Case
from ..terms.summaries import SessionSummary
from .answers import ProgressRow
from .caseload import CaseloadHandle, client_or_last, opened, used
from .lending import lent_to
from .worked_out import with_interval

WORDS: dict[str, progress.Words] = {"untreated": "untreated", "treated": "treated", "all": "all"}


def case_view(
    caseload: CaseloadHandle,
    code: str | None = None,
    *,
    measures: Sequence[str] = (),
    words: str = "untreated",
    rater: str = "",
) -> tuple[CaseView, Case]:
    """Return everything of one client, computed, and what it was computed from.

    Raises
    ------
    UsageError
        When a measure or a set of words is not known.
    """
    _check_asked(measures, words)
    with opened(caseload) as one:
        name = client_or_last(one, code)
        case = store.read_case(one, name)
        asked = _with_what_is_lent(one, case, measures, words, rater)
        if one.setting("last_client") != name:
            used(one, name)
    return progress.view(case, asked), case


def view_of(
    caseload: CaseloadHandle, case: Case, *, measures: Sequence[str] = (), words: str = "untreated", rater: str = ""
) -> CaseView:
    """Return everything of one client, computed from a case that is at hand.

    Raises
    ------
    UsageError
        When a measure or a set of words is not known.
    """
    _check_asked(measures, words)
    with opened(caseload) as one:
        asked = _with_what_is_lent(one, case, measures, words, rater)
    return progress.view(case, asked)


def _with_what_is_lent(
    one: store.Caseload, case: Case, measures: Sequence[str], words: str, rater: str
) -> progress.ViewRequest:
    asked = progress.ViewRequest(tuple(measures), WORDS[words], rater, store.day_of(one))
    found = lent_to(one, case, asked)
    lent = {place: given.lent for place, given in found.given.items() if given.lent is not None}
    return replace(asked, lent=lent, not_lent=found.reasons, questions=found.asked)


def _check_asked(measures: Sequence[str], words: str) -> None:
    unknown = [key for key in measures if key not in MEASURES]
    if unknown:
        raise UsageError(f"measure {unknown[0][:40]!r} is not known; docs/measures.md lists them, such as centroid_hz")
    if words not in WORDS:
        raise UsageError(f"--words {words[:20]!r}: untreated, treated or all")


def session_rows(view: CaseView, key: str = "") -> list[ProgressRow]:
    """Return one row a session: day, conditions, accuracy by ear with its interval, the measure with its interval."""
    return [_session_row(one, key or view.main_measure) for one in view.summaries]


def nearest_sounds(view: CaseView, key: str = "") -> dict[int, tuple[str, str]]:
    """Return by session the token (key, word) whose value lies nearest the session's mean: what the figure sounds like.

    Only words whose sound is kept; a session without a figure, or without sound, has none.
    """
    found: dict[int, tuple[str, str]] = {}
    for one in view.summaries:
        summary = one.measures.get(key or view.main_measure)
        heard = [word for word in summary.words if word.clip] if summary is not None else []
        if summary is not None and heard:
            near = min(heard, key=lambda word: (abs(word.value - summary.mean), word.key))
            found[one.number] = (near.key, near.word.split("#")[0])
    return found


def _session_row(one: SessionSummary, key: str) -> ProgressRow:
    row: ProgressRow = {
        "session": one.number,
        "on": one.on.isoformat(),
        "phase": one.phase,
        "level": one.session.level,
        "cue": one.session.cue,
        "device": one.session.device,
        "correct": "",
        "by ear": "",
    }
    if one.accuracy is not None and one.accuracy.n_scored:
        found = one.accuracy
        row["correct"] = f"{found.n_correct} of {found.n_scored}"
        row["by ear"] = f"{100 * found.share:.0f} % ({100 * found.low:.0f} to {100 * found.high:.0f})"
    summary = one.measures.get(key)
    if summary is None:
        row["figure"] = f"judge first ({one.n_tokens - one.n_judged} left)" if not one.shown else ""
    elif summary.n_words:
        apart = f", {summary.method}" if summary.apart else ""
        row["figure"] = f"{with_interval(key, summary.mean, summary.low, summary.high)}{apart}"
    row["measured"] = f"{summary.n_measured} of {summary.n_expected}" if summary is not None else ""
    row["checked"] = f"{one.n_checked} of {one.n_tokens}"
    return row
