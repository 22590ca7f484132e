"""The course through a fricative: spectral mean, peak and level in equally spaced frames."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .setup import Setup
from .shape import highest, moment_values
from .tapers import Rows

if TYPE_CHECKING:
    from .through import Listened


N_POINTS = 9
N_COEFFICIENTS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Nine equally spaced points: ``time_s``, ``centroid_hz``, ``peak_hz`` (NaN at a band edge), ``level_db``."""

    time_s: Rows
    centroid_hz: Rows
    peak_hz: Rows
    level_db: Rows


def course(heard: Listened) -> Course | None:
    """The course of a fricative heard on a grid of at least three frames; points lie between its frames."""
    if heard.grid is None or heard.grid_s is None or heard.grid_s.size < 3:
        return None
    time_s = np.linspace(heard.grid_s[0], heard.grid_s[-1], N_POINTS)
    at = (time_s - heard.grid_s[0]) / (heard.grid_s[-1] - heard.grid_s[0]) * (heard.grid_s.size - 1)
    below = np.minimum(at.astype(int), heard.grid_s.size - 2)
    part = (at - below)[:, np.newaxis]
    rows = (1 - part) * heard.grid[below] + part * heard.grid[below + 1]
    return _describe(time_s, rows, heard.setup)


def _describe(time_s: Rows, rows: Rows, setup: Setup) -> Course:
    power = np.sum(rows * setup.moment_weights[0], axis=1) * 1.0
    with np.errstate(divide="ignore"):
        level = 10 * np.log10(power)
    return Course(time_s, moment_values(rows, setup)["centroid_hz"], highest(rows, setup.band, setup)[0], level)


def course_values(heard: Listened) -> dict[str, float]:
    """Slope of the spectral mean (Hz per ms) and DCT coefficients 0 to 3 of spectral mean, peak and level."""
    found = course(heard)
    if found is None:
        return {}
    values = {"centroid_slope_hz_ms": slope(found.time_s, found.centroid_hz) / 1000}
    for name, unit, column in (
        ("centroid", "hz", found.centroid_hz),
        ("peak", "hz", found.peak_hz),
        ("level", "db", found.level_db),
    ):
        for order, value in enumerate(dct(column)):
            values[f"{name}_course_{order}_{unit}"] = float(value)
    return {key: float(value) for key, value in values.items() if np.isfinite(value)}


def slope(time_s: Rows, values: Rows) -> float:
    """Least-squares slope per second."""
    x = time_s - np.mean(time_s)
    return float(np.sum(x * values) / np.sum(x**2))


def dct(values: Rows) -> Rows:
    r"""Discrete cosine coefficients 0 to 3 of a course of N points.

    :math:`c_0 = \frac{1}{N} \sum_n x_n`, the mean; :math:`c_k = \frac{2}{N} \sum_n x_n \cos(\pi k (n + 1/2) / N)`, in
    the unit of the course: half of the first is how far the start lies above the mean, were the course a half cosine.

    Examples
    --------
    >>> [float(c) + 0.0 for c in dct(np.array([5.0, 5.0, 5.0, 5.0])).round(9)]
    [5.0, 0.0, 0.0, 0.0]
    """
    n = np.arange(values.size) + 0.5
    found = [2 * np.sum(values * np.cos(np.pi * k * n / values.size)) / values.size for k in range(N_COEFFICIENTS)]
    return np.array([found[0] / 2, *found[1:]])
