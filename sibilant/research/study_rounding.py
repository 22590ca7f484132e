"""Results of a study as plain data, each number to the decimals that it is told with."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

from ..tables import Row
from ..terms import MEASURES

_IN_UNIT = (
    "mean", "difference", "low", "high", "estimate", "error", "found_at_80", "against", "moved", "least", "most",
    "other_estimate", "other_low", "other_high",
)  # fmt: skip
_SHARES = {"alpha_low", "alpha_high", "kappa_low", "kappa_high"}


def decimals_of(name: str, measure: str) -> int:
    """Decimals that a figure is told with: those of its measure and one more in its unit, else two to four."""
    if name.split("_")[0] == "p" or name.startswith("other_p"):
        return 4
    if name in ("g", "g_low", "g_high", "in_sd", "f"):
        return 2
    if name in ("df", "df2"):
        return 1
    if name.startswith(_IN_UNIT) and name not in _SHARES:
        return MEASURES[measure].decimals + 1 if measure in MEASURES else 3
    return 3


def rounded(one: Any) -> Any:
    """Return a result as plain data, numbers to the decimals that they are told with, NaN as None."""
    if dataclasses.is_dataclass(one) and not isinstance(one, type):
        measure = str(getattr(one, "measure", ""))
        return {f.name: _told_value(f.name, getattr(one, f.name), measure) for f in dataclasses.fields(one)}
    return one


def _told_value(name: str, value: Any, measure: str) -> Any:
    if isinstance(value, float):
        return None if not math.isfinite(value) else round(value, decimals_of(name, measure))
    if isinstance(value, Mapping):
        inner = "share" if name in ("icc", "misplaced") else "estimate"
        return {key: _told_value(inner, one, measure) for key, one in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return rounded(value)
    if isinstance(value, tuple):
        return [
            {**rounded(inner), **_in_unit(inner, measure)}
            if dataclasses.is_dataclass(inner)
            else _told_value(name, inner, measure)
            for inner in value
        ]
    return value


def _in_unit(inner: Any, measure: str) -> dict[str, Any]:
    """Figures of a part that are in its whole's unit."""
    own = str(getattr(inner, "measure", measure))
    return {
        f.name: _told_value(f.name, getattr(inner, f.name), own)
        for f in dataclasses.fields(inner)
        if isinstance(getattr(inner, f.name), float)
    }


def plain_row(one: Any) -> Row:
    """Return a result as a row, numbers rounded as the run file tells them, truth as yes or no."""
    row: Row = {}
    for part in dataclasses.fields(one):
        value = getattr(one, part.name)
        if isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, float) and math.isfinite(value):
            value = round(value, decimals_of(part.name, str(getattr(one, "measure", ""))))
        row[part.name] = value
    return row


def unit_of(measure: str) -> str:
    """Return the unit of a measure, empty for one of the student's own."""
    return MEASURES[measure].unit if measure in MEASURES else ""


def whole_numbers(value: Any) -> Any:
    """Return a value with whole numbers written as such, so that the paragraph and the run file write them alike."""
    if isinstance(value, dict):
        return {key: whole_numbers(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [whole_numbers(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value
