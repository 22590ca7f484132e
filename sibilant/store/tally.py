"""One row that says how an encrypted caseload stood when it was last changed: its parts are of one time, or it says so.

SQLCipher vouches for each page by itself: a page of an older copy, put into the newer one, still opens. The tally lies
in one row, covers the checksums of every row that belongs to the caseload, each client's digest of its own rows among
them, and the settings, counts the changes, and is compared when the caseload is opened; the same count stands in the
file's head. A client's rows are compared with its digest before they are read or changed. A consent's withdrawal can
then not be undone by putting back the pages that held it. What it can't tell is an older copy as a whole.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable
from pathlib import Path

import sqlalchemy as sa

from ..errors import CaseloadError
from . import owning
from .checksums import own_check, own_check_of, state_of
from .owning import APART
from .schema import CLIENTS, SETTINGS, TALLIES

KEY, COUNT = "tally", "changes"
MOST_COUNT = 2**31 - 1  # what SQLite's user_version holds; then the count starts again
_COMPARED: dict[object, set[str | None]] = {}
"""Whose rows fitted in a state of the file, by code; None: those of the caseload itself."""


def digest_of(connection: sa.Connection, table: sa.Table) -> str:
    """Return the digest of a table: SHA-256 over the name and checksum of each row."""
    name = "label" if "label" in table.c else "id"
    rows = connection.exec_driver_sql(f'SELECT checksum, {name} FROM "{table.name}" NOT INDEXED ORDER BY {name}')
    digest = hashlib.sha256()
    for checksum, key in rows:
        digest.update(f"{checksum}:{key};".encode("utf-8", "surrogatepass"))
    return digest.hexdigest()


def _digest_of_settings(connection: sa.Connection) -> str:
    query = sa.select(SETTINGS.c.key, SETTINGS.c.value).where(SETTINGS.c.key != KEY).order_by(SETTINGS.c.key)
    rows = [[key, value] for key, value in connection.execute(query)]
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()


def write(connection: sa.Connection, touched: Collection[sa.Table] = APART) -> None:
    """Write the tally anew, for the tables that a change touched; the others' stay."""
    kept = _kept(connection)
    for table in APART:
        if not kept or table in touched or table is TALLIES:
            kept[table.name] = digest_of(connection, table)
    kept[SETTINGS.name] = _digest_of_settings(connection)
    kept[COUNT] = str(int(kept.get(COUNT, "0")) % MOST_COUNT + 1)
    connection.exec_driver_sql(f"PRAGMA user_version = {kept[COUNT]}")
    erase(connection)
    connection.execute(SETTINGS.insert().values(key=KEY, value=json.dumps(kept)))


def erase(connection: sa.Connection) -> None:
    """Take the tally away, as in a caseload that becomes a plain one."""
    connection.execute(SETTINGS.delete().where(SETTINGS.c.key == KEY))


def refuse_mixed(connection: sa.Connection, path: Path) -> None:
    """Refuse an encrypted database whose own rows are not those that its tally was written for; looked at once a state.

    Raises
    ------
    CaseloadError
        When they are not, or there is no tally.
    """
    fitted = _fitted(path)
    if None in fitted:
        return
    kept = _kept(connection)
    head = str(connection.exec_driver_sql("PRAGMA user_version").scalar())
    mixed = kept.get(COUNT) != head or bool(own_check_of(connection, (*APART, SETTINGS)))
    mixed = mixed or kept.get(SETTINGS.name) != _digest_of_settings(connection)
    if mixed or any(kept.get(table.name) != digest_of(connection, table) for table in APART):
        raise _mixed(path)
    fitted.add(None)


def refuse_mixed_of(connection: sa.Connection, path: Path | None, codes: Iterable[str]) -> None:
    """Refuse where a client's rows are not those that its digest was made of; looked at once a state.

    Raises
    ------
    CaseloadError
        When they are not.
    """
    if path is None:
        return
    fitted = _fitted(path)
    for code in codes:
        if code not in fitted and owning.misfit(connection, code):
            raise _mixed(path)
        fitted.add(code)


def refuse_all_mixed(connection: sa.Connection, path: Path | None) -> None:
    """Refuse where any client's rows are not those that its digest was made of, or the database's own check says no.

    Raises
    ------
    CaseloadError
        When they are not.
    """
    if path is None:
        return
    if own_check(connection, path):
        raise _mixed(path)
    refuse_mixed_of(connection, path, connection.execute(sa.select(CLIENTS.c.code)).scalars().all())


def _fitted(path: Path) -> set[str | None]:
    """Return whose rows were seen to fit in the present state of the file."""
    state = state_of(path)
    if state not in _COMPARED:
        _COMPARED.clear()
    return _COMPARED.setdefault(state, set())


def _mixed(path: Path) -> CaseloadError:
    return CaseloadError(
        f"caseload {path.parent.name}: its parts are of different times, as if older ones had been put into it;"
        " restore a backup, or take it as it is by: sibilant caseload passphrase --recover"
    )


def _kept(connection: sa.Connection) -> dict[str, str]:
    found = connection.execute(sa.select(SETTINGS.c.value).where(SETTINGS.c.key == KEY)).scalar()
    return dict(json.loads(found)) if found else {}
