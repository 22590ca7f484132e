"""How a study's figures are written: decimals by measure, and the columns of the data dictionary."""

from __future__ import annotations

from .. import tables
from ..terms import MEASURES


def decimals_of(name: str, measure: str) -> int:
    """Decimals that a figure is told with: those of its measure and one more in its unit, else two to four."""
    if name.startswith("p") and name.split("_")[0] == "p":
        return 4
    if name.startswith("g") or name == "in_sd":
        return 2
    if name.startswith(("mean", "difference", "low", "high", "estimate", "error")):
        return MEASURES[measure].decimals + 1 if measure in MEASURES else 3
    return 3


def dictionary_columns() -> tuple[tables.Column, ...]:
    """Return the columns of the data dictionary."""
    return (
        tables.Column("table", "string", "File the column stands in"),
        tables.Column("name", "string", "Name of the column"),
        tables.Column("datatype", "string", "string, integer or number"),
        tables.Column("unit", "string", "Unit, empty where there is none"),
        tables.Column("lowest", "string", "Lowest value found, empty for text"),
        tables.Column("highest", "string", "Highest value found, empty for text"),
        tables.Column("how", "string", "What it is and how it is computed"),
        tables.Column("missing", "string", "How a missing value is written"),
        tables.Column("n_missing", "integer", "How many are missing"),
    )
