"""The door for exports: every file, row and cell is checked before anything is kept; what does not fit is named."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .. import files, methods, store, tables
from ..errors import InputError, MethodError

FORM = "sibilant-export/1"
JSON_DAYS = {"consent", "treated", "therapy"}
LATER = {"therapy", "elicited"}
"""Columns that exports of earlier versions don't have; empty there."""
LATER_TABLES = {"goals", "visits", "practice_runs", "lent", "surroundings", "method_choices"}
"""Tables that exports of earlier versions don't have."""
MOST_BYTES = 256 << 20  # an export beyond these is refused before it is read
MOST_ROWS = 500_000  # rows a table
MOST_DAYS = 100_000  # days from the first probe
AGAIN = "nothing was imported; export again, or correct it"


@dataclass(frozen=True, slots=True)
class Export:
    """What an export folder holds, its cells as text; ``sounds`` names its files of sound, hash and suffix."""

    folder: Path
    cells: Mapping[str, Sequence[Mapping[str, str]]]
    sounds: tuple[str, ...]

    def days(self) -> int:
        """How many days after the first probe the last one was."""
        return max(
            (_whole("sessions", i, row, "held_on_day") for i, row in _numbered(self.cells["sessions"])), default=0
        )

    def rows(self, zero: dt.date) -> store.Rows:
        """Return all rows with their days and moments on the calendar, checked one by one and together.

        Raises
        ------
        InputError
            Names file, row and column of the first that does not fit.
        """
        found = {
            table: [_absolute(table, place, row, zero) for place, row in _numbered(kept)]
            for table, kept in self.cells.items()
        }
        for odd in store.misfits(found):
            raise _odd(odd.table, odd.row, odd.column, odd.why)
        _check_methods(found)
        self._check_sounds(found)
        return found

    def _check_sounds(self, rows: store.Rows) -> None:
        named = {f"{row['sha256']}{row['suffix']}" for row in rows["clips"]}
        named |= {f"{row['clip_sha256']}{row['clip_suffix']}" for row in rows["recordings"] if row["clip_sha256"]}
        odd = sorted(named ^ set(self.sounds))
        if odd:
            raise InputError(
                f"export.json: sounds: {odd[0][:20]!r} is listed but in no row, or the other way round; {AGAIN}"
            )
        for name in self.sounds:
            self.sound(name)

    def sound(self, name: str) -> bytes:
        """Return the bytes of one sound after comparing them with its name.

        Raises
        ------
        InputError
            When it is missing or changed.
        """
        content = _content(self.folder / "audio", name)
        if hashlib.sha256(content).hexdigest() != Path(name).stem:
            raise InputError(f"{name[:20]}: a sound of the export is missing or changed; {AGAIN}")
        return content


def read_export(folder: Path) -> Export:
    """Read an export folder; its files are compared with the hashes that it lists.

    Raises
    ------
    InputError
        When the folder is no export, or a file in it is missing, changed, or no such table.
    """
    described = _described(folder)
    cells: dict[str, list[dict[str, str]]] = {}
    for table in store.table_names():
        if table in LATER_TABLES and f"{table}.csv" not in described["files"]:
            cells[table] = []
            continue
        content = _content(folder, f"{table}.csv")
        if described["files"].get(f"{table}.csv") != hashlib.sha256(content).hexdigest():
            raise InputError(f"{table}.csv: missing, or changed since it was exported; export again")
        cells[table] = _read_csv(table, content)
    return Export(folder, cells, tuple(described["sounds"]))


def _described(folder: Path) -> dict[str, Any]:
    if not (folder / "export.json").exists():
        raise InputError(f"{folder.name}: no export here (export.json is missing); name the folder that export wrote")
    try:
        described = files.from_json(_content(folder, "export.json"))
        form, hashes, sounds = described["form"], described["files"], described["sounds"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError("export.json: damaged; export again") from error
    if form != FORM:
        raise InputError(f"export.json: form {str(form)[:30]}, this program reads {FORM}; install another version")
    texts = isinstance(sounds, list) and all(isinstance(one, str) for one in sounds)
    if not (isinstance(hashes, dict) and texts) or len(set(sounds)) < len(sounds):
        raise InputError("export.json: files is an object of hashes, sounds a list of names; export again")
    return {"files": hashes, "sounds": sounds}


def _content(folder: Path, name: str) -> bytes:
    """Return a file's bytes: a regular one, of the folder itself, of a size that an export can have."""
    if files.safe_name(name) != name or len(name) > 100:
        raise InputError(f"export.json: {name[:30]!r} is no name of a file of an export; {AGAIN}")
    return files.read_bytes(folder / name, most=MOST_BYTES)


def _read_csv(table: str, content: bytes) -> list[dict[str, str]]:
    expected = columns(table)
    csv.field_size_limit(1 << 24)
    try:
        rows = list(csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))
    except (csv.Error, UnicodeDecodeError) as error:
        raise InputError(f"{table}.csv: not a CSV table in UTF-8 ({str(error)[:60]}); {AGAIN}") from error
    have = set(rows[0]) if rows else set()
    expected = [name for name in expected if name in have or name not in LATER]
    if not rows or rows[0] != expected:
        odd = sorted(set(expected) ^ set(rows[0] if rows else []))
        said = f"column {odd[0][:30]!r} is missing or not known" if odd else "its columns stand in another order"
        raise InputError(f"{table}.csv: {said}; {AGAIN}")
    if len(rows) > MOST_ROWS:
        raise InputError(f"{table}.csv: {len(rows)} rows, at most {MOST_ROWS}; {AGAIN}")
    for place, row in enumerate(rows[1:], start=1):
        if len(row) != len(expected):
            raise _odd(table, place, "", f"{len(row)} cells for {len(expected)} columns")
    return [dict(zip(expected, row, strict=True)) for row in rows[1:]]


def columns(table: str) -> list[str]:
    """Return the columns of a table as exported: days end in ``_on_day``, moments in ``_at_s``."""
    return [exported(name, kind) for name, kind in store.column_kinds(table).items()]


def exported(name: str, kind: str) -> str:
    """Return the name of a column as exported."""
    return f"{name}_day" if kind == "day" else f"{name}_s" if kind == "moment" else name


def _numbered(rows: Sequence[Mapping[str, str]]) -> Sequence[tuple[int, Mapping[str, str]]]:
    return list(enumerate(rows, start=1))


def _odd(table: str, row: int, column: str, why: str) -> InputError:
    where = f", column {column}" if column else ""
    return InputError(f"{table}.csv: row {row}{where}: {why}; {AGAIN}")


def _whole(table: str, place: int, row: Mapping[str, str], column: str) -> int:
    try:
        found = int(row[column])
        if abs(found) > MOST_DAYS:
            raise ValueError(found)
        return found
    except ValueError:
        raise _odd(table, place, column, f"a whole number of days was expected, not {row[column][:20]!r}") from None


def _absolute(table: str, place: int, row: Mapping[str, str], zero: dt.date) -> dict[str, Any]:
    """Return an exported row with its days and moments on the calendar again."""
    found: dict[str, Any] = {}
    for name, kind in store.column_kinds(table).items():
        column = exported(name, kind)
        try:
            found[name] = _value(table, name, kind, row.get(column, ""), zero)
        except (ValueError, OverflowError, TypeError, AttributeError, RecursionError):
            raise _odd(
                table, place, column, f"{_EXPECTED[kind]} was expected, not {row.get(column, '')[:20]!r}"
            ) from None
    return found


_EXPECTED = {
    "whole": "a whole number", "number": "a number", "yes": "yes or no", "text": "a text as export writes it",
    "day": "a whole number of days", "moment": "a number of seconds",
}  # fmt: skip


def _value(table: str, name: str, kind: str, cell: str, zero: dt.date) -> Any:
    if cell == "":
        return "" if kind == "text" and not store.may_be_empty(table, name) else None
    if kind == "text":
        text = tables.unguarded(cell)
        return (
            json_days(text, lambda day: (zero + dt.timedelta(days=day)).isoformat(), name)
            if name in JSON_DAYS
            else text
        )
    return READ[kind](cell, zero)


def json_days(text: str, turn: Callable[[Any], Any], column: str) -> str:
    """Return a JSON object with its days turned; ``column`` says which of its values are days."""
    content = files.from_json(text)
    for key, value in content.items():
        if value is not None and (column == "treated" or key.endswith("_on")):
            content[key] = turn(value)
    return json.dumps(content, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def _moment(cell: str, zero: dt.date) -> dt.datetime:
    whole, _, part = cell.partition(".")
    micro = int((part + "000000")[:6]) * (-1 if cell.startswith("-") else 1)
    start = dt.datetime.combine(zero, dt.time(), dt.UTC)
    return start + dt.timedelta(seconds=int(whole), microseconds=micro)


READ: Mapping[str, Callable[[str, dt.date], Any]] = {
    "whole": lambda cell, _: int(cell),
    "number": lambda cell, _: float(cell),
    "yes": lambda cell, _: {"yes": True, "no": False}.get(cell, cell),
    "day": lambda cell, zero: zero + dt.timedelta(days=int(cell)),
    "moment": _moment,
}


def _check_methods(rows: store.Rows) -> None:
    """Refuse a method that calls itself one of this program's and is another: all clients share the methods."""
    for place, row in enumerate(rows["methods"], start=1):
        try:
            own = methods.get_method(row["label"])
        except MethodError:
            continue  # an earlier version, or one with a microphone's response divided out
        found = store.method_from(row["definition"])
        if replace(found, citation=own.citation, unknown=own.unknown) != own:
            raise _odd("methods", place, "definition", f"is not that of {own.label}, which this program knows")
    client = rows["clients"][0]["method"]
    try:
        methods.get_method(client)
    except MethodError:
        raise _odd("clients", 1, "method", f"{client[:30]!r} is no method") from None
