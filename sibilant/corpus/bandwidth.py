"""Where recordings are cut off, judged over all that one speaker made with one device at one rate, not file by file."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..methods import supports
from ..terms import Method
from .request import Piece

NOT_CUT_HZ = 0.0
"""What stands for recordings that nothing cuts off."""
FEWEST, ALIKE_HZ = 3, 500.0  # recordings that speak for a speaker's cut, and how near they agree
SEEN = ("sampling_rate_hz", "n_bounded", "cut_hz", "corpus_cut_hz")

Part = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Agreed:
    """What a group's recordings show together: where they are cut off (0: nowhere), in how many of how many."""

    speaker: str
    device: str
    sampling_rate_hz: int
    cut_hz: float
    n_cut: int
    n_recordings: int


def agreed(measured: Iterable[tuple[Piece, Part]]) -> dict[str, Agreed]:
    """Return what the group of each recording agrees on, where three recordings and more with sounds do.

    A cut that half of them show, within 500 Hz of its middle, is that of all; one that fewer show is of none.
    """
    groups: dict[tuple[str, str, int], dict[str, float | None]] = defaultdict(dict)
    for piece, part in measured:
        if part.get("n_bounded"):
            cells = dict(piece.carried)
            key = cells.get("speaker", ""), cells.get("device", ""), int(part["sampling_rate_hz"])
            groups[key][piece.recording] = part["cut_hz"]
    return {
        name: one
        for key, cuts in groups.items()
        if (one := _of_group(key, list(cuts.values()))) is not None
        for name in cuts
    }


def _of_group(key: tuple[str, str, int], cuts: Sequence[float | None]) -> Agreed | None:
    seen = [cut for cut in cuts if cut is not None]
    if len(cuts) < FEWEST:
        return None
    if 2 * len(seen) < len(cuts):
        return Agreed(*key, NOT_CUT_HZ, len(seen), len(cuts))
    middle = statistics.median(seen)
    alike = sum(abs(cut - middle) <= ALIKE_HZ for cut in seen)
    return Agreed(*key, middle, alike, len(cuts)) if 2 * alike >= len(cuts) else None


def band_seen(part: Part) -> dict[str, Any]:
    """What a part holds of where its recording is cut off, without its rows."""
    return {name: part[name] for name in SEEN if name in part}


def reads_otherwise(part: Part, group: Agreed | None, methods: Sequence[Method]) -> bool:
    """Whether a recording was refused or taken otherwise than what its group shows asks for."""
    if group is None or "cut_hz" not in part:
        return part.get("corpus_cut_hz") is not None
    used = part["cut_hz"] if part.get("corpus_cut_hz") is None else part["corpus_cut_hz"] or None
    rate = int(part["sampling_rate_hz"])
    return any(supports(m, rate, used) != supports(m, rate, group.cut_hz or None) for m in methods)
