"""Courses with the noise taken out, ramps and all, with intervals; and how far a sound moves within itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite

import numpy as np
import numpy.typing as npt

from .cleared import NORMAL_95, Cleared
from .course import N_COEFFICIENTS, N_POINTS, cosines, slope_shares
from .drafts import Draft
from .moments import power_and_mean, weighted_sums
from .setup import Setup
from .shape import half_bandwidth, highest, smoothed
from .tapers import Rows

Flags = npt.NDArray[np.bool_]

STANDS = 5.0
"""Standard errors by which a frame's power must stand above zero to say where its energy sits."""
WITHIN_HZ = 1500.0
"""How far from the sound's peak a frame's is looked for."""
_CENTROID_KEYS = ("centroid_slope_hz_ms", *(f"centroid_course_{k}_hz" for k in range(N_COEFFICIENTS)))
_LEVEL_KEYS = tuple(f"level_course_{k}_db" for k in range(N_COEFFICIENTS))
_DECIBEL = 10 / np.log(10)  # decibels a unit of the natural logarithm


@dataclass(frozen=True, slots=True, eq=False)
class _Frames:
    """All frames of t sounds, one sound after another, and what each frame says.

    ``rows`` (f, m) are the frames' spectra, noise taken out, each of the sound ``of`` (f,). The others are (t, g), a
    row for each sound, filled up with zeros: spectral mean and level with their errors, which frames ``stand`` clear,
    and which are frames at all (``inside``).
    """

    rows: Rows
    of: npt.NDArray[np.intp]
    mean_hz: Rows
    mean_error: Rows
    level_db: Rows
    level_error: Rows
    stands: Flags
    inside: Flags


def course_measures(drafts: Sequence[Draft], cleared: Cleared, setup: Setup) -> None:
    """Add the courses and the movement of sounds under one setup, to those that have three frames or more.

    Nine equally spaced points, each between two frames by its nearness, as without noise. A frame whose power does not
    stand five standard errors above zero, at a ramp or in a loud room, takes the spectral mean and peak of the nearest
    that does; a level can't be taken so, and where a frame's power does not stand clear there is no level course.
    """
    grids = [draft.heard.grid if draft.heard is not None else None for draft in drafts]
    able = [i for i, grid in enumerate(grids) if grid is not None and len(grid) >= 3]
    if not able:
        return
    chosen = [drafts[i] for i in able]
    frames = _frames([grid for grid in grids if grid is not None and len(grid) >= 3], cleared.part(able), setup)
    source = np.array([_nearest(*row) for row in zip(frames.stands, frames.inside, strict=True)])
    shares = np.zeros((*frames.stands.shape, 1 + N_COEFFICIENTS))
    for own, n_frames in zip(shares, np.sum(frames.inside, axis=1).tolist(), strict=True):
        own[:n_frames] = _shares(n_frames, setup)
    moved = _moved(shares, source, frames.stands | ~frames.inside)
    some, whole = np.any(frames.stands, axis=1), np.all(frames.stands | ~frames.inside, axis=1)
    _put(chosen, some, _CENTROID_KEYS, _sums_of(moved, frames.mean_hz, frames.mean_error, setup))
    _put(chosen, whole, _LEVEL_KEYS, _sums_of(shares[:, :, 1:], frames.level_db, frames.level_error, setup))
    _peaks(chosen, frames, source, shares[:, :, 1:], setup)
    _movement(chosen, frames, setup)


def _frames(grids: Sequence[Rows], cleared: Cleared, setup: Setup) -> _Frames:
    """What each frame of each sound, (g, m), says, and which frames stand clear of the noise."""
    sizes = np.array([len(grid) for grid in grids])
    of = np.repeat(np.arange(sizes.size), sizes)
    inside = np.arange(np.max(sizes)) < sizes[:, np.newaxis]
    observed, weights = np.concatenate(grids), setup.moment_weights[0]
    rows = observed - cleared.noise[of]
    variance = observed**2 * (setup.overlaps_hz[0] / (1 + setup.overlaps_hz[0] / setup.correlation_hz))
    clean = np.maximum(rows, 0.0) ** 2 * setup.overlaps_hz[0]
    power, mean_hz = power_and_mean(rows, setup.moment_weights, setup.method.band_hz)
    drift = cleared.drift * weights
    room = (np.sum(cleared.noise_variance * weights, axis=1) + np.sum(drift, axis=1) ** 2)[of]
    stands = power > STANDS * np.sqrt(_sums(np.maximum(variance - clean, 0.0), weights) + room)
    distance = setup.frequency_hz - mean_hz[:, np.newaxis]
    own = _sums(distance**2 * (variance + cleared.noise_variance[of]), weights)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_error = np.sqrt(own + np.einsum("fm,fm->f", distance, drift[of], optimize=False) ** 2) / power
        level_error = _DECIBEL * np.sqrt(_sums(variance, weights) + room) / power
        level_db = 10 * np.log10(power)
    mean_hz, mean_error = _by_sound(mean_hz, inside), _by_sound(mean_error, inside)
    level_db, level_error = _by_sound(level_db, inside), _by_sound(level_error, inside)
    return _Frames(rows, of, mean_hz, mean_error, level_db, level_error, _by_sound(stands, inside) > 0, inside)


def _by_sound(column: npt.ArrayLike, inside: Flags) -> Rows:
    """Values of frames one after another (f,) as a row for each sound (t, g), zero where there is no frame."""
    found = np.zeros(inside.shape)
    found[inside] = column
    return found


def _sums(rows: Rows, weights: Rows) -> Rows:
    return weighted_sums(rows, weights[np.newaxis])[:, 0]


def _nearest(stands: Flags, inside: Flags) -> npt.NDArray[np.intp]:
    """Place (g,) of the nearest frame that stands clear, the earlier of two; its own where none does or is asked."""
    places, good = np.arange(stands.size), np.flatnonzero(stands)
    if good.size == 0 or good.size == np.count_nonzero(inside):
        return places
    found = good[np.argmin(np.abs(places[:, np.newaxis] - good), axis=1)]
    return np.where(inside, found, places)


@lru_cache(maxsize=128)
def _shares(n_frames: int, setup: Setup) -> Rows:
    """Shares (g, 5) of the frames in the slope per ms and the four coefficients over the nine points."""
    at = np.linspace(0.0, n_frames - 1.0, N_POINTS)
    points = np.maximum(1 - np.abs(at[:, np.newaxis] - np.arange(n_frames)), 0.0)
    hop_ms = setup.method.hop_ms or setup.method.frame_ms or 0.0
    per_point = np.vstack([slope_shares(at * hop_ms), cosines(N_POINTS)])
    found: Rows = np.einsum("kp,pg->gk", per_point, points, optimize=False)
    found.setflags(write=False)
    return found


def _moved(shares: Rows, source: npt.NDArray[np.intp], own: Flags) -> Rows:
    """Shares (t, g, k) where frames are stood in for by others, at ``source`` (t, g); ``own`` where by none."""
    moved = shares.copy()
    for sound in np.flatnonzero(~own.all(axis=1)):
        moved[sound] = 0.0
        np.add.at(moved[sound], source[sound], shares[sound])
    return moved


def _sums_of(shares: Rows, values: Rows, errors: Rows, setup: Setup) -> tuple[Rows, Rows]:
    """Sums (t, k) of frames (t, g) under shares (t, g, k), and half widths; a frame without any may be unknown.

    Frames are as alike in chance as their tapers hear in common.
    """
    used = shares != 0
    found = np.sum(shares * np.where(used, values[:, :, np.newaxis], 0.0), axis=1)
    scaled = shares * np.where(used, errors[:, :, np.newaxis], 0.0)
    return found, NORMAL_95 * np.sqrt(_squared(scaled, setup))


def _squared(errors: Rows, setup: Setup) -> Rows:
    r"""Variance (t, k) of a sum of frames with some errors (t, g, k), :math:`\sum_{ab} \rho_{ab} e_a e_b`.

    The correlation of two frames is what their tapers hear in common, by how many hops lie between them.
    """
    n_frames = errors.shape[1]
    total = np.sum(errors**2, axis=1)
    for lag, common in enumerate(setup.overlaps_hz[1:n_frames], start=1):
        beside = np.sum(errors[:, : n_frames - lag] * errors[:, lag:], axis=1)
        total += 2.0 * common / setup.overlaps_hz[0] * beside
    found: Rows = np.maximum(total, 0.0)
    return found


def _put(drafts: Sequence[Draft], able: Flags, keys: tuple[str, ...], found: tuple[Rows, Rows]) -> None:
    """Give sounds that are able their coefficients (t, k) with their intervals."""
    columns = zip(drafts, able, found[0].tolist(), found[1].tolist(), strict=True)
    for draft, good, values, halves in columns:
        for key, value, half in zip(keys, values, halves, strict=True):
            if good and isfinite(value) and isfinite(half):
                draft.values[key], draft.low[key], draft.high[key] = value, value - half, value + half


def _peaks(drafts: Sequence[Draft], frames: _Frames, source: npt.NDArray[np.intp], shares: Rows, setup: Setup) -> None:
    """The course of the peak, within 1.5 kHz of the sound's, where it has one and some frame stands clear."""
    peak_hz = np.array([draft.values.get("peak_hz", np.nan) for draft in drafts])
    sharp = smoothed(np.maximum(frames.rows, 0.0), half_bandwidth(setup) - 1)
    near = np.abs(setup.frequency_hz - peak_hz[:, np.newaxis]) <= WITHIN_HZ
    found = _by_sound(highest(np.where(near[frames.of], sharp, 0.0), setup.band, setup)[0], frames.inside)
    taken = np.take_along_axis(found, source, axis=1)[:, :, np.newaxis]
    course = np.sum(shares * taken, axis=1)
    for draft, good, values in zip(drafts, np.any(frames.stands, axis=1), course.tolist(), strict=True):
        for k, value in enumerate(values):
            if good and "peak_hz" in draft.values and isfinite(value):
                draft.values[f"peak_course_{k}_hz"] = value


def _movement(drafts: Sequence[Draft], frames: _Frames, setup: Setup) -> None:
    r"""How far the spectral mean moves within the method's region beyond chance: a standard deviation in Hz.

    The frames' variance about their mean, less what it is expected to be by chance alone,
    :math:`\bar v - \overline{\rho_{ab} \sqrt{v_a v_b}}`; 0 where there is no more.
    """
    place = np.arange(frames.inside.shape[1])
    span = np.array([draft.heard.own if draft.heard is not None else (0, 0) for draft in drafts])
    own = (place >= span[:, :1]) & (place < span[:, 1:])
    n_own = np.maximum(np.sum(own, axis=1), 1)
    able = (n_own >= 3) & (frames.stands | ~own).all(axis=1)
    error = np.where(own & able[:, np.newaxis], frames.mean_error, 0.0)[:, :, np.newaxis]
    mean = np.where(own & able[:, np.newaxis], frames.mean_hz, 0.0)
    middle = np.sum(mean[:, :, np.newaxis], axis=1) / n_own[:, np.newaxis]
    about = np.where(own & able[:, np.newaxis], mean - middle, 0.0)[:, :, np.newaxis]
    chance = np.sum(error**2, axis=1)[:, 0] / n_own - _squared(error, setup)[:, 0] / n_own**2
    movement = np.sqrt(np.maximum(np.sum(about**2, axis=1)[:, 0] / n_own - chance, 0.0))
    for draft, good, value in zip(drafts, able, movement.tolist(), strict=True):
        if good:
            draft.values["centroid_movement_hz"] = value
