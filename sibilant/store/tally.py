"""The tally of an encrypted caseload: one digest a table, written with every change, so that no part can be older.

SQLCipher vouches for each page by itself: a page of an older copy, put into the newer one, still opens. The tally lies
in one row, covers the checksums of every row and the settings, counts the changes, and is compared when the caseload
is opened; the same count stands in the file's head. A consent's withdrawal can then not be undone by putting back the
pages that held it. What it can't tell is an older copy as a whole.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path

import sqlalchemy as sa

from ..errors import CaseloadError
from .checksums import SEALED, own_check, state_of
from .schema import SETTINGS, SPARSE

KEY, COUNT = "tally", "changes"
MOST_COUNT = 2**31 - 1  # what SQLite's user_version holds; then the count starts again
_COMPARED: dict[str, object] = {}


def digest_of(connection: sa.Connection, table: sa.Table) -> str:
    """Return the digest of a table: SHA-256 over the name and checksum of each row.

    A large table's is taken from an index that holds both, which the database's own check compares with the rows.
    """
    name = "label" if "label" in table.c else "id"
    order = f"checksum, {name}" if table in SPARSE else name
    rows = connection.exec_driver_sql(f'SELECT checksum, {name} FROM "{table.name}" ORDER BY {order}')
    digest = hashlib.sha256()
    for checksum, key in rows:
        digest.update(f"{checksum}:{key};".encode("utf-8", "surrogatepass"))
    return digest.hexdigest()


def _digest_of_settings(connection: sa.Connection) -> str:
    query = sa.select(SETTINGS.c.key, SETTINGS.c.value).where(SETTINGS.c.key != KEY).order_by(SETTINGS.c.key)
    rows = [[key, value] for key, value in connection.execute(query)]
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()


def write(connection: sa.Connection, touched: Iterable[sa.Table] = SEALED) -> None:
    """Write the tally anew, for the tables that a change touched; the others' stay."""
    kept = _kept(connection)
    for table in touched if kept else SEALED:
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
    """Refuse an encrypted database whose rows are not those that its tally was written for; looked at once a state.

    Raises
    ------
    CaseloadError
        When they are not, or there is no tally.
    """
    if _COMPARED.get(str(path)) == (state := state_of(path)):
        return
    kept = _kept(connection)
    head = str(connection.exec_driver_sql("PRAGMA user_version").scalar())
    settings = kept.get(SETTINGS.name)  # not in the tally of an earlier program
    mixed = kept.get(COUNT) != head or bool(own_check(connection, path))
    mixed = mixed or settings not in (None, _digest_of_settings(connection))
    if mixed or any(kept.get(table.name) != digest_of(connection, table) for table in SEALED):
        raise CaseloadError(
            f"caseload {path.parent.name}: its parts are of different times, as if older ones had been put into it;"
            " restore a backup, or take it as it is by: sibilant caseload passphrase --recover"
        )
    _COMPARED.clear()
    _COMPARED[str(path)] = state


def _kept(connection: sa.Connection) -> dict[str, str]:
    found = connection.execute(sa.select(SETTINGS.c.value).where(SETTINGS.c.key == KEY)).scalar()
    return dict(json.loads(found)) if found else {}
