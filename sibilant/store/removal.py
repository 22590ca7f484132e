"""Removal with a receipt: rows, then sound, then what could not be reached is said."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import sqlalchemy as sa

from ..errors import NoRoomError, RefusedError
from ..terms.clinic import Receipt
from . import binned, by_hand, clips, drafts
from .caseload import Caseload
from .people import client_id
from .schema import AUDIT, BINNED, BINNED_SOUNDS, CLIENTS, CLIPS, METADATA, RECORDINGS, SESSIONS, SETTINGS
from .sessions import session_id

THE_CLINICS_OWN = (
    "what is the clinic's and not the client's: devices with their places, the listener's code used last, and in the"
    " trail who did what and when, without the client's code"
)
NOT_REACHED = (
    "backups and copies of the caseload's folder",
    "exports, reports and pictures made from it, and what a browser downloaded",
    "a browser's history: addresses of the page, which name nobody once the page is stopped",
    "the recordings themselves, where they came from",
    "earlier states kept by the file system or the storage device",
    THE_CLINICS_OWN,
)
OPEN_READER = "the records' side file, while another program reads them; the next command that ends alone empties it"
OTHER_DATABASE = "what the database of caseload.toml's url keeps of erased rows"
POSTGRES_LOG = (
    "the database server's write-ahead log (pg_wal) and its archive, which hold what was erased until their files are"
    " used again; what the server writes into its own log; what its statistics (pg_statistic) quoted, where this user"
    " may not have them written anew"
)
BEFORE_CHECKPOINT = "the database server's files until its next checkpoint, which this user may not ask for"


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
    left = _compact(caseload)
    return Receipt(code, caseload.clock(), (f"session {number}: all rows", *erased), (*NOT_REACHED, *left))


def erase_binned(caseload: Caseload, gone: Iterable[binned.Entry], code: str = "") -> Receipt:
    """Erase what lies in the bin, before its time or after it."""
    erased = binned.erase(caseload, gone)
    left = _compact(caseload)
    return Receipt(code, caseload.clock(), erased, (*NOT_REACHED, *left))


def sweep_bin(caseload: Caseload) -> None:
    """Erase what has lain in the bin for its time, and tell the receipt through the log."""
    if gone := binned.overdue(caseload):
        binned.say_erased(erase_binned(caseload, gone))


def remove_client(caseload: Caseload, code: str, what: Literal["audio", "all"]) -> Receipt:
    """Erase a client's kept sound, or everything, at once, and what lies in the bin of theirs.

    No row and no file with the code stays after ``all``.

    Raises
    ------
    RefusedError
        When the client is held.
    """
    _refuse_held(caseload, code)
    lies = binned.entries(caseload, code)
    before = clips.named_clips(caseload)
    n_files = drafts.erase_drafts(caseload, code)
    with clips.at_work(caseload):
        remove_rows = _remove_audio_rows if what == "audio" else _remove_all_rows
        early: tuple[str, ...] = ()
        try:
            rows = remove_rows(caseload, code)
        except NoRoomError:  # a full disk: the sound, which goes anyway, makes room for taking out the rows
            early = clips.erase_files(caseload, before - _named_without(caseload, code))
            rows = remove_rows(caseload, code)
        erased = (*early, *_erase(caseload, before))
        n_files += drafts.erase_drafts(caseload, code)  # begun meanwhile
    left = _compact(caseload)
    take = (f"a take under way: {n_files} files",) if n_files else ()
    return Receipt(code, caseload.clock(), (*binned.lines(lies), *rows, *erased, *take), (*NOT_REACHED, *left))


def _refuse_held(caseload: Caseload, code: str) -> None:
    with caseload.read(code) as connection:  # the column alone: a damaged row must not stand in the way of erasure
        held = connection.execute(sa.select(CLIENTS.c.held).where(CLIENTS.c.id == client_id(connection, code))).scalar()
    if held:
        raise RefusedError(f"{code}: on hold ({held}), so nothing is removed; sibilant client hold {code} --off first")


def _remove_audio_rows(caseload: Caseload, code: str) -> tuple[str, ...]:
    with caseload.change("audio removed", code) as connection:
        own = sa.select(SESSIONS.c.id).where(SESSIONS.c.client_id == client_id(connection, code))
        connection.execute(BINNED.delete().where(BINNED.c.code == code))
        n_words = connection.execute(CLIPS.delete().where(CLIPS.c.session_id.in_(own))).rowcount
        whole = RECORDINGS.update().where(RECORDINGS.c.session_id.in_(own), RECORDINGS.c.clip_sha256.is_not(None))
        n_whole = connection.execute(whole.values(clip_sha256=None, clip_suffix="")).rowcount
    return (f"{n_words} kept words and {n_whole} whole recordings in the records",)


def _remove_all_rows(caseload: Caseload, code: str) -> tuple[str, ...]:
    with caseload.change("a client removed, all rows", "", "the receipt was shown") as connection:
        owner = client_id(connection, code)
        n = connection.execute(sa.select(sa.func.count()).where(SESSIONS.c.client_id == owner)).scalar()
        connection.execute(CLIENTS.delete().where(CLIENTS.c.id == owner))
        connection.execute(BINNED.delete().where(BINNED.c.code == code))
        mentions = AUDIT.c.subject == code
        n_audit = connection.execute(AUDIT.delete().where(sa.or_(mentions, AUDIT.c.detail.contains(code)))).rowcount
        connection.execute(SETTINGS.delete().where(SETTINGS.c.key.like("last_%"), SETTINGS.c.value == code))
        own = sa.or_(SETTINGS.c.key == drafts.sign_key(code), drafts.drafts_of(code))
        connection.execute(SETTINGS.delete().where(own))
    return (
        f"client {code} with {n} sessions, their tokens, judgements, corrections and events",
        f"{n_audit} lines of the audit trail that named the code",
    )


def _erase(caseload: Caseload, before: set[str]) -> tuple[str, ...]:
    """Erase the clips that no row names any more; each is named in the receipt by the start of its file's name."""
    return clips.erase_files(caseload, before - clips.named_clips(caseload))


def _named_without(caseload: Caseload, code: str) -> set[str]:
    """File names of the clips that rows of other clients name, in the bin too."""
    with caseload.read(everybody=True) as connection:
        others = sa.select(SESSIONS.c.id).where(SESSIONS.c.client_id != client_id(connection, code))
        words = connection.execute(sa.select(CLIPS.c.sha256).where(CLIPS.c.session_id.in_(others))).scalars().all()
        whole = sa.select(RECORDINGS.c.clip_sha256).where(RECORDINGS.c.session_id.in_(others))
        of_others = sa.select(BINNED.c.id).where(BINNED.c.code != code)
        in_bin = sa.select(BINNED_SOUNDS.c.sha256).where(BINNED_SOUNDS.c.kept.is_(sa.true()))
        in_bin = in_bin.where(BINNED_SOUNDS.c.binned_id.in_(of_others))
        kept = {*words, *connection.execute(whole).scalars(), *connection.execute(in_bin).scalars()}
    return clips.file_names(caseload, {sha256 for sha256 in kept if sha256})


def _compact(caseload: Caseload) -> tuple[str, ...]:
    """Leave no erased row in the database's files; return what of them could not be reached."""
    if caseload.engine.dialect.name == "postgresql":
        return _compact_postgres(caseload)
    if caseload.engine.dialect.name == "sqlite":
        with caseload._worded(), caseload.engine.connect() as connection:
            connection.rollback()
            raw = connection.connection.cursor()
            (busy, *_) = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            raw.close()
        return (OPEN_READER,) if busy else ()
    return (OTHER_DATABASE,)


def _forget_statistics(connection: sa.Connection, table: sa.Table) -> None:
    """Drop what PostgreSQL noted of the values of a table that is now empty: it would keep that until rows come again.

    It does so when a column is given a type, also the one that it has.
    """
    if connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
        return
    for column in table.columns:
        if not (column.primary_key or column.foreign_keys):
            kind = column.type.compile(connection.dialect)
            connection.exec_driver_sql(f'ALTER TABLE "{table.name}" ALTER COLUMN "{column.name}" TYPE {kind}')


def _compact_postgres(caseload: Caseload) -> tuple[str, ...]:
    """Write PostgreSQL's tables anew without what was erased, and its statistics, which quote values.

    Its write-ahead log keeps what was written to it until the server has used the log's files again, so it is named.
    """
    tables = [*(table.name for table in METADATA.sorted_tables), "pg_catalog.pg_statistic"]
    not_reached = []
    engine = caseload.engine.execution_options(isolation_level="AUTOCOMMIT")
    with caseload._worded(), caseload.engine.begin() as connection:
        by_hand.drop(connection)  # no column that a view reads can be given a type
        for table in METADATA.sorted_tables:
            _forget_statistics(connection, table)
        by_hand.make(connection)
    with caseload._worded(), engine.connect() as connection:
        for name in tables:
            connection.exec_driver_sql(f"VACUUM (FULL{'' if '.' in name else ', ANALYZE'}) {name}")
        try:
            connection.exec_driver_sql("CHECKPOINT")
        except sa.exc.ProgrammingError:  # not this user's to ask for
            not_reached.append(BEFORE_CHECKPOINT)
    return (*not_reached, POSTGRES_LOG)
