"""A range from a table of one's own recordings, kept beside the ranges that were entered."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from .. import ranges, tables
from ..errors import RangeError, UsageError
from ..files import make_folder, sha256_of, write_text
from ..terms import MEASURES
from ..terms.reference import ReferenceRange
from .caseload import OWN_RANGES, CaseloadHandle


@dataclass(frozen=True, slots=True)
class Built:
    """The ranges made and kept, and the cells of which none was made, with reasons."""

    added: tuple[ReferenceRange, ...]
    left_out: tuple[str, ...]


def build_ranges(
    table: Path, caseload: CaseloadHandle, *, speaker: str, population: str = "", measures: tuple[str, ...] = ()
) -> Built:
    """Make ranges from a measured table and keep them after those already there.

    Raises
    ------
    UsageError
        When a measure is not known.
    RangeError
        When the table can't serve: a column is missing, methods are mixed, nobody said who the speakers are.
    """
    unknown = [key for key in measures if key not in MEASURES]
    if unknown:
        raise UsageError(f"measure {unknown[0][:40]!r} is not known; docs/measures.md lists them, such as centroid_hz")
    rows = [cells for _, cells in tables.read_rows(table, (speaker.lower(), "phone", "method"))]
    origin = ranges.Origin(table.name, sha256_of(table), population, measures)
    made = ranges.build_ranges(rows, speaker.lower(), origin)
    if not made.ranges:
        why = "; ".join(made.left_out[:3]) or "no measure in it"
        raise RangeError(f"{table.name}: no range made: {why}")
    already = caseload.ranges()
    added = tuple(row for row in made.ranges if row not in already)
    if added:
        write_text(make_folder(caseload.folder) / OWN_RANGES, ranges.own_ranges_csv((*already, *added)))
    return Built(added, made.left_out)
