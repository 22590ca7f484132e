"""A look at everything kept: rows against their checksums, sounds against their hashes; nothing is changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError
from . import clips, keys, owning, sealing
from .caseload import Caseload
from .checking import row_misfits
from .checksums import SEALED, is_whole, own_check
from .encode import told_cells
from .schema import CLIENTS


@dataclass(frozen=True, slots=True)
class LookAtRows:
    """How many rows were looked at, and the names of the damaged ones with the reason."""

    n_rows: int
    damaged: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LookAtSounds:
    """How many sounds the rows name, and what was found of the files by kind of finding."""

    n_sounds: int
    found: Mapping[str, list[str]] = field(default_factory=dict)


def look_at_key(caseload: Caseload) -> tuple[str, ...]:
    """Name the key's file where it opens and is not as it was written; a plain caseload has none."""
    if not caseload.encrypted or keys.is_as_written(caseload.folder):
        return ()
    return (f"{keys.KEY_FILE}: changed since it was written; it still opens: sibilant caseload passphrase renews it",)


def look_at_rows(caseload: Caseload) -> LookAtRows:
    """Compare every row with its checksum, and see that it can be read."""
    damaged: list[str] = []
    n_rows = 0
    with caseload.read() as connection:
        damaged += own_check(connection, caseload.database)
        for code in connection.execute(sa.select(CLIENTS.c.code).order_by(CLIENTS.c.code)).scalars().all():
            if missing := owning.misfit(connection, code):
                damaged.append(f"{code}: {missing}")
        for table in SEALED:
            for row in connection.execute(sa.select(table)).mappings():
                n_rows += 1
                name = f"{table.name} row {row['id'] if 'id' in row else str(row['label'])[:40]}"
                if not is_whole(table.name, row):
                    damaged.append(f"{name}: changed since it was kept")
                elif odd := _odd(table.name, row):
                    damaged.append(f"{name}: {odd}")
    return LookAtRows(n_rows, tuple(damaged))


def _odd(table: str, row: Mapping[Any, Any]) -> str:
    """Return why a row that is as it was kept can't be read, with its column; empty where it can."""
    try:
        odd = row_misfits(table, told_cells(table, row))
    except (ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        return f"its lists can't be read ({type(error).__name__})"
    return f"column {odd[0][0] or 'any'}: {odd[0][1]}" if odd else ""


def look_at_sounds(caseload: Caseload) -> LookAtSounds:
    """Compare every kept sound with its hash, and name files that no row names."""
    found: dict[str, list[str]] = defaultdict(list)
    named = sorted((str(sha256), str(suffix)) for sha256, suffix in clips.clips_of_rows(caseload))
    sealed = caseload.keys is not None
    there = set()
    for sha256, suffix in named:
        name = f"sound {sha256[:12]}"
        try:
            path = clips.clip_path(caseload, sha256, suffix)
            there.add(path)
            clips.clip_bytes(caseload, sha256, suffix)
        except (CaseloadError, ValueError) as error:
            found[_kind(error)].append(name)
    for path in clips.clip_files(caseload):
        if path not in there:
            plain = sealed and path.suffix != sealing.SUFFIX
            found["plain" if plain else "left over"].append(f"sound {path.name[:12]}")
    return LookAtSounds(len(named), found)


def _kind(error: Exception) -> str:
    if isinstance(error.__cause__, FileNotFoundError):
        return "missing"
    return "unreadable" if isinstance(error.__cause__, OSError) or isinstance(error, ValueError) else "changed"
