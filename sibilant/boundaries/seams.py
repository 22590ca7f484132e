"""Two sibilants that meet come in as one run of frication; where one passes into the next goes out."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..levels.coarse import to_db
from ..levels.fine import FineLevels
from ..terms import Interval

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
SEAM_EDGES_HZ = (150.0, 950.0, 2000.0, 3000.0, 4000.0, 5000.0, 6500.0, 8000.0, 11000.0)
"""Bands in which two sibilants in a row are told apart."""
CHANGE_DB = 4.0  # mean change over the bands from which on they are two
DIP_DB = 3.0  # a dip this deep is the seam, else the middle


def seam(fine: FineLevels, whole: Interval, n_parts: int = 2, *, alike: bool = False) -> float:
    """Time at which the first of ``n_parts`` sibilants in one stretch of frication ends.

    Two different sounds: where the spectra before and after differ most (levels in eight bands, sum of squares between
    the two sides). Two alike: the dip about the place where equal parts would meet, or that place.
    """
    first, last = fine.frame_at(whole.onset_s), fine.frame_at(whole.offset_s)
    n = last - first + 1
    middle = n // n_parts
    if n < 20:
        return fine.time_of(first + middle)
    begin, end = max(5, middle // 2), min(n - 5, middle + max(middle // 2, 3))
    frames = slice(first, last + 1)
    bands = [
        to_db(fine.power[frames, fine.bins_of(a, b)].sum(axis=1))
        for a, b in pairwise(SEAM_EDGES_HZ)
        if b <= fine.frequency_hz[-1] or a == SEAM_EDGES_HZ[0]
    ]
    levels = np.stack(bands, axis=1).astype(np.float64)
    cut, change = (0, 0.0) if alike else _change(levels, begin, end)
    if change > CHANGE_DB:
        return fine.time_of(first + cut)
    steady = np.convolve(np.pad(levels[:, 1:].max(axis=1), 7, mode="edge"), np.full(15, 1 / 15), mode="valid")
    dip = begin + int(np.argmin(steady[begin:end]))
    depth = min(steady[:dip].max(), steady[dip:].max()) - steady[dip]
    return fine.time_of(first + (dip if depth > DIP_DB else middle))


def _change(levels: np.ndarray[tuple[int, ...], np.dtype[np.float64]], begin: int, end: int) -> tuple[int, float]:
    """Best cut between frames ``begin`` and ``end``, and the RMS difference of the mean spectra on its sides, in dB."""
    shape = levels - levels.mean(axis=1, keepdims=True)
    total = np.cumsum(shape, axis=0)
    cuts = np.arange(begin, end)
    n = shape.shape[0]
    left = total[cuts - 1] / cuts[:, None]
    right = (total[-1] - total[cuts - 1]) / (n - cuts)[:, None]
    difference = np.sqrt(((left - right) ** 2).mean(axis=1))
    k = int(np.argmax(difference * np.sqrt(cuts * (n - cuts))))
    return int(cuts[k]), float(difference[k])
