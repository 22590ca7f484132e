"""Courses with the noise taken out, ramps and all, with intervals; and how far a sound moves within itself."""

from __future__ import annotations

from functools import lru_cache
from math import isfinite

import numpy as np

from .cleared import NORMAL_95
from .course import N_COEFFICIENTS, N_POINTS, cosines, dct
from .drafts import Draft
from .moments import power_and_mean, weighted_sums
from .setup import Setup
from .shape import half_bandwidth, highest, smoothed
from .tapers import Rows
from .through import Listened

STANDS = 5.0
"""Standard errors by which a frame's power must stand above zero to say where its energy sits."""
WITHIN_HZ = 1500.0
"""How far from the sound's peak a frame's is looked for."""
_CENTROID_KEYS = ("centroid_slope_hz_ms", *(f"centroid_course_{k}_hz" for k in range(N_COEFFICIENTS)))
_LEVEL_KEYS = tuple(f"level_course_{k}_db" for k in range(N_COEFFICIENTS))
_DECIBEL = 10 / np.log(10)  # decibels a unit of the natural logarithm


def course_measures(draft: Draft, room: tuple[Rows, Rows, Rows]) -> None:
    """Add a sound's courses and its movement, where it has three frames or more.

    Nine equally spaced points, each between two frames by its nearness, as without noise. A frame whose power does not
    stand five standard errors above zero, at a ramp or in a loud room, takes the spectral mean and peak of the nearest
    that does; a level can't be taken so, and where a frame's power does not stand clear there is no level course.
    """
    heard = draft.heard
    if heard is None or heard.grid is None or heard.grid_s is None or heard.grid_s.size < 3:
        return
    noise, noise_variance, drift = room
    rows = heard.grid - noise
    mean_hz, mean_error, level_db, level_error, stands = _frames(heard, rows, noise_variance, drift)
    if not stands.any():
        return
    nearest = _nearest(stands)
    points, overlap = _points(heard.grid_s.size), _overlap(heard.setup, heard.grid_s.size)
    time_s = _apply(points, heard.grid_s)
    slope = (time_s - np.mean(time_s)) / np.sum((time_s - np.mean(time_s)) ** 2) / 1000
    shares = _per_frame(np.vstack([slope, cosines(N_POINTS)]), points)
    _put(draft, _CENTROID_KEYS, _moved(shares, nearest), mean_hz, mean_error, overlap)
    if stands.all():
        _put(draft, _LEVEL_KEYS, shares[1:], level_db, level_error, overlap)
    _peaks(draft, heard, rows, nearest, points)
    _movement(draft, heard, mean_hz, mean_error, stands)


def _frames(
    heard: Listened, rows: Rows, noise_variance: Rows, drift: Rows
) -> tuple[Rows, Rows, Rows, Rows, np.typing.NDArray[np.bool_]]:
    """Spectral mean and level of each frame (g,) with their errors, and which frames stand clear."""
    setup = heard.setup
    weights = setup.moment_weights[0]
    assert heard.grid is not None
    variance = heard.grid**2 * (setup.overlaps_hz[0] / (1 + setup.overlaps_hz[0] / setup.correlation_hz))
    clean = np.maximum(rows, 0.0) ** 2 * setup.overlaps_hz[0]
    power, mean_hz = power_and_mean(rows, setup.moment_weights, setup.method.band_hz)
    room = np.sum(noise_variance * weights) + np.sum(drift * weights) ** 2
    noise_error = np.sqrt(_sums(np.maximum(variance - clean, 0.0), weights) + room)
    stands = power > STANDS * noise_error
    distance = setup.frequency_hz - mean_hz[:, np.newaxis]
    own = _sums(distance**2 * (variance + noise_variance), weights)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_error = np.sqrt(own + _sums(distance, drift * weights) ** 2) / power
        level_error = _DECIBEL * np.sqrt(_sums(variance, weights) + room) / power
        level_db = 10 * np.log10(power)
    return mean_hz, mean_error, level_db, level_error, stands


def _sums(rows: Rows, weights: Rows) -> Rows:
    return weighted_sums(rows, weights[np.newaxis])[:, 0]


def _nearest(stands: np.typing.NDArray[np.bool_]) -> np.typing.NDArray[np.intp]:
    """Place of the nearest frame that stands clear, the earlier of two."""
    good = np.flatnonzero(stands)
    found: np.typing.NDArray[np.intp] = good[np.argmin(np.abs(np.arange(stands.size)[:, np.newaxis] - good), axis=1)]
    return found


@lru_cache(maxsize=128)
def _points(n_frames: int) -> Rows:
    """Shares (9, g) of the frames in the nine points."""
    at = np.linspace(0.0, n_frames - 1.0, N_POINTS)
    found: Rows = np.maximum(1 - np.abs(at[:, np.newaxis] - np.arange(n_frames)), 0.0)
    return found


def _apply(points: Rows, values: Rows) -> Rows:
    """Sums over frames in the order of time."""
    found: Rows = np.sum(points * values, axis=1)
    return found


@lru_cache(maxsize=128)
def _overlap(setup: Setup, n_frames: int) -> Rows:
    """Correlation (g, g) of frames by what their tapers hear in common."""
    lag = np.abs(np.arange(n_frames)[:, np.newaxis] - np.arange(n_frames))
    common = np.array([*setup.overlaps_hz, 0.0]) / setup.overlaps_hz[0]
    found: Rows = common[np.minimum(lag, common.size - 1)]
    return found


def _per_frame(per_point: Rows, points: Rows) -> Rows:
    """Shares (k, g) of the frames in coefficients that take some of each point, (k, 9)."""
    found: Rows = np.einsum("kp,pg->kg", per_point, points, optimize=False)
    return found


def _moved(shares: Rows, source: np.typing.NDArray[np.intp]) -> Rows:
    """Shares (k, g) where each frame is stood in for by another, (g,)."""
    moved = np.zeros_like(shares)
    for frame, other in enumerate(source):
        moved[:, other] += shares[:, frame]
    return moved


def _put(draft: Draft, keys: tuple[str, ...], shares: Rows, values: Rows, errors: Rows, overlap: Rows) -> None:
    """Coefficients with their intervals: sums of frames under ``shares`` (k, g); a frame without any may be unknown."""
    used = shares != 0
    found = np.sum(shares * np.where(used, values, 0.0), axis=1)
    scaled = shares * np.where(used, errors, 0.0)
    halves = NORMAL_95 * np.sqrt(np.sum(scaled[:, :, np.newaxis] * overlap * scaled[:, np.newaxis], axis=(1, 2)))
    for key, value, half in zip(keys, found.tolist(), halves.tolist(), strict=True):
        if isfinite(value) and isfinite(half):
            draft.values[key], draft.low[key], draft.high[key] = value, value - half, value + half


def _peaks(draft: Draft, heard: Listened, rows: Rows, source: np.typing.NDArray[np.intp], points: Rows) -> None:
    """The course of the peak, within 1.5 kHz of the sound's, where it has one."""
    setup, peak_hz = heard.setup, draft.values.get("peak_hz")
    if peak_hz is None:
        return
    sharp = smoothed(np.maximum(rows, 0.0), half_bandwidth(setup) - 1)
    near = np.abs(setup.frequency_hz - peak_hz) <= WITHIN_HZ
    found = highest(np.where(near, sharp, 0.0), setup.band, setup)[0][source]
    for k, coefficient in enumerate(dct(_apply(points, found))[:N_COEFFICIENTS]):
        if isfinite(coefficient):
            draft.values[f"peak_course_{k}_hz"] = float(coefficient)


def _movement(draft: Draft, heard: Listened, mean_hz: Rows, error: Rows, stands: np.typing.NDArray[np.bool_]) -> None:
    r"""How far the spectral mean moves within the method's region beyond chance: a standard deviation in Hz.

    The frames' variance about their mean, less what it is expected to be by chance alone,
    :math:`\bar v - \overline{\rho_{ab} \sqrt{v_a v_b}}`; 0 where there is no more.
    """
    own = slice(*heard.own)
    mean, part = mean_hz[own], error[own]
    if mean.size < 3 or not stands[own].all():
        return
    common = part[:, np.newaxis] * _overlap(heard.setup, mean.size) * part
    chance = float(np.mean(part**2) - np.mean(common))
    draft.values["centroid_movement_hz"] = float(np.sqrt(max(float(np.var(mean)) - chance, 0.0)))
