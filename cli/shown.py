"""How results are printed: plain tables and JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import click


def print_json(document: object) -> None:
    """Print one JSON document."""
    click.echo(json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False))


def print_table(rows: Sequence[Mapping[str, object]], columns: Sequence[str]) -> None:
    """Print rows as an aligned table, numbers to the right, empty cells blank."""
    cells = [[_text(row.get(column)) for column in columns] for row in rows]
    widths = [max([len(c), *(len(line[i]) for line in cells)]) for i, c in enumerate(columns)]
    right = [any(isinstance(row.get(column), int | float) for row in rows) for column in columns]
    for line in [list(columns), *cells]:
        padded = (
            cell.rjust(width) if flush else cell.ljust(width)
            for cell, width, flush in zip(line, widths, right, strict=True)
        )
        click.echo("  ".join(padded).rstrip())


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".") if abs(value) < 100 else f"{value:.0f}"
    return str(value)
