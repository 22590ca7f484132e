"""Kept sessions: listed, shown token by token, changed with a trace, moved, removed with a receipt."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from .. import store
from ..errors import UsageError
from ..progress import WATCHED, Unlike, expected, followed, judgement_by, main_rater, most_unlike
from ..progress.phases import with_phases
from ..progress.session import values_under
from ..terms import MEASURES
from ..terms.clinic import Case, Session
from ..terms.kept import KeptToken
from ..terms.vocabulary import CUES, ELICITED, LEVELS, PHASES, Vocabulary
from .answers import SessionRow, SessionShown, Tokens
from .caseload import CaseloadHandle, client_or_last, day_known, opened, session_or_last, used
from .probe import refuse_without_consent


def list_sessions(caseload: CaseloadHandle, code: str | None) -> list[SessionRow]:
    """Return one row a session: day, phase, conditions, tokens judged and checked; no figures."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        case = store.read_case(one, name)
        used(one, name)
    return session_rows(case)


def session_rows(case: Case) -> list[SessionRow]:
    """Return what ``list_sessions`` gives from a case that is at hand."""
    return [_row(case, session) for session in with_phases(case.client.therapy, case.sessions)]


def _row(case: Case, session: Session) -> SessionRow:
    tokens = [token for token in case.tokens_of(session.number) if token.sound.slot is not None]
    return {
        "session": session.number,
        "on": session.on.isoformat(),
        "phase": session.phase,
        "list": session.list_form,
        "level": session.level,
        "cue": session.cue,
        "device": session.device,
        "elicited": session.elicited,
        "verdict": session.verdict,
        "judged": f"{sum(bool(token.judgements) for token in tokens)} of {len(tokens)}",
        "checked": f"{sum(token.reviewed for token in tokens)} of {len(tokens)}",
    }


def show_session(caseload: CaseloadHandle, code: str | None, number: int | None, *, key: str = "") -> SessionShown:
    """Return a session and one row a token; figures only where the ear has judged (or that is switched off)."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        case = store.read_case(one, name)
        used(one, name, session)
    measure = key if key in MEASURES else case.client.main_measure
    rater, method = main_rater(case.tokens_of(session)), followed(case).of(session)
    noted = next(one for one in case.sessions if one.number == session)
    return {
        "room": noted.room,
        "note": noted.note,
        "bridge": noted.bridge,
        **_row(case, next(one for one in with_phases(case.client.therapy, case.sessions) if one.number == session)),
        "client": name,
        "measure": measure,
        "tokens": [_token_row(case, token, measure, method, rater) for token in case.tokens_of(session)],
    }


def unlike_in_session(caseload: CaseloadHandle, code: str | None, number: int | None, *, most: int = 5) -> Tokens:
    """Return the sounds of a session most unlike its others of the same phone, with the reason: where to listen again.

    Only sounds that the ear has judged (or all, where that is switched off), the attempts that count; fewer than eight
    of a phone have no rest to be unlike.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        case = store.read_case(one, name)
        used(one, name, session)
    rater, method = main_rater(case.tokens_of(session)), followed(case).of(session)
    rows = [
        {**_token_row(case, token, case.client.main_measure, method, rater), "robust_sds": round(far.distance, 1),
         "unlike_the_rest_in": far.reason}
        for token, far in unlike_tokens(case, session)[:most]
    ]  # fmt: skip
    return {"client": name, "session": session, "tokens": rows}


def unlike_tokens(case: Case, session: int) -> list[tuple[KeptToken, Unlike]]:
    """Return the sounds of a session whose figures may be seen, the one farthest from its phone's middle first."""
    method = followed(case).of(session)
    seen = [token for token in expected(case.tokens_of(session)) if case.opens(token)]
    phones = sorted({token.sound.phone for token in seen if token.sound.phone})
    found = [pair for phone in phones for pair in _unlike(seen, phone, method)]
    return sorted(found, key=lambda pair: -pair[1].distance)


def _unlike(tokens: Sequence[KeptToken], phone: str, method: str) -> list[tuple[KeptToken, Unlike]]:
    """Return the tokens of one phone, the farthest from their middle first, each with what it is unlike in."""
    alike = [t for t in tokens if t.sound.phone == phone]
    values = [values_under(token, method) for token in alike]
    columns = {key: [each.get(key, math.nan) for each in values] for key in WATCHED}
    return [(alike[far.place], far) for far in most_unlike(columns)]


def _token_row(case: Case, token: KeptToken, measure: str, method: str, rater: str) -> dict[str, Any]:
    slot = token.sound.slot
    judgement = judgement_by(token, rater)
    row: dict[str, Any] = {
        "prompt_index": token.prompt_index,
        "prompt": token.prompt,
        "attempt": token.attempt or None,
        "slot": slot.index if slot is not None else None,
        "phone": token.sound.phone,
        "position": token.sound.position,
        "finding": token.sound.finding,
        "voice": token.sound.voice,
        "counts": "yes" if token.sound.counts else "no",
        "heard": judgement.heard if judgement is not None else "",
        "checked": "yes" if token.reviewed else "",
    }
    if case.opens(token):
        row[measure] = values_under(token, method).get(measure)
    return row


def change_session(caseload: CaseloadHandle, code: str | None, number: int | None, changed: Mapping[str, Any]) -> int:
    """Change what was noted of a session; return its number."""
    return change_sessions(caseload, code, () if number is None else (number,), changed)[0]


def change_sessions(
    caseload: CaseloadHandle, code: str | None, numbers: Sequence[int], changed: Mapping[str, Any], *, which: str = ""
) -> tuple[int, ...]:
    """Change the same thing in several sessions at once; return their numbers.

    ``which``: ``all`` of the client's, or those whose device is ``not stated``; with neither, those numbered, or the
    one used last.

    Raises
    ------
    CaseloadError
        When one of them is not there; nothing is then changed.
    UsageError
        When a value can't be, or no session's device is left to be stated.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        held = store.sessions(one, name)
        wanted = [s.number for s in held if which == "all" or (which == "not stated" and not s.device)]
        if which == "not stated" and not wanted:
            raise UsageError(f"{name}: every session states its device; name sessions by number to change them")
        chosen = tuple(wanted) or tuple(session_or_last(one, name, number) for number in numbers or (None,))
        if (day := changed.get("on")) is not None:
            day_known(one, day, "a probe", store.get_client(one, name))
        known = _known(changed)
        for number in chosen:
            store.change_session(one, name, number, known)
        used(one, name, chosen[-1])
        return chosen


def _known(changed: Mapping[str, Any]) -> dict[str, Any]:
    """Return changes with level, cue, phase and how the words were had as the words that are kept.

    An empty level, cue or way is not stated; a phase is always one.
    """
    sets: dict[str, Vocabulary[Any]] = {"level": LEVELS, "cue": CUES, "elicited": ELICITED}
    known = {name: sets[name].read_or_empty(value) if name in sets else value for name, value in changed.items()}
    return known | ({"phase": PHASES.read(changed["phase"])} if "phase" in changed else {})


def move_session(caseload: CaseloadHandle, code: str | None, number: int | None, to: str) -> int:
    """Move a session to another client; return its number there.

    Raises
    ------
    RefusedError
        When that client's consent to recording was withdrawn or not given.
    UsageError
        When that client was not born yet on the session's day.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        other = client_or_last(one, to)
        client = store.get_client(one, other)
        refuse_without_consent(client)
        session = session_or_last(one, name, number)
        held_on = next(kept.on for kept in store.sessions(one, name) if kept.number == session)
        day_known(one, held_on, "a probe", client)
        return store.move_session(one, name, session, other)
