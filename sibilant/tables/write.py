"""Rows to CSV with a CSV-on-the-Web description beside it, and to JSON."""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from ..files import whole_file, write_text
from .columns import Column, token_columns
from .rows import Cell, Row

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "'")


def guarded(text: str) -> str:
    """Prefix a text cell that a spreadsheet would run as a formula with an apostrophe.

    Examples
    --------
    >>> guarded("=1+1"), guarded("seal")
    ("'=1+1", 'seal')
    """
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def unguarded(text: str) -> str:
    """Undo ``guarded``."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA_STARTS) else text


def rounded(value: Cell, column: Column) -> Cell:
    """Return a cell's value rounded to its column's decimals; NaN and infinities are no value."""
    if isinstance(value, float):
        if not math.isfinite(value):
            return None
        if column.datatype == "integer":
            return round(value)
        if column.decimals is not None:
            return round(value, column.decimals) + 0.0
    return value


def cell_text(value: Cell, column: Column) -> str:
    """Return the text of a cell as CSV holds it."""
    if isinstance(value, float) and column.datatype == "number" and column.decimals is not None:
        text = f"{value:.{column.decimals}f}" if math.isfinite(value) else ""  # rounds as ``rounded`` does
        return text.removeprefix("-") if text.startswith("-") and not float(text) else text
    if value is None or (value := rounded(value, column)) is None:
        return ""
    if column.datatype == "number" and isinstance(value, int | float):
        return repr(value) if column.decimals is None else f"{value:.{column.decimals}f}"
    return guarded(value) if isinstance(value, str) else str(value)


def table_lines(rows: Iterable[Mapping[str, Cell]], columns: Sequence[Column]) -> Iterator[str]:
    """Yield the CSV text of rows, header first, line by line."""
    yield from _lines([[guarded(column.name) for column in columns]])
    yield from row_lines(rows, columns)


def row_lines(rows: Iterable[Mapping[str, Cell]], columns: Sequence[Column]) -> Iterator[str]:
    r"""Yield the CSV text of rows, line by line, without a header.

    Examples
    --------
    >>> list(row_lines([{"a": 0.125, "b": "=1"}], (Column("a", "number", "", decimals=1), Column("b", "string", ""))))
    ["0.1,'=1\n"]
    """
    named = [(column.name, column) for column in columns]
    return _lines([cell_text(row[name], column) if name in row else "" for name, column in named] for row in rows)


def _lines(rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """CSV text of cells; told that lines end in both characters, the writer quotes a cell that holds either."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    for row in rows:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow(row)
        yield buffer.getvalue()[:-2] + "\n"


def write_table(
    path: Path, rows: Iterable[Mapping[str, Cell]], columns: Sequence[Column] | None = None, *, title: str = ""
) -> None:
    """Write rows as UTF-8 CSV, and ``PATH-metadata.json`` (W3C CSV on the Web) beside it; both whole or not at all.

    Raises
    ------
    OutputError
        When the place can't be written.
    """
    columns = columns or token_columns()
    write_lines(path, row_lines(rows, columns), columns, title=title)


def write_lines(path: Path, lines: Iterable[str], columns: Sequence[Column], *, title: str = "") -> None:
    """Write what ``row_lines`` gave, of one row or of many at once, as ``write_table`` writes rows.

    Raises
    ------
    OutputError
        When the place can't be written.
    """
    with whole_file(path) as stream:
        for line in itertools.chain(table_lines((), columns), lines):
            stream.write(line.encode("utf-8"))
        write_text(path.with_name(path.name + "-metadata.json"), description(path.name, columns, title=title))


def description(name: str, columns: Sequence[Column], *, title: str = "") -> str:
    """Return the CSV-on-the-Web description of a table."""
    document = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": name,
        "dc:title": title or "Sibilants, one row each",
        "dialect": {"encoding": "utf-8", "delimiter": ",", "header": True},
        "tableSchema": {"columns": [_column_description(column) for column in columns]},
    }
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def _column_description(column: Column) -> dict[str, object]:
    described: dict[str, object] = {
        "name": column.name,
        "titles": guarded(column.name),
        "datatype": column.datatype,
        "dc:description": column.description,
    }
    if column.unit:
        described["schema:unitText"] = column.unit
    return described


def json_rows(rows: Iterable[Mapping[str, Cell]], columns: Sequence[Column] | None = None) -> list[Row]:
    """Return rows with rounded numbers and every column present (None where there is no value), ready for JSON."""
    columns = columns or token_columns()
    return [{column.name: rounded(row.get(column.name), column) for column in columns} for row in rows]
