"""One client as plain rows by table, and back: what export writes and import reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError, RefusedError
from .caseload import Caseload
from .checksums import is_whole
from .encode import kept_cells, method_from, told_cells
from .people import client_id, codes
from .schema import (
    BINNED_SOUNDS,
    CHOICES,
    CLIENTS,
    CLIPS,
    CORRECTIONS,
    DEVICES,
    EARLIER,
    EVENTS,
    GOALS,
    JUDGEMENTS,
    LENT,
    MEASUREMENTS,
    METADATA,
    METHODS,
    ORDERS,
    PROMPTS,
    RECORDINGS,
    RUNS,
    SESSIONS,
    SURROUNDINGS,
    TOKENS,
    VISITS,
    Day,
    Moment,
    YesNo,
)

Rows = dict[str, list[dict[str, Any]]]
TABLES = (
    METHODS,
    DEVICES,
    CLIENTS,
    CHOICES,
    EVENTS,
    EARLIER,
    GOALS,
    VISITS,
    RUNS,
    SESSIONS,
    RECORDINGS,
    PROMPTS,
    CLIPS,
    SURROUNDINGS,
    ORDERS,
    TOKENS,
    MEASUREMENTS,
    JUDGEMENTS,
    CORRECTIONS,
    LENT,
)
PARENTS = {"client_id": "clients", "session_id": "sessions", "recording_id": "recordings", "token_id": "tokens"}


def dump_client(caseload: Caseload, code: str) -> Rows:
    """Return a client's rows by table as they are told, numbered from 1 in each; devices and methods are those used."""
    with caseload.read(code) as connection:
        owner = client_id(connection, code)
        found = {table.name: rows_of(connection, table, owner) for table in TABLES}
    used = {row["device"] for row in found["sessions"]}
    found["devices"] = [row for row in found["devices"] if row["name"] in used]
    labels = {row["method"] for row in found["measurements"]}
    found["methods"] = [row for row in found["methods"] if row["label"] in labels]
    return _renumbered({name: [dict(told_cells(name, row)) for row in rows] for name, rows in found.items()})


def rows_of(connection: sa.Connection, table: sa.Table, owner: int) -> list[dict[str, Any]]:
    """Return the rows of a table that hang on a client, in the order kept, without their checksums.

    Raises
    ------
    CaseloadError
        When one is damaged.
    """
    query = sa.select(table)
    if table is CLIENTS:
        query = query.where(CLIENTS.c.id == owner)
    elif "client_id" in table.c:
        query = query.where(table.c.client_id == owner)
    elif "session_id" in table.c:
        query = query.join(SESSIONS, SESSIONS.c.id == table.c.session_id).where(SESSIONS.c.client_id == owner)
    elif "token_id" in table.c:
        query = query.join(TOKENS, TOKENS.c.id == table.c.token_id)
        query = query.join(SESSIONS, SESSIONS.c.id == TOKENS.c.session_id).where(SESSIONS.c.client_id == owner)
    order = table.c.id if "id" in table.c else table.c.label
    rows = connection.execute(query.order_by(order)).mappings().all()
    for row in rows:
        if "checksum" in row and not is_whole(table.name, row):
            raise CaseloadError(
                f"{table.name} row {row[order.name]}: damaged, so nothing was exported or put into the bin; sibilant"
                " caseload check names all, a backup puts them right, --erase of a removal erases at once"
            )
    return [{name: value for name, value in row.items() if name != "checksum"} for row in rows]


def _renumbered(found: Rows) -> Rows:
    numbers = {
        name: {row["id"]: place for place, row in enumerate(rows, start=1)}
        for name, rows in found.items()
        if rows and "id" in rows[0]
    }
    return {name: [_with_numbers(name, row, numbers) for row in rows] for name, rows in found.items()}


def _with_numbers(name: str, row: Mapping[str, Any], numbers: Mapping[str, Mapping[int, int]]) -> dict[str, Any]:
    changed = dict(row)
    if "id" in changed:
        changed["id"] = numbers[name][row["id"]]
    for column, parent in PARENTS.items():
        if changed.get(column) is not None:
            changed[column] = numbers[parent][row[column]]
    return changed


def load_client(caseload: Caseload, rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> str:
    """Keep a client from its rows, whole or not at all; return its code.

    Raises
    ------
    RefusedError
        When its code is taken or one of its recordings is kept already.
    """
    code = refuse_taken(caseload, rows)
    with caseload.change("client imported", code, f"{len(rows['sessions'])} sessions") as connection:
        _refuse_kept(connection, [str(row["sha256"]) for row in rows["recordings"]])
        numbers: dict[str, dict[int, int]] = {}
        for table in TABLES:
            numbers[table.name] = insert_rows(connection, table, rows.get(table.name, ()), numbers)
    return code


def refuse_taken(caseload: Caseload, rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> str:
    """Return the client's code after seeing that it, its recordings and its methods can be kept.

    Raises
    ------
    RefusedError
        When the code is taken, a recording is kept already, or a method of the same name is another one here.
    """
    code = str(rows["clients"][0]["code"])
    if code in codes(caseload):
        raise RefusedError(f"{code}: this code is taken; import under a new one with --new-code")
    with caseload.read() as connection:
        _refuse_kept(connection, [str(row["sha256"]) for row in rows["recordings"]])
        kept = {row["label"]: row for row in connection.execute(sa.select(METHODS)).mappings()}
    for place, row in enumerate(rows["methods"], start=1):
        known = kept.get(row["label"])
        if known is not None and is_whole("methods", known) and not _same(known["definition"], row["definition"]):
            raise RefusedError(
                f"methods.csv: row {place}, column definition: {row['label'][:40]} is kept here with another"
                " definition; nothing was imported"
            )
    return code


def _same(one: str, other: str) -> bool:
    first, second = method_from(one), method_from(other)
    return replace(first, citation=second.citation, unknown=second.unknown) == second


def _refuse_kept(connection: sa.Connection, hashes: Sequence[str]) -> None:
    query = sa.select(sa.func.count()).where(RECORDINGS.c.sha256.in_(hashes))
    if connection.execute(query).scalar():
        raise RefusedError("one of its recordings is kept in this caseload already; nothing was imported")
    held = sa.select(BINNED_SOUNDS.c.id).where(BINNED_SOUNDS.c.sha256.in_(hashes), BINNED_SOUNDS.c.kept.is_(sa.false()))
    if connection.execute(held).first() is not None:
        raise RefusedError(
            "one of its recordings lies in the bin of this caseload (sibilant client bin); bring that back, or erase it"
        )


def insert_rows(
    connection: sa.Connection,
    table: sa.Table,
    rows: Sequence[Mapping[str, Any]],
    numbers: Mapping[str, Mapping[int, int]],
) -> dict[int, int]:
    """Insert rows under fresh numbers; return those by the old ones. Devices and methods known already are left."""
    key = {"devices": "name", "methods": "label"}.get(table.name)
    if key is not None:
        known = set(connection.execute(sa.select(table.c[key])).scalars())
        rows = [row for row in rows if row[key] not in known]
    if not rows:
        return {}
    fresh = []
    for row in rows:
        kept = {column: value for column, value in kept_cells(table.name, row).items() if column != "id"}
        for column, parent in PARENTS.items():
            if kept.get(column) is not None:
                kept[column] = numbers[parent][int(kept[column])]
        fresh.append(kept)
    if "id" not in table.c:
        connection.execute(table.insert(), fresh)
        return {}
    made = connection.execute(table.insert().returning(table.c.id, sort_by_parameter_order=True), fresh).scalars()
    return {int(row["id"]): int(number) for row, number in zip(rows, made, strict=True)}


def table_names() -> tuple[str, ...]:
    """Return the names of a client's tables, each after those that it hangs on."""
    return tuple(table.name for table in TABLES)


def column_kinds(table: str) -> dict[str, str]:
    """Return the kind of each column of a table: text, whole, number, yes, day or moment.

    Examples
    --------
    >>> column_kinds("events")["happened_on"]
    'day'
    """
    return {column.name: _kind(column) for column in METADATA.tables[table].c if column.name != "checksum"}


def may_be_empty(table: str, column: str) -> bool:
    """Return whether a column may hold no value at all."""
    return bool(METADATA.tables[table].c[column].nullable)


def _kind(column: sa.Column[Any]) -> str:
    for kind, types in (
        ("moment", Moment),
        ("day", Day),
        ("yes", YesNo),
        ("whole", sa.Integer),
        ("number", sa.Float),
    ):
        if isinstance(column.type, types):
            return kind
    return "text"
