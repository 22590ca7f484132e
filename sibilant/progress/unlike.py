"""Which sounds are most unlike the rest, and in what: a queue of places to listen, never a call on any of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..terms import MEASURES

WATCHED = ("centroid_hz", "sd_hz", "peak_hz", "tonality_db", "level_re_vowel_db", "core_duration_ms")
LEAST = 8
"""Fewer sounds than this have no rest to be unlike (own choice)."""
_MAD_TO_SD = 1.4826  # 1 / the 75th percentile of the normal distribution


@dataclass(frozen=True, slots=True)
class Unlike:
    """One sound: its place in what was given, and the measure in which it lies farthest from the middle."""

    place: int
    measure: str
    value: float
    middle: float
    distance: float
    n: int

    @property
    def reason(self) -> str:
        """What is unlike, in plain words, with both values."""
        measure = MEASURES[self.measure]
        value, middle = (
            f"{number:.{measure.decimals}f} {measure.unit}".strip() for number in (self.value, self.middle)
        )
        return f"{measure.plain_name}: {value}, the middle of {self.n} is {middle}"


def most_unlike(values: Mapping[str, Sequence[float]], *, most: int | None = None) -> tuple[Unlike, ...]:
    """Rank sounds by how far they lie from the rest in any one measure.

    The distance of a sound is max over measures of ``|x - median| / (1.4826 MAD)``: in robust standard deviations, so
    that the odd ones don't hide themselves by widening the scale (Hampel's rule; from memory).

    Parameters
    ----------
    values : mapping of str to sequence of float
        By measure key, one value a sound (n,), NaN where there is none. Sounds of one phone and one speaker.
    most : int, optional
        How many to return; default all that have a value.

    Returns
    -------
    tuple of Unlike
        The farthest first. Empty when no measure has 8 values and any spread.

    Examples
    --------
    >>> centroids = [7900.0, 8000.0, 8050.0, 7950.0, 3100.0, 8010.0, 7990.0, 8020.0, 7980.0]
    >>> first = most_unlike({"centroid_hz": centroids}, most=1)[0]
    >>> first.place, first.reason
    (4, 'where the energy of the hiss sits: 3100 Hz, the middle of 9 is 7990 Hz')
    """
    farthest: dict[int, Unlike] = {}
    for key, column in values.items():
        for one in _distances(key, np.asarray(column, dtype=np.float64)):
            if one.place not in farthest or one.distance > farthest[one.place].distance:
                farthest[one.place] = one
    ranked = sorted(farthest.values(), key=lambda one: (-one.distance, one.place))
    return tuple(ranked[:most])


def _distances(key: str, column: np.ndarray) -> list[Unlike]:
    there = column[np.isfinite(column)]
    if there.size < LEAST:
        return []
    middle = float(np.median(there))
    scale = _MAD_TO_SD * float(np.median(np.abs(there - middle)))
    if scale <= 0:
        return []
    return [
        Unlike(place, key, float(value), middle, abs(float(value) - middle) / scale, int(there.size))
        for place, value in enumerate(column)
        if math.isfinite(value)
    ]
