"""A client's code comes in; the case goes out whole: sessions, tokens with both boundaries, judgements, events.

A damaged row is set aside and named, never guessed at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError
from ..terms import Edge, Interval, Measurement, Method, Prompt, Review, SibilantInterval, Sound
from ..terms.clinic import AuditEntry, Case, Client, EarlierProbe
from ..terms.kept import Correction, KeptToken
from ..terms.vocabulary import CUES, LEVELS
from . import owning
from .care import read_goals, read_runs, read_visits
from .caseload import Caseload, Known, revision_in
from .checksums import Found, own_check_of, readable, say_set_aside
from .encode import Measured, method_from, prompt_from, read_measured, sound_from
from .judging import correction_from, judgement_from
from .lending import read_given
from .people import choice_from, client_from, client_id, event_from, read_devices
from .schema import (
    AUDIT,
    CHOICES,
    CLIENTS,
    CLIPS,
    CORRECTIONS,
    DEVICES,
    EARLIER,
    EVENTS,
    JUDGEMENTS,
    MEASUREMENTS,
    METHODS,
    PROMPTS,
    SESSIONS,
    TOKENS,
)
from .sessions import read_sessions

Rows = Sequence[Mapping[str, Any]]
OF_EVERYBODY = (CLIENTS, DEVICES, METHODS)
"""Tables that a case is read from and that are no one client's."""


def read_case(caseload: Caseload, code: str, *, session: int | None = None) -> Case:
    """Return all that was observed of a client; with ``session``, the tokens of that one only.

    Raises
    ------
    CaseloadError
        When there is none of that code.
    """
    aside: list[str] = []
    with caseload.read(code) as connection:
        revision = revision_in(connection, code)
        registered = read_devices(connection)
        aside += own_check_of(connection, OF_EVERYBODY)
        owner = client_id(connection, code)
        if missing := owning.misfit(connection, code):
            aside.append(missing)
        client = _client(connection, owner, code)
        kept = read_sessions(connection, owner, code, aside)
        events = _read(connection, EVENTS, sa.select(EVENTS).where(EVENTS.c.client_id == owner), event_from, aside)
        earlier = _read(connection, EARLIER, sa.select(EARLIER).where(EARLIER.c.client_id == owner), _earlier, aside)
        tokens = _tokens(connection, owner, session, caseload.known, aside)
        given = read_given(connection, owner, aside)
        goals, visits = read_goals(connection, owner, aside), read_visits(connection, owner, aside)
        runs = read_runs(connection, owner, aside)
        chosen = _read(connection, CHOICES, sa.select(CHOICES).where(CHOICES.c.client_id == owner), choice_from, aside)
    say_set_aside(code, aside)
    used = {session.device for session in kept}
    numbers = {session.number for session in kept}
    return Case(
        client=client,
        sessions=kept,
        tokens=tuple(token for token in tokens if token.session in numbers),
        events=tuple(sorted(events, key=lambda e: e.on)),
        devices=tuple(device for device in registered if device.name in used),
        earlier=tuple(earlier),
        ear_first=caseload.place.ear_first,
        set_aside=tuple(aside),
        choices=tuple(chosen),
        given=given,
        goals=goals,
        visits=visits,
        runs=runs,
        revision=revision,
    )


def _client(connection: sa.Connection, owner: int, code: str) -> Client:
    row = _rows(connection, sa.select(CLIENTS).where(CLIENTS.c.id == owner))[0]
    found = readable("clients", row, partial(client_from, row), [])
    if found is None or found.code != code:  # another's, where the index of codes is damaged
        raise CaseloadError(f"{code}: the client's row is damaged; sibilant caseload check names it, a backup mends it")
    return found


def _read(
    connection: sa.Connection,
    table: sa.Table,
    query: sa.Select[Any],
    read: Callable[[Mapping[str, Any]], Found],
    aside: list[str],
) -> list[Found]:
    """Read rows in the order kept; damaged ones are named in ``aside``."""
    rows = _rows(connection, query.order_by(table.c.id))
    found = [readable(table.name, row, partial(read, row), aside) for row in rows]
    return [one for one in found if one is not None]


def _rows(connection: sa.Connection, query: sa.Select[Any]) -> Rows:
    return [dict(row) for row in connection.execute(query).mappings()]


def _earlier(row: Mapping[str, Any]) -> EarlierProbe:
    kept = {key: value for key, value in row.items() if key not in {"id", "client_id", "held_on", "checksum"}}
    return EarlierProbe(on=row["held_on"], **kept)


def _of_tokens(table: sa.Table, owner: int, session: int | None) -> sa.Select[Any]:
    return (
        sa.select(table)
        .join(TOKENS, TOKENS.c.id == table.c.token_id)
        .join(SESSIONS, SESSIONS.c.id == TOKENS.c.session_id)
        .where(SESSIONS.c.client_id == owner, *_only(session))
        .order_by(table.c.id)
    )


def _of_sessions(table: sa.Table, owner: int, session: int | None) -> sa.Select[Any]:
    return (
        sa.select(table, SESSIONS.c.number.label("session_number"))
        .join(SESSIONS, SESSIONS.c.id == table.c.session_id)
        .where(SESSIONS.c.client_id == owner, *_only(session))
        .order_by(SESSIONS.c.number, table.c.id)
    )


def _only(session: int | None) -> list[sa.ColumnElement[bool]]:
    return [] if session is None else [SESSIONS.c.number == session]


def _by_token(
    connection: sa.Connection,
    query: sa.Select[Any],
    table: sa.Table,
    read: Callable[[Mapping[str, Any]], Found],
    aside: list[str],
) -> dict[int, list[Found]]:
    """Read rows by the token they hang on; damaged ones are named in ``aside``."""
    groups: dict[int, list[Found]] = defaultdict(list)
    for row in _rows(connection, query):
        found = readable(table.name, row, partial(read, row), aside)
        if found is not None:
            groups[row["token_id"]].append(found)
    return groups


def _methods(connection: sa.Connection, known: Known, aside: list[str]) -> dict[str, Method]:
    """Read the kept methods; for a damaged definition the program's own of that name and version stands in."""
    found = {}
    for row in _rows(connection, sa.select(METHODS)):
        method = readable("methods", row, partial(method_from, row["definition"]), aside)
        method = method or known(str(row["label"]))
        if method is not None:
            found[row["label"]] = method
    return found


def _measured(row: Mapping[str, Any]) -> tuple[str, str, Measured]:
    """Method, whether the edges were reviewed or automatic, and what was measured."""
    return row["method"], row["boundary"], read_measured(row["measured"], row["method"])


def _tokens(
    connection: sa.Connection, owner: int, session: int | None, known: Known, aside: list[str]
) -> tuple[KeptToken, ...]:
    beside = _beside(connection, owner, session, known, aside)
    found = []
    for row in _rows(connection, _of_sessions(TOKENS, owner, session)):
        place = (row["session_id"], row["prompt_index"])
        said = beside.prompts.get(place)
        if place in beside.prompts and said is None:  # its prompt is damaged, and named
            continue
        kept = readable("tokens", row, partial(_token, row, said, beside), aside)
        if kept is not None:
            found.append(kept)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Beside:
    """What other tables keep of the tokens, by its number; prompts by session and place, clips by attempt too."""

    methods: Mapping[str, Method]
    prompts: Mapping[tuple[int, int], Prompt | None]
    clips: Mapping[tuple[int, int, int], str]
    measured: Mapping[int, Sequence[tuple[str, str, Measured]]]
    judged: Mapping[int, Sequence[Mapping[str, Any]]]
    amended: Mapping[int, Sequence[Mapping[str, Any]]]


def _beside(connection: sa.Connection, owner: int, session: int | None, known: Known, aside: list[str]) -> _Beside:
    return _Beside(
        methods=_methods(connection, known, aside),
        prompts={
            (row["session_id"], row["prompt_index"]): readable(
                "prompts", row, partial(prompt_from, row["prompt"]), aside
            )
            for row in _rows(connection, _of_sessions(PROMPTS, owner, session))
        },
        clips={
            (row["session_id"], row["prompt_index"], row["attempt"]): row["sha256"]
            for row in _rows(connection, _of_sessions(CLIPS, owner, session))
            if readable("clips", row, dict, aside) is not None
        },
        measured=_by_token(connection, _of_tokens(MEASUREMENTS, owner, session), MEASUREMENTS, _measured, aside),
        judged=_by_token(connection, _of_tokens(JUDGEMENTS, owner, session), JUDGEMENTS, dict, aside),
        amended=_by_token(connection, _of_tokens(CORRECTIONS, owner, session), CORRECTIONS, dict, aside),
    )


def _token(row: Mapping[str, Any], prompt: Prompt | None, beside: _Beside) -> KeptToken:
    number = row["id"]
    corrections = tuple(correction_from(one, row["key"]) for one in beside.amended[number])
    sound = corrected(sound_from(row, prompt), corrections)
    return KeptToken(
        sound=sound,
        session=row["session_number"],
        measurements=_under_methods(sound, beside.measured[number], beside.methods, corrections),
        judgements=tuple(judgement_from(one, row["key"]) for one in beside.judged[number]),
        corrections=corrections,
        treated=row["treated"],
        cue=CUES.find(row["cue"]) or "",
        level=LEVELS.find(row["level"]) or "",
        clip=beside.clips.get((row["session_id"], row["prompt_index"], row["attempt"]), ""),
    )


def _under_methods(
    sound: Sound,
    measured: Sequence[tuple[str, str, Measured]],
    methods: Mapping[str, Method],
    corrections: Sequence[Correction],
) -> dict[str, Measurement]:
    """One measurement per method: the reviewed one where a person has set the edges, else the automatic one."""
    moved = any(correction.onset_s is not None for correction in corrections)
    chosen: dict[str, Measured] = {}
    for method, boundary, found in sorted(measured, key=lambda m: (m[1] == "reviewed") if moved else 0):
        if method in methods and (moved or boundary == "automatic"):
            chosen[method] = found
    return {label: Measurement(sound.id, methods[label], *found) for label, found in chosen.items()}


def corrected(sound: Sound, corrections: Sequence[Correction]) -> Sound:
    """Return a sound with a person's latest word on edges, voice and whether the attempt counts.

    A person's look settles a sound of which the machine was not sure that it is the word.
    """
    if not corrections:
        return sound
    spoken, edges, finding = sound.utterance, sound.edges, sound.finding
    for correction in corrections:
        if spoken is not None and correction.voice is not None:
            spoken = replace(spoken, voice=correction.voice)
        if spoken is not None and correction.counts is not None:
            spoken = replace(spoken, counts=correction.counts)
        if correction.onset_s is not None and correction.offset_s is not None:
            interval = Interval(correction.onset_s, correction.offset_s)
            review = Review(interval, correction.by, correction.on.date())
            edges = replace(edges or _by_hand(sound, interval), review=review)
    if finding in {"unsure", "no_frication"} and (edges is not None or finding == "unsure"):
        finding = "found" if edges is not None else "no_frication"
    return replace(sound, utterance=spoken and replace(spoken, sure=True), edges=edges, finding=finding)


def _by_hand(sound: Sound, interval: Interval) -> SibilantInterval:
    """A sibilant that a person bounded where the machine had found none."""
    onset, offset = (Edge(time_s, "edge_of_recording", 0.0, 1.0) for time_s in (interval.onset_s, interval.offset_s))
    return SibilantInterval(sound.slot, interval, interval, onset, offset, 1.0, ("by_hand",))


def audit_trail(caseload: Caseload, code: str = "") -> tuple[AuditEntry, ...]:
    """Return the audit trail, of one client or of all, oldest first."""
    query = sa.select(AUDIT).order_by(AUDIT.c.id)
    with caseload.read(code) as connection:
        rows = _rows(connection, query.where(AUDIT.c.subject == code) if code else query)
    aside: list[str] = []
    found = [readable("audit", row, partial(_entry, row), aside) for row in rows]
    say_set_aside("the audit trail", aside)
    return tuple(entry for entry in found if entry is not None)


def _entry(row: Mapping[str, Any]) -> AuditEntry:
    return AuditEntry(**{key: value for key, value in row.items() if key not in {"id", "checksum"}})


def clip_of(caseload: Caseload, sha256: str) -> tuple[str, float]:
    """Return a kept word's file suffix and where it starts in its recording."""
    with caseload.read() as connection:
        row = connection.execute(sa.select(CLIPS.c.suffix, CLIPS.c.start_s).where(CLIPS.c.sha256 == sha256)).first()
    return (row.suffix, row.start_s) if row is not None else ("", 0.0)
