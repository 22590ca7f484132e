"""A checksum in every row: made when a change ends, compared when the row is read, so that decay is noticed.

It guards against chance (a flipped bit, a half-written page), not against a person who can write the database: that
person can write a checksum too.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa

from ..errors import RefusedError
from .schema import METADATA

SEALED = tuple(table for table in METADATA.sorted_tables if "checksum" in table.c)
DIGITS = 16  # 64 bits: against damage, not against a forger (docs/security.md)
CONTROL = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]|\\u00(?:0[0-8bcefBCEF]|1[0-9a-fA-F])"
)
"""A control character, half of one, or none at all; in JSON text they are written as an escape."""
Found = TypeVar("Found")
_CHECKED: dict[tuple[Any, ...], list[str]] = {}


def checksum_of(table: str, row: Mapping[Any, Any]) -> str:
    """Return the checksum of a row: the first 64 bits of SHA-256 over its table's name and all its cells in order.

    Examples
    --------
    >>> one = {"id": 1, "client_id": 1, "happened_on": dt.date(2026, 1, 2), "what": "lost tooth"}
    >>> checksum_of("events", one) == checksum_of("events", {**one, "what": "lost tooti"})
    False
    """
    return digest_of(table, [row.get(column.name) for column in METADATA.tables[table].c if column.name != "checksum"])


def digest_of(table: str, cells: Sequence[Any]) -> str:
    """Return the checksum of a row's cells, all but the checksum itself, in the order of the table's columns."""
    digest = hashlib.sha256(table.encode())
    for value in cells:
        cell = _cell(value)
        digest.update(b"%d:" % len(cell) + cell)
    return digest.hexdigest()[:DIGITS]


def _cell(value: Any) -> bytes:
    """Return a cell as bytes that no value of another kind gives."""
    if isinstance(value, str):
        return b"t" + value.encode("utf-8", "surrogatepass")
    if isinstance(value, bytes):
        return b"b" + value
    if isinstance(value, dt.datetime):
        return (
            b"m" + value.astimezone(dt.UTC).isoformat().encode() if value.tzinfo else b"n" + value.isoformat().encode()
        )
    if isinstance(value, dt.date):
        return b"d" + value.isoformat().encode()
    return type(value).__name__.encode() + repr(value).encode()


def _refuse_control(table: str, row: Mapping[Any, Any]) -> None:
    for column, cell in row.items():
        found = CONTROL.search(cell) if isinstance(cell, str) else None
        if found is not None:
            code = ord(found[0]) if len(found[0]) == 1 else int(found[0][2:], 16)
            raise RefusedError(
                f"{table}: {column}: holds a control character (U+{code:04X}), which no page can show; take it out,"
                " nothing was kept"
            )


def is_whole(table: str, row: Mapping[Any, Any]) -> bool:
    """Say whether a row is as it was when its change ended."""
    return bool(row["checksum"] == checksum_of(table, row))


def readable(table: str, row: Mapping[Any, Any], read: Callable[[], Found], aside: list[str]) -> Found | None:
    """Return what a row holds; None, its name added to ``aside``, where it has changed or can't be read."""
    if is_whole(table, row):
        with suppress(ValueError, KeyError, TypeError, AttributeError, IndexError):
            return read()
    aside.append(f"{table} row {row['id'] if 'id' in row else str(row['label'])[:40]}")
    return None


def say_set_aside(of: str, aside: Sequence[str]) -> None:
    """Tell through the log what was set aside; the log's usual place is standard error."""
    if aside:
        more = f" and {len(aside) - 3} more" if len(aside) > 3 else ""
        words = f"caution: {of}: set aside as damaged: {', '.join(aside[:3])}{more}; see: sibilant caseload check"
        logging.getLogger("sibilant.store").warning(words)


def state_of(path: Path) -> tuple[Any, ...]:
    """Return what tells one state of a SQLite file from another: time and size of it and of what stands beside it."""
    stamps = [one.stat() for one in (path, path.with_name(f"{path.name}-wal")) if one.exists()]
    return (str(path), *((stamp.st_mtime_ns, stamp.st_size) for stamp in stamps))


def own_check_of(connection: sa.Connection, tables: Sequence[sa.Table]) -> list[str]:
    """Return what SQLite's own check finds wrong in the pages and indexes of some tables."""
    if connection.dialect.name != "sqlite":
        return []
    said = (connection.exec_driver_sql(f'PRAGMA integrity_check("{table.name}")').scalar() for table in tables)
    return [_told(str(one)) for one in said if one != "ok"]


def own_check(connection: sa.Connection, path: Path | None) -> list[str]:
    """Return what SQLite's own check finds wrong in all pages and indexes, which could hide a row; once a state."""
    if connection.dialect.name != "sqlite" or path is None:
        return []
    if (state := state_of(path)) not in _CHECKED:
        found = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(3)")]
        hanging = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
        _CHECKED.clear()
        _CHECKED[state] = [] if found == ["ok"] else [_told(found[0])]
        if hanging is not None:
            _CHECKED[state].append(f"{hanging[0]} row {hanging[1]}, which hangs on none of {hanging[2]}")
    return _CHECKED[state]


def _told(said: str) -> str:
    return f"the database's own check: {' '.join(said.split())[:80]}"


@contextmanager
def sealing_rows(connection: sa.Connection) -> Iterator[set[sa.Table]]:
    """Give a checksum to every row that is inserted or updated inside; nothing is sealed after a failure.

    Yields the tables whose rows are changed, filled while that happens; a row that goes takes others along.
    """
    touched: set[sa.Table] = set()

    def note(_connection: Any, statement: Any, *_: Any) -> None:
        if isinstance(statement, sa.Insert | sa.Update | sa.Delete) and isinstance(statement.table, sa.Table):
            touched.update(_with_rows_of(statement.table) if isinstance(statement, sa.Delete) else {statement.table})

    sa.event.listen(connection, "after_execute", note)
    try:
        yield touched
    finally:
        sa.event.remove(connection, "after_execute", note)
    for table in SEALED:
        if table in touched:
            seal(connection, table)


def _with_rows_of(table: sa.Table) -> set[sa.Table]:
    """A table and those whose rows go with a row of it."""
    found = {table}
    for other in METADATA.sorted_tables:  # each after those that it hangs on
        if any(key.column.table in found for key in other.foreign_keys):
            found.add(other)
    return found


def seal(connection: sa.Connection, table: sa.Table, *, fresh: bool = True) -> int:
    """Give a checksum to every row of a table that has none; return how many.

    Raises
    ------
    RefusedError
        When a fresh row holds a control character; without ``fresh`` rows are sealed as found.
    """
    key = next(iter(table.primary_key.columns))
    made = []
    for row in connection.execute(sa.select(table).where(table.c.checksum.is_(None))).mappings():
        if fresh:
            _refuse_control(table.name, row)
        made.append({"named": row[key.name], "made": checksum_of(table.name, row)})
    if made:
        update = table.update().where(key == sa.bindparam("named")).values(checksum=sa.bindparam("made"))
        connection.execute(update, made)
    return len(made)
