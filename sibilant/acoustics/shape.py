"""Spectral measures of a stack of averaged spectra at once: one row a spectrum, one array a measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .moments import MOMENT_KEYS, from_sums, weighted_sums
from .setup import Setup
from .tapers import Rows

if TYPE_CHECKING:
    import numpy.typing as npt


LEAST_SLOPE_HZ = 1000.0
"""A slope needs at least this much of the band."""


def shape_values(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """All spectral measures of each row of ``rows`` (r, m); NaN where a value can't be had."""
    values = moment_values(rows, setup)
    values.update(peak_values(rows, setup))
    values["peak_erb"] = auditory_peak(rows, setup)
    values.update(level_values(rows, setup))
    values.update(slope_values(rows, values["peak_hz"], setup))
    values.update(spread_values(rows, setup))
    return values


def moment_values(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """The four moments over the method's band, weighted as the method says."""
    weighed = rows if setup.method.weighting == "power" else np.sqrt(rows)
    found = from_sums(weighted_sums(weighed, setup.moment_weights), setup.method.band_hz)
    return dict(zip(MOMENT_KEYS, found.T, strict=True))


def peak_values(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """Highest point of the band, of the mid band, and the mid peak's height over the low band's lowest point.

    Looked for in the spectrum averaged over the estimator's own bandwidth, so that of two ripples of one peak neither
    is taken for it.
    """
    rows = smoothed(rows, half_bandwidth(setup) - 1)
    values = {"peak_hz": highest(rows, setup.band, setup)[0]}
    if setup.mid_band is None:
        return values
    values["mid_peak_hz"], height = highest(rows, setup.mid_band, setup)
    if setup.low_band is not None:
        first, last = setup.low_band
        with np.errstate(divide="ignore", invalid="ignore"):
            above_db = 10 * np.log10(height / np.min(rows[:, first : last + 1], axis=1))
        known = np.isfinite(values["mid_peak_hz"]) & np.isfinite(above_db)
        values["amplitude_difference_db"] = np.where(known, above_db, np.nan)
    return values


def highest(rows: Rows, span: tuple[int, int], setup: Setup) -> tuple[Rows, Rows]:
    r"""Frequency and power density of the highest bin in a span of bins, each (r,).

    The frequency is the top of the parabola through three log powers, :math:`\delta = (a - c) / (2 (a - 2 b + c))`;
    NaN where the highest bin lies within half the estimator's bandwidth of an end of the span.
    """
    first, last = span
    best = first + np.argmax(rows[:, first : last + 1], axis=1)
    margin = half_bandwidth(setup)
    edge = (best < first + margin) | (best > last - margin)
    safe = np.clip(best, first + 1, last - 1)
    frequency = setup.frequency_hz[0] + (safe + vertex(rows, safe)) * setup.step_hz
    return np.where(edge, np.nan, frequency), rows[np.arange(rows.shape[0]), best]


def vertex(rows: Rows, at: npt.NDArray[np.intp]) -> Rows:
    """How far in bins (r,) the top of the parabola through three log powers lies from their middle one, at most 0.5."""
    row = np.arange(rows.shape[0])
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b, c = (np.log(rows[row, at + step]) for step in (-1, 0, 1))
        delta = (a - c) / (2 * (a - 2 * b + c))
    return np.where(np.isfinite(delta), np.clip(delta, -0.5, 0.5), 0.0)


def half_bandwidth(setup: Setup) -> int:
    """Half the estimator's bandwidth in bins, at least one."""
    return max(1, int(setup.correlation_hz / (2 * setup.step_hz)))


def smoothed(rows: Rows, half: int) -> Rows:
    """Running mean of each row over ``2 half + 1`` bins, the ends mirrored.

    Examples
    --------
    >>> [float(v) for v in smoothed(np.array([[0.0, 3.0, 0.0, 0.0]]), 1)[0]]
    [2.0, 1.0, 1.0, 0.0]
    """
    return rows if half == 0 else np.maximum(running_mean(rows, half), 0.0)


def running_mean(rows: Rows, half: int, span: tuple[int, int] | None = None) -> Rows:
    """As `smoothed`, but below zero where the rows are; only the bins from ``span[0]`` to ``span[1]`` where given."""
    first, last = span or (0, rows.shape[1] - 1)
    padded = rows[:, mirrored(np.arange(first - half, last + half + 1), rows.shape[1])]
    running = np.zeros((rows.shape[0], padded.shape[1] + 1))
    np.cumsum(padded, axis=1, out=running[:, 1:])
    mean: Rows = (running[:, 2 * half + 1 :] - running[:, : -2 * half - 1]) / (2 * half + 1)
    return mean


def mirrored(places: npt.NDArray[np.intp], n_bins: int) -> npt.NDArray[np.intp]:
    """Places of bins, those beyond an end turned back at it."""
    found: npt.NDArray[np.intp] = (n_bins - 1) - np.abs((n_bins - 1) - np.abs(places))
    return found


def auditory_peak(rows: Rows, setup: Setup) -> Rows:
    """ERB number where the excitation pattern is highest, interpolated; NaN at the ends of the scale."""
    return pattern_peak(excitation(rows, setup), setup.erb_number)


def excitation(rows: Rows, setup: Setup) -> Rows:
    """Excitation pattern (r, c): power through each auditory filter."""
    pattern: Rows = np.einsum("rm,cm->rc", rows, setup.excitation, optimize=False)
    return pattern


def pattern_peak(pattern: Rows, numbers: Rows) -> Rows:
    """Where each pattern (r, c) is highest on a scale (c,), interpolated; NaN at its ends."""
    best = np.argmax(pattern, axis=1)
    edge = (best == 0) | (best == numbers.size - 1)
    safe = np.clip(best, 1, numbers.size - 2)
    step = numbers[1] - numbers[0]
    return np.where(edge, np.nan, numbers[safe] + vertex(pattern, safe) * step)


def level_values(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """Level differences in dB between the low, mid and high bands, whole power in each."""
    if setup.level_weights is None:
        return {}
    with np.errstate(divide="ignore", invalid="ignore"):
        level = 10 * np.log10(weighted_sums(rows, setup.level_weights))
        return {key: level[:, a] - level[:, b] for key, (a, b) in level_keys(setup).items()}


def level_keys(setup: Setup) -> dict[str, tuple[int, int]]:
    """The level differences a setup can give, each with the rows of its two bands in ``level_weights``."""
    n_bands = 0 if setup.level_weights is None else setup.level_weights.shape[0]
    return {key: (a, b) for key, a, b in (("low_mid_db", 0, 1), ("mid_high_db", 1, 2)) if b < n_bands}


def slope_values(rows: Rows, peak_hz: Rows, setup: Setup) -> dict[str, Rows]:
    """Regression slopes in dB per kHz of the spectrum below and above the peak, inside the band."""
    first, last = setup.band
    khz = setup.frequency_hz[first : last + 1] / 1000
    with np.errstate(divide="ignore", invalid="ignore"):
        level = 10 * np.log10(rows[:, first : last + 1])
    top = peak_hz[:, np.newaxis] / 1000
    below, above = khz <= top, khz >= top
    return {"slope_below_db_khz": _slope(khz, level, below), "slope_above_db_khz": _slope(khz, level, above)}


def _slope(khz: Rows, level: Rows, chosen: npt.NDArray[np.bool_]) -> Rows:
    count = np.sum(chosen, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.where(chosen, khz - (np.sum(np.where(chosen, khz, 0.0), axis=1) / count)[:, np.newaxis], 0.0)
        found = np.sum(x * np.where(chosen, level, 0.0), axis=1) / np.sum(x**2, axis=1)
    wide = count * (khz[1] - khz[0]) >= LEAST_SLOPE_HZ / 1000
    return np.where(wide & np.isfinite(found), found, np.nan)


def spread_values(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """Widths in Hz of the middle 50 % and 90 % of the band's power, by linear interpolation of its running sum."""
    first, last = setup.band
    inside = rows[:, first : last + 1]
    running = np.zeros((rows.shape[0], inside.shape[1]))
    np.cumsum((inside[:, 1:] + inside[:, :-1]) / 2, axis=1, out=running[:, 1:])
    q = [_quantile(running, share, setup.step_hz) for share in (0.05, 0.25, 0.75, 0.95)]
    return {"spread_50_hz": q[2] - q[1], "spread_90_hz": q[3] - q[0]}


def _quantile(running: Rows, share: float, step_hz: float) -> Rows:
    target = share * running[:, -1]
    after = np.clip(np.sum(running < target[:, np.newaxis], axis=1), 1, running.shape[1] - 1)
    row = np.arange(running.shape[0])
    low, high = running[row, after - 1], running[row, after]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = (target - low) / (high - low)
    return np.where(running[:, -1] > 0, (after - 1 + part) * step_hz, np.nan)
