"""Judging again: the marks a listener gave in a session, one changed, a change taken back; all stay in the trail."""

from __future__ import annotations

from typing import Any

from .. import store
from ..errors import RefusedError
from ..progress import judgement_by
from ..terms.kept import Judgement, KeptToken
from ..terms.vocabulary import Heard
from .answers import MarkRow, Marks
from .caseload import CaseloadHandle, client_or_last, opened, session_or_last, used
from .judge import Queue, can_be_judged, rater_or_last, record

RESTORED = ("types", "substitute", "certainty", "line", "cue", "self_corrected", "note")


def marks(caseload: CaseloadHandle, code: str | None, number: int | None, *, rater: str = "") -> Marks:
    """Return the words of a session with the mark that a listener's first pass gives each, empty where none is given.

    ``earlier`` counts the marks of that pass that stand no more; they are kept.
    """
    with opened(caseload, who=rater) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        person = rater_or_last(one, rater)
        case = store.read_case(one, name, session=session)
        used(one, name, session)
    tokens = [token for token in case.tokens_of(session) if can_be_judged(token)]
    rows = [_row(token, person) for token in tokens]
    return {"client": name, "session": session, "rater": person, "tokens": rows}


def _row(token: KeptToken, rater: str) -> MarkRow:
    slot, given = token.sound.slot, _given(token, rater)
    sound = f"{slot.position} /{slot.phone.lower()}/" if slot is not None else "no sibilant expected"
    row: MarkRow = {
        "key": token.key,
        "prompt": token.prompt,
        "sound": f"{sound} in {slot.cluster}" if slot is not None and slot.cluster else sound,
        "has_sound": bool(token.clip),
        "heard": "",
        "types": [],
        "earlier": max(0, len(given) - 1),
        "was": given[-2].heard if len(given) > 1 else "",
    }
    if given:
        last = given[-1]
        row |= {"heard": last.heard, "types": list(last.types), "substitute": last.substitute}
        row |= {"certainty": last.certainty, "line": last.line, "note": last.note}
    return row


def _given(token: KeptToken, rater: str) -> list[Judgement]:
    """All marks of a listener's first pass of one token, as they were kept; the last of them stands."""
    stands = judgement_by(token, rater)
    return [j for j in token.judgements if j.rater == rater and stands is not None and j.turn == stands.turn]


def change(
    caseload: CaseloadHandle,
    code: str | None,
    number: int | None,
    key: str,
    heard: Heard,
    *,
    rater: str = "",
    **more: Any,
) -> MarkRow:
    """Give a word another mark in the listener's first pass; the one before stays in the trail. Return its row.

    ``more`` as in :func:`~sibilant.clinic.judge.record`.
    """
    name, session, person, token = _found(caseload, code, number, key, rater)
    given = _given(token, person)
    turn, blind = (given[-1].turn, given[-1].blind) if given else (1, False)
    record(caseload, Queue(name, session, person, turn, blind, ()), key, heard, **more)
    return _now(caseload, name, session, key, person)


def take_back(caseload: CaseloadHandle, code: str | None, number: int | None, key: str, *, rater: str = "") -> MarkRow:
    """Put the mark before the last one back, as a mark of today, so that all three stay in the trail. Return its row.

    Raises
    ------
    RefusedError
        When no other mark was given before.
    """
    name, session, person, token = _found(caseload, code, number, key, rater)
    given = _given(token, person)
    if len(given) < 2:
        raise RefusedError(f"{token.prompt}: {person} gave no other mark before; give the one that is meant")
    before = given[-2]
    more = {field: getattr(before, field) for field in RESTORED}
    record(caseload, Queue(name, session, person, before.turn, before.blind, ()), key, before.heard, **more)
    return _now(caseload, name, session, key, person)


def _found(
    caseload: CaseloadHandle, code: str | None, number: int | None, key: str, rater: str
) -> tuple[str, int, str, KeptToken]:
    with opened(caseload) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        person = rater_or_last(one, rater)
        case = store.read_case(one, name, session=session)
    for token in case.tokens_of(session):
        if token.key == key and can_be_judged(token):
            return name, session, person, token
    raise RefusedError(f"session {session}: no word {key[:20]!r} that can be judged; load the page again")


def _now(caseload: CaseloadHandle, name: str, session: int, key: str, rater: str) -> MarkRow:
    return next(row for row in marks(caseload, name, session, rater=rater)["tokens"] if row["key"] == key)
