"""What was heard where /s/ was not correct: kinds of error with n of N, consistency, sounds put where none belongs."""

from __future__ import annotations

from collections.abc import Iterable

from ..charts.wording import capital, day_text
from ..terms.case_view import CaseView
from ..terms.document import Paragraph, Part, Table
from ..terms.heard import HeardGroup
from ..terms.summaries import SessionSummary
from .readers import LAY, PLACES_SAID, Reader, conditions_said, error_said


def last_judged(view: CaseView) -> SessionSummary | None:
    """Return the latest probe that was judged by ear."""
    return next((one for one in reversed(view.summaries) if one.accuracy and one.accuracy.n_scored), None)


def kinds_said(group: HeardGroup, reader: Reader) -> str:
    """The kinds of error of a group with their counts, the most frequent first."""
    return ", ".join(f"{error_said(kind, reader)} {n}" for kind, n in group.kinds)


def errors_sentence(view: CaseView, reader: Reader) -> str:
    """Return how the sounds of the last judged probe that were not correct were heard; empty where all were."""
    last = last_judged(view)
    group = _of(view, last.number if last else 0, "probe")
    if last is None or group is None or not group.kinds:
        return ""
    n = group.n_scored - group.n_correct
    return f"Not correct on {day_text(last.on)}: {n} of {group.n_scored} ({kinds_said(group, reader)})."


def _of(view: CaseView, session: int, by: str) -> HeardGroup | None:
    return next((one for one in view.heard if one.session == session and one.by == by), None)


def consistency_sentence(view: CaseView) -> str:
    """Return whether words said three times were heard alike each time, in the last probe that has such words."""
    if not view.consistency:
        return ""
    one = view.consistency[-1]
    day = next((s.on for s in view.summaries if s.number == one.session), None)
    if day is None:
        return ""
    words = "word" if one.n_sets == 1 else "words"
    return (
        f"Of {one.n_sets} {words} said three times on {day_text(day)}, {one.n_correct} were correct each time,"
        f" {one.n_same_error} had the same error each time, {one.n_mixed} were not alike."
    )


def added_sentence(view: CaseView) -> str:
    """Return how often an /s/ was marked by ear where none belongs, in the last judged probe."""
    last = last_judged(view)
    found = next((one for one in view.additions if last is not None and one.session == last.number), None)
    if last is None or found is None or not found.n_added_by_ear:
        return ""
    words = "word" if found.n_added_by_ear == 1 else "words"
    of = f"; {found.n_foils} words without /s/ were asked for" if found.n_foils else ""
    return f"An /s/ was put where none belongs in {found.n_added_by_ear} {words} on {day_text(last.on)}{of}."


def errors_heard(view: CaseView, reader: Reader, *, table: bool = True) -> tuple[Part, ...]:
    """The sentences, then kinds of error by level, position and cue."""
    sentences = (errors_sentence(view, reader), consistency_sentence(view), added_sentence(view))
    said = " ".join(one for one in sentences if one)
    parts: list[Part] = [Paragraph(said)] if said else []
    rows = tuple(_row(view, group, reader) for group in _told(view)) if table else ()
    if len(rows) > 1:
        header = ("Which sounds", "Correct", "Where not correct")
        parts.append(Table("How the sounds were heard", header, rows))
    return tuple(parts)


def _told(view: CaseView) -> tuple[HeardGroup, ...]:
    """The last judged probe, whole and in its groups; and the latest one of every other level and cue."""
    last = last_judged(view)
    if last is None:
        return ()
    under = {one.number: (one.session.level, one.session.cue) for one in view.summaries}
    latest = {under[one.session]: one for one in view.heard if one.by == "probe" and one.session in under}
    others = [one for key, one in latest.items() if key != under[last.number]]
    return (*_ordered(one for one in view.heard if one.session == last.number), *others)


def _ordered(groups: Iterable[HeardGroup]) -> list[HeardGroup]:
    places = list(PLACES_SAID)
    order = ("probe", "position", "level", "cue")
    return sorted(groups, key=lambda one: (order.index(one.by), places.index(one.value) if one.value in places else 0))


def _row(view: CaseView, group: HeardGroup, reader: Reader) -> tuple[str, str, str]:
    where = next(one for one in view.summaries if one.number == group.session)
    if group.by == "position":
        name = PLACES_SAID.get(group.value, group.value) if reader in LAY else group.value
    elif group.by == "probe":
        said = conditions_said(where.session.level, where.session.cue, reader)
        name = f"{day_text(where.on)}{f': {said}' if said else ''}"
    else:
        level, cue = (group.value, "") if group.by == "level" else ("", group.value)
        name = f"{conditions_said(level, cue, reader)} (all words)"
    return capital(name), f"{group.n_correct} of {group.n_scored}", kinds_said(group, reader) or "–"
