"""Sessions: kept whole, numbered, changed with a trace; and one client's whole case read back."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from functools import partial
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError, NoRoomError, RefusedError
from ..terms import Measurement, Method, Prompt, Sound, Surroundings
from ..terms.clinic import Session
from ..terms.vocabulary import CUES, LEVELS
from . import tally
from .caseload import Caseload
from .checksums import readable, say_set_aside
from .encode import dump, load, measured_text, method_text, observed_text, prompt_text
from .people import client_id
from .schema import (
    BINNED,
    BINNED_SOUNDS,
    CLIENTS,
    CLIPS,
    LENT,
    MEASUREMENTS,
    METHODS,
    PROMPTS,
    RECORDINGS,
    SESSIONS,
    SETTINGS,
    TOKENS,
)
from .surroundings import keep_surroundings

CHANGEABLE = {"on", "level", "cue", "device", "room", "phase", "bridge", "note", "elicited"}


@dataclass(frozen=True, slots=True)
class NewRecording:
    """A recording as the caseload knows it: by hash, never by name; ``clip`` (hash, suffix) where it is kept whole."""

    sha256: str
    sampling_rate_hz: int
    duration_s: float
    suitability: Mapping[str, Any]
    clip: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class NewClip:
    """A kept word: hash and suffix, and where it starts in its recording."""

    prompt_index: int
    attempt: int
    sha256: str
    suffix: str
    start_s: float


@dataclass(frozen=True, slots=True)
class NewSound:
    """A sound to be kept with its measurements, and the place of its recording (None where it is in none)."""

    recording: int | None
    sound: Sound
    measurements: tuple[Measurement, ...] = ()


@dataclass(frozen=True, slots=True)
class NewSession:
    """All of one session, to be kept in one step."""

    session: Session
    prompts: tuple[Prompt, ...] = ()
    recordings: tuple[NewRecording, ...] = ()
    sounds: tuple[NewSound, ...] = ()
    clips: tuple[NewClip, ...] = ()
    surroundings: tuple[Surroundings, ...] = ()


def keep_session(caseload: Caseload, new: NewSession) -> Session:
    """Keep a session whole and return it with its number.

    Raises
    ------
    RefusedError
        When one of its recordings is kept already.
    """
    refuse_kept(caseload, [recording.sha256 for recording in new.recordings])
    code = new.session.client
    with caseload.change("session kept", code, "") as connection:
        owner = client_id(connection, code)
        last = connection.execute(sa.select(sa.func.max(SESSIONS.c.number)).where(SESSIONS.c.client_id == owner))
        session = replace(new.session, number=(last.scalar() or 0) + 1)
        number = _insert(connection, SESSIONS, [_session_row(session, owner)])[0]
        recordings = _insert(connection, RECORDINGS, [_recording_row(one, number) for one in new.recordings])
        _plain(connection, PROMPTS, [_prompt_row(p, i, number) for i, p in enumerate(new.prompts, start=1)])
        _plain(connection, CLIPS, [{**asdict(clip), "session_id": number} for clip in new.clips])
        keep_surroundings(connection, number, new.surroundings)
        _keep_sounds(connection, number, recordings, new)
    return replace(session, recordings=tuple(recording.sha256 for recording in new.recordings))


def refuse_kept(caseload: Caseload, hashes: Sequence[str]) -> None:
    """Refuse recordings that are kept already, or given twice.

    Raises
    ------
    RefusedError
        Names the session that keeps it.
    """
    if len(set(hashes)) < len(hashes):
        raise RefusedError("the same recording is given twice; name each once")
    if not hashes:
        return
    query = (
        sa.select(CLIENTS.c.code, SESSIONS.c.number)
        .join(SESSIONS, SESSIONS.c.client_id == CLIENTS.c.id)
        .join(RECORDINGS, RECORDINGS.c.session_id == SESSIONS.c.id)
        .where(RECORDINGS.c.sha256.in_(hashes))
    )
    with caseload.read() as connection:
        found = connection.execute(query).first()
        lies = binned_with(connection, hashes) if found is None else ""
    if lies:
        raise RefusedError(f"this recording lies in the bin, {lies}; bring that back from there, or erase it")
    if found is not None:
        raise RefusedError(
            f"this recording is kept already, as session {found.number} of {found.code}; a probe is kept once"
            " (sibilant session remove takes the earlier one out)"
        )


def binned_with(connection: sa.Connection, hashes: Sequence[str]) -> str:
    """Say as what one of these recordings lies in the bin, with the command that brings it back; empty: it does not."""
    of = sa.select(BINNED_SOUNDS.c.binned_id).where(BINNED_SOUNDS.c.sha256.in_(hashes), ~BINNED_SOUNDS.c.kept)
    row = connection.execute(sa.select(BINNED.c.code, BINNED.c.number).where(BINNED.c.id.in_(of))).first()
    if row is None:
        return ""
    if row.number is None:
        return f"with all of {row.code} (sibilant client restore {row.code})"
    return f"as session {row.number} of {row.code} (sibilant session restore {row.code} {row.number})"


def _session_row(session: Session, owner: int) -> dict[str, Any]:
    row = {f.name: getattr(session, f.name) for f in fields(Session) if f.name not in {"client", "on", "recordings"}}
    return {**row, "client_id": owner, "held_on": session.on}


def _recording_row(recording: NewRecording, session: int) -> dict[str, Any]:
    sha256, suffix = recording.clip or (None, "")
    return {
        "session_id": session,
        "sha256": recording.sha256,
        "sampling_rate_hz": recording.sampling_rate_hz,
        "duration_s": recording.duration_s,
        "suitability": dump(dict(recording.suitability)),
        "clip_sha256": sha256,
        "clip_suffix": suffix,
    }


def _prompt_row(prompt: Prompt, index: int, session: int) -> dict[str, Any]:
    kept = replace(prompt, recording="")  # a file's name is never kept
    return {"session_id": session, "prompt_index": index, "prompt": prompt_text(kept)}


def _keep_sounds(connection: sa.Connection, session: int, recordings: Sequence[int], new: NewSession) -> None:
    prompts = dict(enumerate(new.prompts, start=1))
    rows = [_sound_row(each, session, recordings, prompts) for each in new.sounds]
    numbers = _insert(connection, TOKENS, rows)
    keep_methods(connection, [one.method for each in new.sounds for one in each.measurements])
    measured = [
        measurement_row(number, one, "automatic")
        for number, each in zip(numbers, new.sounds, strict=True)
        for one in each.measurements
    ]
    _plain(connection, MEASUREMENTS, measured)


def _sound_row(
    each: NewSound, session: int, recordings: Sequence[int], prompts: Mapping[int, Prompt]
) -> dict[str, Any]:
    sound = each.sound
    slot, prompt = sound.slot, prompts.get(sound.prompt_index)
    return {
        "session_id": session,
        "recording_id": recordings[each.recording] if each.recording is not None else None,
        "key": sound.id,
        "prompt_index": sound.prompt_index,
        "attempt": sound.attempt,
        "slot": slot.index if slot is not None else 0,
        "finding": sound.finding,
        "phone": sound.phone,
        "position": sound.position,
        "cluster": sound.cluster,
        "level": prompt.level if prompt is not None else "",
        "cue": prompt.cue if prompt is not None else "",
        "treated": prompt.treated if prompt is not None else None,
        "observed": observed_text(sound),
    }


def measurement_row(token_id: int, measured: Measurement, boundary: str) -> dict[str, object]:
    """Return the row of one measurement of a sound."""
    return {
        "token_id": token_id,
        "method": method_key(measured.method),
        "boundary": boundary,
        "measured": measured_text(measured),
    }


def method_key(method: Method) -> str:
    """Return the name a method is kept under: its label, and the microphone response where one was divided out."""
    return f"{method.label}+{method.response}"[:80] if method.response else method.label


def keep_methods(connection: sa.Connection, used: Sequence[Method]) -> None:
    """Keep the definitions of methods not kept yet."""
    wanted = {method_key(method): method for method in used}
    have = set(connection.execute(sa.select(METHODS.c.label).where(METHODS.c.label.in_(list(wanted)))).scalars())
    rows = [{"label": label, "definition": method_text(one)} for label, one in wanted.items() if label not in have]
    _plain(connection, METHODS, rows)


def _insert(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> list[int]:
    """Insert rows and return their numbers in order."""
    if not rows:
        return []
    statement = table.insert().returning(table.c.id, sort_by_parameter_order=True)
    return [int(number) for number in connection.execute(statement, rows).scalars()]


def _plain(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(table.insert(), rows)


def sessions(caseload: Caseload, code: str) -> tuple[Session, ...]:
    """Return a client's sessions by number."""
    with caseload.read(code) as connection:
        return read_sessions(connection, client_id(connection, code), code)


def read_sessions(
    connection: sa.Connection, owner: int, code: str, aside: list[str] | None = None
) -> tuple[Session, ...]:
    """Return a client's sessions by number, with the hashes of their recordings; damaged rows are named in ``aside``.

    Without ``aside`` they are told through the log.
    """
    damaged: list[str] = [] if aside is None else aside
    rows = connection.execute(
        sa.select(SESSIONS).where(SESSIONS.c.client_id == owner).order_by(SESSIONS.c.number)
    ).mappings()
    kept = rows.all()
    hashes: dict[int, list[str]] = defaultdict(list)
    query = sa.select(RECORDINGS).where(RECORDINGS.c.session_id.in_([row["id"] for row in kept]))
    for row in connection.execute(query.order_by(RECORDINGS.c.id)).mappings():
        if readable("recordings", row, partial(load, row["suitability"] or "{}"), damaged) is not None:
            hashes[row["session_id"]].append(row["sha256"])
    found = [
        readable("sessions", row, partial(_session, dict(row), code, tuple(hashes[row["id"]])), damaged) for row in kept
    ]
    if aside is None:
        say_set_aside(code, damaged)
    return tuple(session for session in found if session is not None)


def _session(row: Mapping[str, Any], code: str, recordings: tuple[str, ...]) -> Session:
    kept = {key: value for key, value in row.items() if key not in {"id", "client_id", "held_on", "checksum"}}
    kept |= _known_words(row)
    return Session(client=code, on=row["held_on"], recordings=recordings, **kept)


def _known_words(row: Mapping[str, Any]) -> dict[str, str]:
    """Level and cue as they are called now; older caseloads took any text: it moves into the note."""
    known = {"level": LEVELS.find(row["level"]) or "", "cue": CUES.find(row["cue"]) or ""}
    unknown = [f"{name} as kept: {row[name]}" for name, word in known.items() if row[name] and not word]
    return {**known, "note": "; ".join(part for part in (row["note"], *unknown) if part)}


def session_id(connection: sa.Connection, code: str, number: int) -> int:
    """Return a session's row number.

    Raises
    ------
    CaseloadError
        When the client has no session of that number.
    """
    owner = client_id(connection, code)
    query = sa.select(SESSIONS.c.id).where(SESSIONS.c.client_id == owner, SESSIONS.c.number == number)
    found = connection.execute(query).scalar()
    if found is None:
        raise CaseloadError(f"{code}: no session {number}; sibilant session list {code} shows them")
    return int(found)


def change_session(caseload: Caseload, code: str, number: int, changed: Mapping[str, Any]) -> None:
    """Change what was noted of a session; the audit trail names each field with the value before and after.

    The words of a note are in no line of the trail: one that held a name by mistake is gone when it is written anew.

    Raises
    ------
    CaseloadError
        When a field is not one that may be changed, or there is no such session.
    """
    unknown = changed.keys() - CHANGEABLE
    if unknown:
        raise CaseloadError(f"session {number}: {min(unknown)} is not changed by hand")
    before = next((session for session in sessions(caseload, code) if session.number == number), None)
    if before is None:
        raise CaseloadError(f"{code}: no session {number}; sibilant session list {code} shows them")
    differing = {key: value for key, value in sorted(changed.items()) if value != getattr(before, key)}
    detail = "; ".join(
        f"{key}: written anew" if key == "note" else f"{key}: {getattr(before, key)} -> {value}"
        for key, value in differing.items()
    )
    row = {("held_on" if key == "on" else key): value for key, value in changed.items()}
    with caseload.change("session changed", f"{code}", f"session {number}: {detail}") as connection:
        connection.execute(SESSIONS.update().where(SESSIONS.c.id == session_id(connection, code, number)).values(**row))


def move_session(caseload: Caseload, code: str, number: int, to: str) -> int:
    """Move a session to another client, under the next number there; return that number."""
    with caseload.change("session moved", code, f"session {number} to {to}", also=to) as connection:
        moved = session_id(connection, code, number)
        owner = client_id(connection, to)
        last = connection.execute(sa.select(sa.func.max(SESSIONS.c.number)).where(SESSIONS.c.client_id == owner))
        new_number = (last.scalar() or 0) + 1
        connection.execute(SESSIONS.update().where(SESSIONS.c.id == moved).values(client_id=owner, number=new_number))
        connection.execute(LENT.delete().where(LENT.c.session_id == moved))  # its verdicts were another client's
        caseload.note(connection, "session moved here", to, f"as session {new_number}")
    return new_number


def remember(caseload: Caseload, values: Mapping[str, str]) -> None:
    """Remember what was used last (client, session, day) as defaults; not a change of the record, so no audit line.

    On a full disk or a read-only medium nothing is remembered, so that reading works.
    """
    caseload.refuse_other_form()
    writing = caseload.engine.execution_options(writing=True)
    with contextlib.suppress(NoRoomError), caseload._worded(), writing.begin() as connection:
        for key, value in values.items():
            connection.execute(SETTINGS.delete().where(SETTINGS.c.key == key))
            connection.execute(SETTINGS.insert().values(key=key, value=value))
        if caseload.tallied:
            tally.write(connection, ())


def day_of(caseload: Caseload) -> dt.date:
    """Return today by the caseload's clock, where this machine is."""
    return caseload.clock().astimezone().date()
