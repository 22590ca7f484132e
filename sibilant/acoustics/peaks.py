"""Peaks that are there: a top that stands clear of chance over a lower place on either side of it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from .cleared import CLEAR, Cleared
from .setup import Setup
from .shape import half_bandwidth, mirrored, running_mean, smoothed, vertex
from .tapers import Rows

CELL_HALF_HZ = 500.0
"""Half the width over which a spectrum is averaged to ask whether there is a peak at all."""
STANDS = 3.5
"""Standard errors by which a top's logarithm must stand above a lower place on either side: on flat, sloping and
shelved noise a peak is then given in at most 5 % (docs/evidence/acoustics_peaks.csv)."""
TOP_HALF_HZ = 1000.0
"""How far from such a top the highest point is looked for at the estimator's own resolution."""
LOW_HALF_HZ = 300.0
"""Half the width over which the low band's lowest level is taken."""


@dataclass(frozen=True, slots=True)
class Tops:
    """Broad tops (t,) of a span of bins: the ``bin`` of each, whether it ``stands`` as a peak, or lies ``at_edge``."""

    bin: npt.NDArray[np.intp]
    stands: npt.NDArray[np.bool_]
    at_edge: npt.NDArray[np.bool_]


def tops(cleared: Cleared, span: tuple[int, int], setup: Setup) -> Tops:
    """Highest place of each sound's broadly averaged spectrum inside a span, and whether it is a peak.

    The logarithm of its power must exceed, by 3.5 standard errors of the difference, that of some place of the method's
    band on either side, where a place that does not stand above zero counts at its standard error.
    """
    half = max(1, round(CELL_HALF_HZ / setup.step_hz))
    level = running_mean(cleared.rows, half)
    width_hz = (2 * half + 1) * setup.step_hz
    error = np.sqrt(smoothed(cleared.variance + cleared.noise_variance, half) / width_hz)
    error = np.hypot(error, np.abs(cleared.drift))
    best = span[0] + np.argmax(level[:, span[0] : span[1] + 1], axis=1)
    row = np.arange(level.shape[0])
    top, top_error = level[row, best], error[row, best]
    place = np.arange(min(span[0], setup.band[0]), max(span[1], setup.band[1]) + 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        floor = np.maximum(level[:, place], error[:, place])
        spread = np.hypot((top_error / top)[:, np.newaxis], np.minimum(error[:, place] / floor, 1.0))
        score = np.log(top[:, np.newaxis] / floor) / spread
        below = np.max(np.where(place < best[:, np.newaxis], score, -np.inf), axis=1)
        above = np.max(np.where(place > best[:, np.newaxis], score, -np.inf), axis=1)
        stands = (np.minimum(below, above) > STANDS) & (top > CLEAR * top_error)
    return Tops(best, stands, (best - span[0] <= half) | (span[1] - best <= half))


def near_tops(rows: Rows, found: npt.NDArray[np.intp], span: tuple[int, int], setup: Setup) -> tuple[Rows, Rows]:
    """Frequency and height (r,) of the highest point within 1 kHz of a top, for rows (r, m), none below zero.

    NaN where it lies within half the estimator's bandwidth of an end of the span, or nothing is there.
    """
    reach, (first, last) = max(2, round(TOP_HALF_HZ / setup.step_hz)), span
    best, turns = np.empty_like(found), np.flatnonzero(np.diff(found)) + 1
    for begin, end in pairwise((0, *turns.tolist(), found.size)):  # rows of one top after another
        low, high = max(first, int(found[begin]) - reach), min(last, int(found[begin]) + reach)
        best[begin:end] = low + np.argmax(rows[begin:end, low : high + 1], axis=1)
    margin, height = half_bandwidth(setup), rows[np.arange(rows.shape[0]), best]
    known = (best >= first + margin) & (best <= last - margin) & (height > 0)
    safe = np.clip(best, first + 1, last - 1)
    delta = np.where(np.abs(safe - found) < reach, vertex(rows, safe), 0.0)
    return np.where(known, setup.frequency_hz[0] + (safe + delta) * setup.step_hz, np.nan), height


def clear_low(cleared: Cleared, setup: Setup) -> npt.NDArray[np.bool_]:
    """Whether every place (t,) of the low band, averaged over 0.6 kHz, stands clear of what the noise leaves unsure."""
    if setup.low_band is None:
        return np.zeros(cleared.observed.shape[0], dtype=bool)
    half = max(1, round(LOW_HALF_HZ / setup.step_hz))
    width_hz = (2 * half + 1) * setup.step_hz
    clean = 1 - np.minimum(cleared.noise / np.maximum(cleared.observed, 1e-300), 1.0)
    variance = smoothed(cleared.variance * (1 - clean**2) + cleared.noise_variance, half) / width_hz
    error = np.sqrt(variance + cleared.drift**2)
    first, last = setup.low_band
    level = running_mean(cleared.rows, half)
    clear: npt.NDArray[np.bool_] = np.all((level > CLEAR * error)[:, first : last + 1], axis=1)
    return clear


def height_over_low_db(rows: Rows, peak_hz: Rows, setup: Setup) -> Rows:
    """Level around a peak less the lowest level of the low band, in dB (r,), each averaged over 0.6 to 1 kHz."""
    if setup.low_band is None:
        return np.full(rows.shape[0], np.nan)
    half = max(1, round(CELL_HALF_HZ / setup.step_hz))
    low = running_mean(rows, max(1, round(LOW_HALF_HZ / setup.step_hz)), setup.low_band)
    known = np.isfinite(peak_hz)
    place = np.where(known, (peak_hz - setup.frequency_hz[0]) / setup.step_hz, 0.0)
    at = np.clip(np.rint(place), 0, rows.shape[1] - 1).astype(np.intp)[:, np.newaxis]
    around = mirrored(at + np.arange(-half, half + 1), rows.shape[1])
    wide = np.mean(np.take_along_axis(rows, around, axis=1), axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = 10 * np.log10(wide / np.min(low, axis=1))
    return np.where(known & np.isfinite(found), found, np.nan)
