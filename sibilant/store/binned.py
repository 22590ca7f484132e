"""The bin: what was removed lies there for a stated time, out of every read, and can be brought back.

What is put there leaves the tables that everything reads: its rows become one text in a table of the bin's own, so that
no read, export or comparison can meet them. Its sound stays in its files until the time is over; the next that opens
the caseload then erases it. A request for erasure and a withdrawn consent never come here.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import sqlalchemy as sa

from ..errors import CaseloadError, RefusedError
from ..terms.clinic import Receipt
from . import clips, drafts
from .caseload import Caseload
from .checksums import is_whole
from .people import client_id
from .rows import PARENTS, TABLES, Rows, insert_rows, rows_of
from .schema import (
    AUDIT,
    BINNED,
    BINNED_SOUNDS,
    CLIENTS,
    CLIPS,
    DEVICES,
    FORMAT,
    LENT,
    METADATA,
    METHODS,
    RECORDINGS,
    SESSIONS,
    SETTINGS,
    Day,
    Moment,
)

Kind = Literal["session", "audio", "all"]
CARRIED = (*(table for table in TABLES if table not in (METHODS, DEVICES)), LENT)
STAYS = ("what lies in the bin is erased, with a receipt, when its time ends; --erase erases it at once",)


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing in the bin: whose, what, since when and until when."""

    id: int
    code: str
    kind: Kind
    number: int | None
    since: dt.datetime
    until: dt.date

    @property
    def told(self) -> str:
        """What it is, in words."""
        what = {"session": f"session {self.number}", "audio": "kept sound", "all": "client and everything kept of it"}
        return f"{what[self.kind]} of {self.code}" if self.kind != "all" else f"{self.code}: {what['all']}"


def put_session(caseload: Caseload, code: str, number: int, until: dt.date) -> Receipt:
    """Put a session into the bin with its sound.

    Raises
    ------
    RefusedError
        When the client is on hold.
    CaseloadError
        When there is no such session, or a row of it is damaged.
    """
    with _put(caseload, code, f"session {number} until {until}") as connection:
        owner = _free_client(connection, code)
        rows = _rows(connection, owner)
        rows = _of_session(rows, number)
        if not rows["sessions"]:
            raise CaseloadError(f"{code}: no session {number}; sibilant session list {code} shows them")
        n_sounds = _keep(caseload, connection, (code, "session", number, until), rows)
        connection.execute(SESSIONS.delete().where(SESSIONS.c.id == rows["sessions"][0]["id"]))
    return _receipt(caseload, code, (f"session {number}: all rows, {n_sounds} sounds",), until)


def put_client(caseload: Caseload, code: str, what: Literal["audio", "all"], until: dt.date) -> Receipt:
    """Put a client's kept sound, or the client with everything, into the bin.

    Raises
    ------
    RefusedError
        When the client is on hold, or a take is under way.
    CaseloadError
        When there is no such client, or a row is damaged.
    """
    if what == "all" and drafts.any_of(caseload, code):
        raise RefusedError(f"{code}: a take is under way; finish it or throw it away first, or erase all by --erase")
    with _put(caseload, code if what == "audio" else "", f"{what} until {until}") as connection:
        owner = _free_client(connection, code)
        rows = _rows(connection, owner)
        n_sounds = len(_sounds(rows))
        if what == "audio":
            _keep(caseload, connection, (code, what, None, until), _sound_only(rows))
            _take_out_sound(connection, rows)
        else:
            rows["audit"] = _audit(connection, code)
            _keep(caseload, connection, (code, what, None, until), rows)
            connection.execute(CLIENTS.delete().where(CLIENTS.c.id == owner))
            connection.execute(AUDIT.delete().where(AUDIT.c.id.in_([row["id"] for row in rows["audit"]])))
            connection.execute(SETTINGS.delete().where(SETTINGS.c.key.like("last_%"), SETTINGS.c.value == code))
            connection.execute(SETTINGS.delete().where(drafts.drafts_of(code)))
    n = len(rows["sessions"])
    told = f"{n_sounds} kept sounds" if what == "audio" else f"client {code} with {n} sessions and {n_sounds} sounds"
    return _receipt(caseload, code, (told,), until)


def _put(caseload: Caseload, code: str, detail: str) -> Any:
    return caseload.change("put into the bin", code, detail)


def _receipt(caseload: Caseload, code: str, lines: tuple[str, ...], until: dt.date) -> Receipt:
    return Receipt(code, caseload.clock(), (), STAYS, lines, until)


def _free_client(connection: sa.Connection, code: str) -> int:
    owner = client_id(connection, code)
    held = connection.execute(sa.select(CLIENTS.c.held).where(CLIENTS.c.id == owner)).scalar()
    if held:
        raise RefusedError(f"{code}: on hold ({held}), so nothing is removed; sibilant client hold {code} --off first")
    return owner


def _rows(connection: sa.Connection, owner: int) -> Rows:
    return {table.name: rows_of(connection, table, owner) for table in CARRIED}


def _of_session(rows: Rows, number: int) -> Rows:
    """The rows that hang on one session."""
    kept: Rows = {"sessions": [row for row in rows["sessions"] if row["number"] == number]}
    for table in CARRIED:
        for column, parent in PARENTS.items():
            if column in table.c and parent in kept and table.name not in kept and column != "recording_id":
                among = {row["id"] for row in kept[parent]}
                kept[table.name] = [row for row in rows[table.name] if row[column] in among]
    return kept


def _sound_only(rows: Rows) -> Rows:
    """Which words and recordings have their sound kept, by what stays when the sound goes."""
    numbers = {row["id"]: row["number"] for row in rows["sessions"]}
    whole = [row for row in rows["recordings"] if row["clip_sha256"]]
    return {
        "clips": [{**row, "session_id": numbers[row["session_id"]]} for row in rows["clips"]],
        "recordings": [{name: row[name] for name in ("sha256", "clip_sha256", "clip_suffix")} for row in whole],
    }


def _take_out_sound(connection: sa.Connection, rows: Rows) -> None:
    connection.execute(CLIPS.delete().where(CLIPS.c.id.in_([row["id"] for row in rows["clips"]])))
    whole = RECORDINGS.c.id.in_([row["id"] for row in rows["recordings"]])
    connection.execute(
        RECORDINGS.update().where(whole, RECORDINGS.c.clip_sha256.is_not(None)).values(clip_sha256=None, clip_suffix="")
    )


def _audit(connection: sa.Connection, code: str) -> list[dict[str, Any]]:
    mentions = sa.or_(AUDIT.c.subject == code, AUDIT.c.detail.contains(code))
    found = connection.execute(sa.select(AUDIT).where(mentions).order_by(AUDIT.c.id)).mappings()
    return [{name: value for name, value in row.items() if name != "checksum"} for row in found]


def _sounds(rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> set[tuple[str, str]]:
    words = {(row["sha256"], row["suffix"]) for row in rows.get("clips", ())}
    whole = rows.get("recordings", ())
    return words | {(row["clip_sha256"], row["clip_suffix"]) for row in whole if row["clip_sha256"]}


What = tuple[str, Kind, int | None, dt.date]


def _keep(caseload: Caseload, connection: sa.Connection, what: What, rows: Rows) -> int:
    """Keep rows as one text; return how many sounds they name."""
    code, kind, number, until = what
    entry = {"code": code, "kind": kind, "number": number, "put_at": caseload.clock(), "until": until}
    text = json.dumps(rows, default=lambda day: day.isoformat(), ensure_ascii=False)
    made = connection.execute(BINNED.insert().returning(BINNED.c.id), {**entry, "format": FORMAT, "content": text})
    binned = made.scalar_one()
    sounds = sorted(_sounds(rows))
    named = [(sha256, suffix, True) for sha256, suffix in sounds]
    named += [(row["sha256"], "", False) for row in rows["recordings"] if kind != "audio"]
    columns = ("sha256", "suffix", "kept")
    if named:
        found = [{"binned_id": binned, **dict(zip(columns, one, strict=True))} for one in named]
        connection.execute(BINNED_SOUNDS.insert(), found)
    return len(sounds)


def entries(caseload: Caseload, code: str = "") -> tuple[Entry, ...]:
    """Return what lies in the bin, of one client or of all, the latest first."""
    with caseload.read() as connection:
        query = sa.select(BINNED).order_by(BINNED.c.id.desc())
        rows = connection.execute(query.where(BINNED.c.code == code) if code else query).mappings().all()
    return tuple(_entry(dict(row)) for row in rows)


def _entry(row: Mapping[str, Any]) -> Entry:
    return Entry(row["id"], row["code"], row["kind"], row["number"], row["put_at"], row["until"])


def bring_back(caseload: Caseload, entry: Entry) -> int | None:
    """Bring back what lies in the bin; return a session's number, which is another where its own is taken by now.

    Raises
    ------
    RefusedError
        When the client's code, or one of the recordings, is kept again by now.
    CaseloadError
        When it is damaged, or gone, or its client is.
    """
    with caseload.change("brought back from the bin", entry.code, entry.told) as connection:
        rows = _content(connection, entry)
        connection.execute(BINNED.delete().where(BINNED.c.id == entry.id))
        if entry.kind == "audio":
            _sound_back(connection, entry, rows)
            return None
        heard = [str(row["sha256"]) for row in rows["recordings"]]
        if connection.execute(sa.select(RECORDINGS.c.id).where(RECORDINGS.c.sha256.in_(heard))).first():
            raise RefusedError(f"{entry.told}: one of its recordings is kept again by now; remove that session first")
        return _rows_back(connection, entry, rows)


def _content(connection: sa.Connection, entry: Entry) -> Rows:
    row = connection.execute(sa.select(BINNED).where(BINNED.c.id == entry.id)).mappings().first()
    if row is None:
        raise CaseloadError(f"{entry.told}: not in the bin any more")
    if not is_whole("binned", row):
        raise CaseloadError(f"{entry.told}: damaged in the bin; a backup has it whole")
    content: Rows = json.loads(row["content"])
    return {name: [_from_text(name, one) for one in found] for name, found in content.items()}


def _from_text(table: str, row: Mapping[str, Any]) -> dict[str, Any]:
    columns = METADATA.tables[table].c
    if odd := row.keys() - columns.keys():
        raise CaseloadError(f"the bin holds {table} {min(odd)}, which this program does not know; use the one before")
    return {name: _read(columns[name].type, value) for name, value in row.items()}


def _read(kind: object, value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if isinstance(kind, Moment):
        return dt.datetime.fromisoformat(value)
    return dt.date.fromisoformat(value) if isinstance(kind, Day | sa.Date) else value


def _rows_back(connection: sa.Connection, entry: Entry, rows: Rows) -> int | None:
    numbers: dict[str, dict[int, int]] = {}
    number = entry.number
    if entry.kind == "session":
        owner = client_id(connection, entry.code)
        numbers["clients"] = {int(rows["sessions"][0]["client_id"]): owner}
        taken = set(connection.execute(sa.select(SESSIONS.c.number).where(SESSIONS.c.client_id == owner)).scalars())
        number = number if number not in taken else max(taken) + 1
        rows["sessions"][0]["number"] = number
    elif connection.execute(sa.select(CLIENTS.c.id).where(CLIENTS.c.code == entry.code)).first():
        raise RefusedError(f"{entry.code}: this code is taken again; remove that client first")
    for table in CARRIED:
        if table.name in rows:
            numbers[table.name] = insert_rows(connection, table, rows[table.name], numbers)
    if rows.get("audit"):
        found = [{name: value for name, value in row.items() if name != "id"} for row in rows["audit"]]
        connection.execute(AUDIT.insert(), found)
    return number


def _sound_back(connection: sa.Connection, entry: Entry, rows: Rows) -> None:
    """Put back the sound of those words and recordings that are still kept."""
    owner = client_id(connection, entry.code)
    query = sa.select(SESSIONS.c.number, SESSIONS.c.id).where(SESSIONS.c.client_id == owner)
    sessions = {int(number): int(row) for number, row in connection.execute(query)}
    words = [row for row in rows["clips"] if row["session_id"] in sessions]
    fresh = [{**row, "session_id": sessions[row["session_id"]]} for row in words]
    if fresh:
        connection.execute(CLIPS.insert(), [{k: v for k, v in row.items() if k != "id"} for row in fresh])
    for row in rows["recordings"]:
        own = RECORDINGS.c.session_id.in_(sessions.values()), RECORDINGS.c.sha256 == row["sha256"]
        values = {"clip_sha256": row["clip_sha256"], "clip_suffix": row["clip_suffix"]}
        connection.execute(RECORDINGS.update().where(*own).values(**values))


def erase(caseload: Caseload, gone: Iterable[Entry]) -> tuple[str, ...]:
    """Erase what lies in the bin, with the sound that nothing else names; return the lines of the receipt."""
    found = tuple(gone)
    if not found:
        return ()
    before = clips.named_clips(caseload)
    with clips.at_work(caseload):
        for entry in found:
            live = entry.code if entry.kind != "all" else ""
            told = entry.told if live else "a client with everything kept of it"
            with caseload.change("erased from the bin", live, told) as connection:
                connection.execute(BINNED.delete().where(BINNED.c.id == entry.id))
        sounds = clips.erase_files(caseload, before - clips.named_clips(caseload))
    return (*lines(found), *sounds)


def lines(gone: Iterable[Entry]) -> tuple[str, ...]:
    """Return a line of the receipt for each thing that is erased from the bin."""
    return tuple(f"from the bin: {entry.told}, there since {entry.since:%Y-%m-%d}" for entry in gone)


def overdue(caseload: Caseload) -> tuple[Entry, ...]:
    """Return what has lain in the bin for its time; what is of a client on hold waits."""
    with caseload.read() as connection:
        if connection.execute(sa.select(BINNED.c.id).where(BINNED.c.until <= caseload.clock().date())).first() is None:
            return ()
        held = set(connection.execute(sa.select(CLIENTS.c.code).where(CLIENTS.c.held != "")).scalars())
    today = caseload.clock().date()
    return tuple(one for one in entries(caseload) if one.until <= today and one.code not in held)


def say_erased(receipt: Receipt) -> None:
    """Tell through the log, whose usual place is standard error, what went as its time was over."""
    words = "; ".join(receipt.erased)
    logging.getLogger("sibilant.store").warning(
        f"receipt, {receipt.on.isoformat(timespec='seconds')}: its time in the bin is over, erased: {words}; not"
        f" reached: {'; '.join(receipt.not_reached)}"
    )
