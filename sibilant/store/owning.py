"""Which rows are a client's, and one digest of them all: kept with every change, compared when the client is read.

A checksum tells that a row has changed, never that one is missing. The digest of a client covers the name and checksum
of every row that hangs on it, so a row that an index hides, that a page lost, or that is of another time is noticed in
time that grows with that client alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import sqlalchemy as sa

from .checksums import SEALED, is_whole, seal
from .schema import CLIENTS, LENDERS, METADATA, TALLIES

OF_SESSION = " JOIN sessions ON sessions.id = {of}.session_id"
ROADS = {
    "client_id": "",
    "session_id": OF_SESSION,
    "token_id": " JOIN tokens ON tokens.id = {of}.token_id" + OF_SESSION.format(of="tokens"),
}
"""How a row leads to its client, by the column that says on what it hangs."""
HANGING = tuple(
    table for table in METADATA.sorted_tables if table not in {LENDERS, TALLIES} and ROADS.keys() & table.c.keys()
)
"""The tables whose rows are a client's; what it lends is made anew from them, and belongs to the caseload."""
APART = tuple(table for table in SEALED if table not in HANGING)
"""The tables whose rows belong to the caseload, clients themselves and their digests among them."""


def _rows_in(table: sa.Table) -> str:
    name, road = table.name, next(column for column in ROADS if column in table.c)
    owner = f"{name}.client_id" if road == "client_id" else "sessions.client_id"
    joined = ROADS[road].format(of=name)
    return f"SELECT '{name}', {name}.id, {name}.checksum FROM {name}{joined} WHERE {owner} = :owner"


ROWS = sa.text(" UNION ALL ".join(_rows_in(table) for table in HANGING))


def digest_of(connection: sa.Connection, owner: int) -> str:
    """Return the digest of a client's rows: SHA-256 over table, number and checksum of each, in that order."""
    rows = sorted(
        f"{table}:{number}:{checksum};" for table, number, checksum in connection.execute(ROWS, {"owner": owner})
    )
    return hashlib.sha256("".join(rows).encode("utf-8", "surrogatepass")).hexdigest()


def misfit(connection: sa.Connection, code: str) -> str:
    """Say how the rows of a client differ from what was kept; empty where they do not, or there is no such client."""
    owner = _owner(connection, code)
    if owner is None:
        return ""
    kept = connection.execute(sa.select(TALLIES).where(TALLIES.c.client_id == owner)).mappings().first()
    if kept is None:
        return "the digest of the client's rows, which is missing"
    if not is_whole("tallies", kept):
        return f"tallies row {kept['id']}"
    return "" if kept["digest"] == digest_of(connection, owner) else "rows that are missing, or of another time"


def renew(connection: sa.Connection, codes: Iterable[str]) -> None:
    """Keep the digests of clients as their rows stand now; a code that is no client's has none."""
    for code in codes:
        if (owner := _owner(connection, code)) is not None:
            connection.execute(TALLIES.delete().where(TALLIES.c.client_id == owner))
            connection.execute(TALLIES.insert().values(client_id=owner, digest=digest_of(connection, owner)))
    seal(connection, TALLIES)


def renew_all(connection: sa.Connection) -> None:
    """Keep every client's digest anew, as after a migration."""
    connection.execute(TALLIES.delete())
    renew(connection, connection.execute(sa.select(CLIENTS.c.code)).scalars().all())


def _owner(connection: sa.Connection, code: str) -> int | None:
    return connection.execute(sa.select(CLIENTS.c.id).where(CLIENTS.c.code == code)).scalar()
