"""Removal with a receipt: rows, then sound, then what could not be reached is said."""

from __future__ import annotations

from typing import Literal

import sqlalchemy as sa

from ..errors import RefusedError
from ..terms.clinic import Receipt
from . import clips
from .caseload import Caseload
from .people import client_id
from .schema import AUDIT, CLIENTS, CLIPS, RECORDINGS, SESSIONS, SETTINGS
from .sessions import session_id

NOT_REACHED = (
    "backups and copies of the caseload's folder",
    "exports, reports and pictures made from it",
    "the recordings themselves, where they came from",
    "earlier states kept by the file system or the storage device",
)


def remove_session(caseload: Caseload, code: str, number: int) -> Receipt:
    """Erase one session with its tokens, judgements and sound.

    Raises
    ------
    RefusedError
        When the client is held.
    """
    _refuse_held(caseload, code)
    before = clips.named_clips(caseload)
    with clips.at_work(caseload):
        with caseload.change("session removed", code, f"session {number}") as connection:
            connection.execute(SESSIONS.delete().where(SESSIONS.c.id == session_id(connection, code, number)))
        erased = _erase(caseload, before)
    return Receipt(code, caseload.clock(), (f"session {number}: all rows", *erased), NOT_REACHED)


def remove_client(caseload: Caseload, code: str, what: Literal["audio", "all"]) -> Receipt:
    """Erase a client's kept sound, or everything; no row and no file with the code stays after ``all``.

    Raises
    ------
    RefusedError
        When the client is held.
    """
    _refuse_held(caseload, code)
    before = clips.named_clips(caseload)
    with clips.at_work(caseload):
        rows = _remove_audio_rows(caseload, code) if what == "audio" else _remove_all_rows(caseload, code)
        erased = _erase(caseload, before)
    _compact(caseload)
    return Receipt(code, caseload.clock(), (*rows, *erased), NOT_REACHED)


def _refuse_held(caseload: Caseload, code: str) -> None:
    with caseload.read() as connection:  # the column alone: a damaged row must not stand in the way of erasure
        held = connection.execute(sa.select(CLIENTS.c.held).where(CLIENTS.c.id == client_id(connection, code))).scalar()
    if held:
        raise RefusedError(f"{code}: on hold ({held}), so nothing is removed; sibilant client hold {code} --off first")


def _remove_audio_rows(caseload: Caseload, code: str) -> tuple[str, ...]:
    with caseload.change("audio removed", code) as connection:
        own = sa.select(SESSIONS.c.id).where(SESSIONS.c.client_id == client_id(connection, code))
        n_words = connection.execute(CLIPS.delete().where(CLIPS.c.session_id.in_(own))).rowcount
        whole = RECORDINGS.update().where(RECORDINGS.c.session_id.in_(own), RECORDINGS.c.clip_sha256.is_not(None))
        n_whole = connection.execute(whole.values(clip_sha256=None, clip_suffix="")).rowcount
    return (f"{n_words} kept words and {n_whole} whole recordings in the records",)


def _remove_all_rows(caseload: Caseload, code: str) -> tuple[str, ...]:
    with caseload.change("a client removed, all rows", "", "the receipt was shown") as connection:
        owner = client_id(connection, code)
        n = connection.execute(sa.select(sa.func.count()).where(SESSIONS.c.client_id == owner)).scalar()
        connection.execute(CLIENTS.delete().where(CLIENTS.c.id == owner))
        mentions = AUDIT.c.subject == code
        n_audit = connection.execute(AUDIT.delete().where(sa.or_(mentions, AUDIT.c.detail.contains(code)))).rowcount
        connection.execute(SETTINGS.delete().where(SETTINGS.c.key.like("last_%"), SETTINGS.c.value == code))
    return (
        f"client {code} with {n} sessions, their tokens, judgements, corrections and events",
        f"{n_audit} lines of the audit trail that named the code",
    )


def _erase(caseload: Caseload, before: set[str]) -> tuple[str, ...]:
    """Erase the clips that no row names any more; each is named in the receipt by the start of its file's name."""
    gone = before - clips.named_clips(caseload)
    erased = []
    for path in clips.clip_files(caseload):
        if path.stem in gone:
            path.unlink(missing_ok=True)
            erased.append(f"sound {path.stem[:12]}")
    return tuple(erased)


def _compact(caseload: Caseload) -> None:
    """Leave no erased row in SQLite's side files."""
    if caseload.engine.dialect.name != "sqlite":
        return
    with caseload._worded(), caseload.engine.connect() as connection:
        connection.rollback()
        raw = connection.connection.cursor()
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        raw.close()
