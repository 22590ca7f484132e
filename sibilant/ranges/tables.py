"""The tables of reference values: facts with citations, one number a row, gathered into one range a kind of value."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import cast

from ..errors import RangeError
from ..terms.reference import Basis, Circumstances, Obtained, Population, ReferenceRange, Use

DATA = Path(__file__).parent / "data"
STATISTICS = frozenset(
    ["mean", "sd", "sd_within", "min", "max", "percent", "value", "ci95_low", "ci95_high", "slope", "before", "after"]
)
_OWN_TO_A_ROW = frozenset(["id", "statistic", "value", "note", "confidence"])
_GATHERED = frozenset(["mean", "sd", "sd_within", "min", "max"])
_LABELS = {
    "read": "read in the source itself (abstract or text)",
    "second-hand": "read second-hand, in others' notes of the source",
    "memory": "from memory, not checked against the source",
    "computed": "measured by this project from open recordings",
}


@lru_cache(maxsize=1)
def all_ranges() -> tuple[ReferenceRange, ...]:
    """All reference values that are shipped, in the order of their tables.

    Raises
    ------
    RangeError
        When the shipped tables are damaged.

    Examples
    --------
    >>> row = next(r for r in all_ranges() if r.measure == "centroid_hz" and r.method == "open-adult")
    >>> row.mean, row.sd, row.population.n_speakers
    (8662.0, 713.0, 10)
    """
    sources = read_sources()
    gathered: dict[tuple[str, ...], list[dict[str, str]]] = {}
    for row in read_values():
        key = tuple(value for name, value in row.items() if name not in _OWN_TO_A_ROW)
        if row["statistic"] not in _GATHERED:
            key = (*key, row["id"])
        gathered.setdefault(key, []).append(row)
    return tuple(_range(rows, sources) for rows in gathered.values())


def read_values() -> list[dict[str, str]]:
    """Rows of the table of values as text."""
    return _rows("values.csv")


def read_sources() -> dict[str, dict[str, str]]:
    """Sources by their citation key."""
    return {row["citation_key"]: row for row in _rows("sources.csv")}


def check_values(rows: Iterable[Mapping[str, str]], sources: Mapping[str, Mapping[str, str]]) -> list[str]:
    """Return what is wrong with rows of the table of values, one line each; empty when nothing is."""
    wrong: list[str] = []
    seen: set[str] = set()
    for row in rows:
        wrong.extend(f"{row['id']}: {fault}" for fault in _faults(row, sources, seen))
        seen.add(row["id"])
    return wrong


def _faults(row: Mapping[str, str], sources: Mapping[str, Mapping[str, str]], seen: set[str]) -> Iterable[str]:
    if row["id"] in seen:
        yield "the id is taken"
    if not is_number(row["value"]):
        yield f"the value {row['value']!r} is not a number"
    for name in ("n_speakers", "age_low_y", "age_high_y", "rate_hz", "band_low_hz", "band_high_hz", "sounds_each"):
        if row[name] and not is_number(row[name]):
            yield f"{name} {row[name]!r} is not a number"
    if row["statistic"] not in STATISTICS:
        yield f"statistic {row['statistic']!r} is not one of those known"
    if row["obtained"] not in _LABELS:
        yield f"obtained {row['obtained']!r} is not one of {', '.join(_LABELS)}"
    if row["use"] not in ("value", "orientation", "acquisition", "background"):
        yield f"use {row['use']!r} is not known"
    if row["sex"] not in ("f", "m", "both", ""):
        yield f"sex {row['sex']!r} is not f, m, both or empty"
    if row["citation_key"] not in sources or not sources[row["citation_key"]]["citation"]:
        yield f"citation key {row['citation_key']!r} has no source"
    if row["use"] in ("value", "orientation") and not row["key"]:
        yield "a value to be compared needs the key of a measure"


def is_number(text: str) -> bool:
    """Whether a cell holds a finite number written with a decimal dot."""
    try:
        return abs(float(text)) < 1e12
    except ValueError:
        return False


def _rows(name: str) -> list[dict[str, str]]:
    try:
        with (DATA / name).open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))
    except OSError as error:
        raise RangeError(f"{name}: the shipped table of reference values can't be read; install again") from error


def _range(rows: list[dict[str, str]], sources: Mapping[str, Mapping[str, str]]) -> ReferenceRange:
    first = rows[0]
    values = {row["statistic"]: float(row["value"]) for row in rows}
    statistic = "mean" if "mean" in values else next((name for name in values if name not in ("min", "max")), "")
    return ReferenceRange(
        measure=first["key"],
        name=first["measure"],
        phone=first["phone"] or first["phoneme"],
        unit=first["unit"],
        population=_population(first),
        circumstances=Circumstances(*(first[name] for name in ("position", "cluster", "level", "cue", "context"))),
        basis=_basis(rows, sources[first["citation_key"]]),
        mean=values.get(statistic),
        statistic=statistic or "edges",
        sd=values.get("sd") if statistic != "sd" else None,
        sd_within=values.get("sd_within"),
        sounds_each=_number(first["sounds_each"]),
        low=values.get("min"),
        high=values.get("max"),
        method=first["method"],
        protocol=first["protocol"],
        band_hz=_band(first),
        unknown=tuple(part for part in first["unknown"].split("; ") if part),
        use=cast(Use, first["use"]),
    )


def _population(first: Mapping[str, str]) -> Population:
    return Population(
        first["population"],
        int(float(first["n_speakers"])) if first["n_speakers"] else None,
        _number(first["age_low_y"]),
        _number(first["age_high_y"]),
        first["sex"],
        first["dialect"],
    )


def _basis(rows: Sequence[Mapping[str, str]], source: Mapping[str, str]) -> Basis:
    first = rows[0]
    return Basis(
        source["citation"],
        cast(Obtained, first["obtained"]),
        source["label"] if first["obtained"] == "computed" and source["label"] else _LABELS[first["obtained"]],
        first["citation_key"],
        first["where"],
        first["confidence"],
        "; ".join(dict.fromkeys(part for row in rows for part in row["note"].split("; ") if part)),
        tuple(row["id"] for row in rows),
    )


def _number(text: str) -> float | None:
    return float(text) if text else None


def _band(row: Mapping[str, str]) -> tuple[float, float] | None:
    if not row["band_high_hz"]:
        return None
    return float(row["band_low_hz"] or 0), float(row["band_high_hz"])
