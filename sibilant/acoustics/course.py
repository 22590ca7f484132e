"""The course through a fricative: spectral mean, peak and level in equally spaced frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from .shape import moment_values, peak_values
from .tapers import Rows

if TYPE_CHECKING:
    from .through import Listened


N_POINTS = 9  # nine equally spaced points and their first four cosine terms (docs/measures.md)
N_COEFFICIENTS = 4  # level, slope, curvature and one more


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Nine equally spaced points of each of t sounds, all (t, 9).

    ``time_s`` from the recording's start, ``centroid_hz``, ``peak_hz`` (NaN at a band edge), ``level_db`` re full
    scale; NaN in silence.
    """

    time_s: Rows
    centroid_hz: Rows
    peak_hz: Rows
    level_db: Rows


def course(heard: Sequence[Listened]) -> Course:
    """The courses of fricatives heard with one setup, each on a grid of at least three frames.

    The first and last points are the first and last frames inside the fricative; a point between two frames takes its
    spectrum from both by its nearness.
    """
    placed = [_between(one.grid, one.grid_s) for one in heard if one.grid is not None and one.grid_s is not None]
    setup = heard[0].setup
    rows = np.concatenate([rows for _, rows in placed])
    power = np.sum(rows * setup.moment_weights[0], axis=1)
    level = 10 * np.log10(np.where(power > 0, power, np.nan))
    columns = moment_values(rows, setup)["centroid_hz"], peak_values(rows, setup)["peak_hz"], level
    return Course(np.stack([time for time, _ in placed]), *(column.reshape(-1, N_POINTS) for column in columns))


def _between(grid: Rows, grid_s: Rows) -> tuple[Rows, Rows]:
    """Times (9,) and spectra (9, m) of the points."""
    at = np.linspace(0.0, grid_s.size - 1.0, N_POINTS)
    below = np.minimum(at.astype(np.intp), grid_s.size - 2)
    part = at - below
    time_s: Rows = (1 - part) * grid_s[below] + part * grid_s[below + 1]
    rows: Rows = (1 - part)[:, np.newaxis] * grid[below] + part[:, np.newaxis] * grid[below + 1]
    return time_s, rows


def course_values(heard: Sequence[Listened]) -> list[dict[str, float]]:
    """Slope of the spectral mean (Hz per ms) and DCT coefficients 0 to 3 of spectral mean, peak and level.

    One dictionary for each sound, empty where there is no grid of three frames or more; ``heard`` shares one setup.
    """
    values: list[dict[str, float]] = [{} for _ in heard]
    able = [i for i, one in enumerate(heard) if one.grid_s is not None and one.grid_s.size >= 3]
    if not able:
        return values
    found = course([heard[i] for i in able])
    columns = {"centroid_slope_hz_ms": slope(found.time_s, found.centroid_hz) / 1000}
    for name, unit, points in (
        ("centroid", "hz", found.centroid_hz),
        ("peak", "hz", found.peak_hz),
        ("level", "db", found.level_db),
    ):
        columns.update({f"{name}_course_{k}_{unit}": column for k, column in enumerate(dct(points).T)})
    for row, i in enumerate(able):
        values[i] = {key: float(column[row]) for key, column in columns.items() if np.isfinite(column[row])}
    return values


def slope_shares(times: Rows) -> Rows:
    """What each of some values (n,) adds to their least-squares slope over ``times`` (n,)."""
    x = times - np.mean(times)
    found: Rows = x / np.sum(x**2)
    return found


def slope(time_s: Rows, values: Rows) -> Rows:
    """Least-squares slope per second along the last axis."""
    x = time_s - np.mean(time_s, axis=-1, keepdims=True)
    found: Rows = np.sum(x * values, axis=-1) / np.sum(x**2, axis=-1)
    return found


def dct(values: Rows) -> Rows:
    r"""Discrete cosine coefficients 0 to 3 (..., 4) of courses of N points (..., N).

    :math:`c_0 = \frac{1}{N} \sum_n x_n`, the mean; :math:`c_k = \frac{2}{N} \sum_n x_n \cos(\pi k (n + 1/2) / N)`, in
    the unit of the course; c1 is positive when the course falls, c2 when its ends lie above its middle.

    Examples
    --------
    >>> [float(c) + 0.0 for c in dct(np.array([5.0, 5.0, 5.0, 5.0])).round(9)]
    [5.0, 0.0, 0.0, 0.0]
    """
    return np.stack([np.sum(values * cosine, axis=-1) for cosine in cosines(values.shape[-1])], axis=-1)


@lru_cache(maxsize=16)
def cosines(n_points: int) -> Rows:
    """What each point adds to each coefficient, (4, n)."""
    phase = np.pi * (np.arange(n_points) + 0.5) / n_points
    order = np.arange(N_COEFFICIENTS)[:, np.newaxis]
    found: Rows = np.cos(order * phase) * np.where(order > 0, 2.0, 1.0) / n_points
    return found
