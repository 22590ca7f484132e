"""A range made from one's own recordings: a measured table in, means and SDs between and within speakers out.

A cell is one sound, place, level, age band and sex; ten speakers or more make a range of it. Everything in a cell was
measured by one method, or nothing is made: unlike methods differ by thousands of hertz.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..errors import RangeError
from ..methods import get_method
from ..terms import MEASURES
from ..terms.codes import is_client_code
from ..terms.reference import FEWEST_SPEAKERS, Basis, Circumstances, Population, ReferenceRange
from ..terms.vocabulary import TARGETS
from .own import LABEL_BUILT
from .tables import is_number

NEEDED = ("phone", "position", "level", "method", "age_low_y", "age_high_y", "sex")
IN_THERAPY = "in therapy"
_CONTEXT = ("phone", "position", "cluster", "level", "cue", "age_low_y", "age_high_y", "sex", "dialect")
Cell = tuple[str, ...]
Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Made:
    """The ranges made, and each cell of which none was made, with the reason."""

    ranges: tuple[ReferenceRange, ...]
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a table comes from: its name and hash, who the speakers are, and which measures are wanted (all it has)."""

    name: str
    sha256: str
    population: str = ""
    measures: tuple[str, ...] = field(default_factory=tuple)


def build_ranges(rows: Sequence[Row], speaker: str, origin: Origin) -> Made:
    """Return one range a cell and measure.

    Parameters
    ----------
    rows : sequence of mapping
        A measured table: the columns of ``NEEDED``, the speaker's, and one or more measures; ``device`` is carried
        along where there is one. Rows that are not ``found`` sounds of the speaker are passed over.
    speaker : str
        The column that names the speaker.
    origin : Origin
        Name and hash of the table, and what the speakers are.

    Returns
    -------
    Made
        Mean over speakers' means, SD between them, pooled SD within, and sounds a speaker (harmonic mean).

    Raises
    ------
    RangeError
        When a column is missing, a cell's speakers were measured by unlike methods, bands or versions, or nobody told
        what the speakers are.

    Notes
    -----
    Speakers who are clients of a caseload are in therapy, whatever is said of them, and never offered as typical.
    """
    kept = _kept(rows, speaker)
    missing = [name for name in (speaker, *NEEDED) if kept and name not in kept[0]]
    if missing or not kept:
        what = f"columns missing: {', '.join(missing)}" if missing else "no sound in it"
        raise RangeError(f"{origin.name}: {what}; a measured table with {speaker}, {', '.join(NEEDED)} is needed")
    measures = origin.measures or tuple(
        key for key, measure in MEASURES.items() if measure.scope == "token" and key in kept[0]
    )
    cells: dict[Cell, list[Row]] = defaultdict(list)
    for row in kept:
        cells[tuple(row.get(name, "").strip() for name in _CONTEXT)].append(row)
    ranges: list[ReferenceRange] = []
    left_out: list[str] = []
    for cell, members in sorted(cells.items()):
        for key in measures:
            made, why = _range(cell, members, key, speaker, origin)
            ranges += [made] if made is not None else []
            left_out += [why] if why else []
    return Made(tuple(ranges), tuple(dict.fromkeys(left_out)))


def _kept(rows: Sequence[Row], speaker: str) -> list[Row]:
    return [
        row
        for row in rows
        if row.get("finding", "found") == "found"
        and row.get("voice", "client") == "client"
        and (row.get(speaker) or speaker not in row)
        and row.get("phone", "S").strip("/").upper() in TARGETS
    ]


def _range(
    cell: Cell, rows: Sequence[Row], key: str, speaker: str, origin: Origin
) -> tuple[ReferenceRange | None, str]:
    where = _words(cell)
    values: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        if is_number(row.get(key, "")) and not (MEASURES[key].spectral and "voiced" in row.get("flags", "").split(";")):
            values[row[speaker]].append(float(row[key]))
    if not values:
        return None, ""
    method = _one_method(rows, key, speaker, f"{origin.name}, {where}")
    if len(values) < FEWEST_SPEAKERS:
        return None, f"{where}: {len(values)} speakers; from {FEWEST_SPEAKERS} on there is a band"
    return _reference(cell, key, values, method, rows, origin), ""


def _one_method(rows: Sequence[Row], key: str, speaker: str, where: str) -> str:
    """The method of all rows of a cell, by label and band; a mix is refused."""
    spectral = MEASURES[key].spectral
    ways: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    for row in rows:
        ways[row["method"], row.get("band_low_hz", ""), row.get("band_high_hz", "")].add(row[speaker])
    if spectral and (len(ways) > 1 or not next(iter(ways))[0]):
        told = "; ".join(
            f"{' '.join(part for part in way if part) or 'none'}: {len(who)} speakers"
            for way, who in sorted(ways.items())
        )
        raise RangeError(f"{where}: methods mixed or not named ({told}); measure all of them under one --method")
    return get_method(next(iter(ways))[0].split("/")[0]).name if spectral else ""


def _reference(
    cell: Cell, key: str, values: Mapping[str, Sequence[float]], method: str, rows: Sequence[Row], origin: Origin
) -> ReferenceRange:
    of = dict(zip(_CONTEXT, cell, strict=True))
    means = np.asarray([math.fsum(own) / len(own) for own in values.values()])
    within, each = _within(values)
    population = _population(values, origin)
    devices = sorted({row["device"] for row in rows if row.get("device")})
    note = f"made from {origin.name} (SHA-256 {origin.sha256}); device {', '.join(devices) or 'not stated'}"
    return ReferenceRange(
        measure=key,
        name=MEASURES[key].name,
        phone=of["phone"].strip("/").upper(),
        unit=MEASURES[key].unit,
        population=Population(
            population, means.size, float(of["age_low_y"]), float(of["age_high_y"]), of["sex"], of["dialect"]
        ),
        circumstances=Circumstances(of["position"], of["cluster"] or "none", of["level"], of["cue"] or "any"),
        basis=Basis(f"own recordings, {origin.name}", "yours", LABEL_BUILT, note=note),
        mean=float(means.mean()),
        sd=float(means.std(ddof=1)),
        sd_within=within if math.isfinite(within) and within > 0 else None,
        low=float(means.min()),
        high=float(means.max()),
        method=method,
        band_hz=get_method(method).band_hz if method else None,
        use="background" if population.startswith(IN_THERAPY) else "value",
        sounds_each=each,
    )


def _population(values: Mapping[str, Sequence[float]], origin: Origin) -> str:
    if any(is_client_code(who) for who in values):
        return IN_THERAPY
    if not origin.population:
        raise RangeError(
            f'{origin.name}: who the speakers are is not said; --population "typical, no history of therapy", or'
            f' --population "{IN_THERAPY}"'
        )
    return origin.population


def _within(values: Mapping[str, Sequence[float]]) -> tuple[float, float]:
    """Pooled SD within speakers, and the harmonic mean of sounds a speaker."""
    squares = sum(sum((v - math.fsum(own) / len(own)) ** 2 for v in own) for own in values.values())
    df = sum(len(own) - 1 for own in values.values())
    each = len(values) / math.fsum(1 / len(own) for own in values.values())
    return (math.sqrt(squares / df) if df else math.nan), each


def _words(cell: Cell) -> str:
    of = dict(zip(_CONTEXT, cell, strict=True))
    ages = f"{of['age_low_y']} to {of['age_high_y']} years"
    return f"/{of['phone'].lower()}/ {of['position']}, level {of['level'] or 'any'}, {ages}, {of['sex']}"
