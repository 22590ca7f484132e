"""The noise of the pauses beside a word, with the windows and tapers that the word's sounds are measured with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..methods import HOUSE_7K
from ..terms import Interval, NoiseSpectrum, Recording
from .frames import power_densities
from .setup import LOW_BAND_HZ, Setup, prepare, whole
from .tapers import Rows

if TYPE_CHECKING:
    import numpy.typing as npt

    Starts = npt.NDArray[np.intp]

FEWEST_FRAMES = 4
"""Fewest frames of 20 ms on a side, half overlapped (50 ms), for that side to count."""
DRIFT_BAND_HZ = 1000.0  # the room's wandering is taken band by band, as wide as this
BLOCK = 5
"""Frames of the stretches, about as long as the region of a sound, between which the noise's level may wander."""
CHANCE = 2.0
"""A difference of the two sides counts as drift as far as its square exceeds this many chance variances."""


WORDS_AT_ONCE = 32  # for memory; no result depends on it


def noise_spectra(
    recording: Recording, sides: Sequence[tuple[Sequence[Interval], Sequence[Interval]]]
) -> list[NoiseSpectrum | None]:
    """Noise spectrum for each word of a recording, as ``noise_spectrum`` gives it; shared frames are computed once.

    ``sides`` holds for each word, in order of time, the stretches before and after it.
    """
    if HOUSE_7K.band_hz[1] > recording.sampling_rate_hz / 2:
        return [None] * len(sides)
    setup = _setup(recording.sampling_rate_hz)
    found: list[NoiseSpectrum | None] = []
    for begin in range(0, len(sides), WORDS_AT_ONCE):
        group = sides[begin : begin + WORDS_AT_ONCE]
        starts = [[_starts(recording, stretches, setup) for stretches in pair] for pair in group]
        every = np.unique(np.concatenate([side for pair in starts for side in pair]))
        if not every.size:
            found += [None] * len(group)
            continue
        rows = power_densities(recording.samples, tuple(every.tolist()), setup)
        found += [_spectrum(pair, every, rows, setup) for pair in starts]
    return found


def noise_spectrum(recording: Recording, before: Sequence[Interval], after: Sequence[Interval]) -> NoiseSpectrum | None:
    """Noise spectrum from the pauses before and after a word, or None where there is none or the rate is too low.

    Frames of 20 ms every 10 ms with the five tapers of the house methods, averaged on each side; then the mean of the
    two sides, half their difference being the drift (in bands of 1 kHz, less what chance gives), and with it how far
    the level wanders within a side. Where only one side has a pause, its two halves stand for the sides.

    Parameters
    ----------
    recording : Recording
        The sound.
    before, after : sequence of Interval
        Stretches of nothing but background on either side of the word.

    Examples
    --------
    >>> from sibilant.terms import Source
    >>> hum = Recording(np.random.default_rng(1).standard_normal(44100).astype(np.float32) / 8, 44100, Source("b", ""))
    >>> found = noise_spectrum(hum, [Interval(0.0, 0.3)], [Interval(0.6, 0.9)])
    >>> found is not None and found.dof > 200
    True
    """
    return noise_spectra(recording, [(before, after)])[0]


def _spectrum(pair: Sequence[Starts], every: Starts, rows: Rows, setup: Setup) -> NoiseSpectrum | None:
    """Noise of one word: ``pair`` holds the starts of its frames on either side, ``rows`` (n, m) the power of all."""
    sides = [side for side in pair if side.size >= FEWEST_FRAMES]
    if not sides:
        return None
    if len(sides) == 1:
        half = sides[0].size // 2
        sides = [sides[0][:half], sides[0][half:]]
    own = [_rows_of(side, every, rows) for side in sides]
    means = [_mean(side) for side in own]
    times_s = [_effective_s(side, setup) for side in sides]
    effective_s = 4 / (1 / times_s[0] + 1 / times_s[1])
    mean = (means[0] + means[1]) / 2
    drift = _with_wander(_drift(means, times_s, setup), mean, _wander(own, setup))
    return NoiseSpectrum(mean, 2 * effective_s * setup.correlation_hz, drift)


def _rows_of(side: Starts, every: Starts, rows: Rows) -> Rows:
    """Rows (k, m) of a side's frames: a view where nothing lies between them."""
    first, last = np.searchsorted(every, side[[0, -1]])
    return rows[first : last + 1] if last - first + 1 == side.size else rows[np.searchsorted(every, side)]


@lru_cache(maxsize=16)
def _setup(rate_hz: int) -> Setup:
    """House windows on all frequencies up to half the rate, without any gain."""
    return whole(prepare(HOUSE_7K, rate_hz, round(0.001 * (HOUSE_7K.frame_ms or 0.0) * rate_hz)))


def _starts(recording: Recording, stretches: Sequence[Interval], setup: Setup) -> Starts:
    """First samples (n,) of the frames that lie wholly inside the stretches."""
    rate, hop = recording.sampling_rate_hz, round(0.001 * (HOUSE_7K.hop_ms or 0.0) * recording.sampling_rate_hz)
    found: list[int] = []
    for stretch in stretches:
        first = max(0, math.ceil(stretch.onset_s * rate - 1e-6))
        last = min(recording.samples.size, math.floor(stretch.offset_s * rate + 1e-6)) - setup.n_samples
        found.extend(range(first, last + 1, hop))
    return np.array(found, dtype=np.intp)


def _mean(rows: Rows) -> Rows:
    return np.asarray(np.add.reduce(rows, axis=0) / rows.shape[0])


def _effective_s(starts: Starts, setup: Setup) -> float:
    """Effective time of frames that overlap at most by half: one over the mean of what pairs hear in common."""
    alone, shared = setup.overlaps_hz[:2]
    n_overlaps = int(np.count_nonzero(np.diff(starts) < setup.n_samples))
    return len(starts) ** 2 / (len(starts) * alone + n_overlaps * 2 * shared)


def _drift(means: Sequence[Rows], times_s: Sequence[float], setup: Setup) -> Rows:
    """Half the difference of the sides in bands of 1 kHz, in the unit of the spectrum, chance taken out."""
    mean = (means[0] + means[1]) / 2
    edges = _drift_edges(setup.rate_hz)
    parts = np.stack([mean, mean**2, means[1] - means[0]])[:, : edges[-1]]
    power, squares, difference = np.add.reduceat(parts, edges[:-1], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        half = difference / 2 / power
        width_hz = power**2 / squares * setup.step_hz
        chance = (1 / times_s[0] + 1 / times_s[1]) / (4 * width_hz)
        share = np.copysign(np.sqrt(np.maximum(half**2 - CHANCE * chance, 0.0)), half)
    drift = np.zeros_like(mean)
    drift[: edges[-1]] = mean[: edges[-1]] * np.repeat(np.where(power > 0, share, 0.0), np.diff(edges))
    return drift


@lru_cache(maxsize=16)
def _drift_edges(rate_hz: int) -> npt.NDArray[np.intp]:
    """First bin of each whole kHz, and one past the last; bands without any are left out."""
    frequency_hz = _setup(rate_hz).frequency_hz
    edges = np.arange(0.0, frequency_hz[-1] + DRIFT_BAND_HZ, DRIFT_BAND_HZ)
    return np.unique(np.searchsorted(frequency_hz, edges))


def _wander(rows: Sequence[Rows], setup: Setup) -> float:
    """How far the noise's level wanders within a side, from one stretch as long as a sound to the next, as a share.

    A standard deviation of means of five frames (60 ms), each frequency by its own mean, chance taken out; with what it
    adds to the mean of the pauses themselves.
    """
    first = round(LOW_BAND_HZ[0] / setup.step_hz)
    squares, n_free, n_blocks = 0.0, 0, 0
    for side in rows:
        whole_blocks = side[: len(side) // BLOCK * BLOCK, first:]
        mean = _mean(whole_blocks) if len(whole_blocks) >= 2 * BLOCK else np.zeros(1)
        heard = mean > 0
        if not heard.any():
            continue
        share = np.where(heard, 1.0, 0.0) / np.where(heard, mean, 1.0) / np.count_nonzero(heard)
        level = np.einsum("fm,m->f", whole_blocks, share, optimize=False).reshape(-1, BLOCK).mean(axis=1)
        squares += float(((level - level.mean()) ** 2).sum())
        n_free, n_blocks = n_free + level.size - 1, n_blocks + level.size
    if not n_free:
        return 0.0
    return math.sqrt(max(squares / n_free - CHANCE * _block_chance(setup), 0.0) * (1 + 1 / n_blocks))


@lru_cache(maxsize=16)
def _block_chance(setup: Setup) -> float:
    """What chance alone makes of the squared level of one block."""
    hop = round(0.001 * (HOUSE_7K.hop_ms or 0.0) * setup.rate_hz)
    block_s = _effective_s(hop * np.arange(BLOCK), setup)
    return float(1 / (block_s * (setup.frequency_hz[-1] - LOW_BAND_HZ[0])))


def _with_wander(drift: Rows, mean: Rows, wander: float) -> Rows:
    """Drift and wander as one standard deviation, all frequencies together where the level wanders."""
    if wander == 0.0:
        return drift
    found: Rows = np.hypot(drift, wander * mean) * math.copysign(1.0, float(np.sum(drift)))
    return found


def on_setup(noise: NoiseSpectrum, setup: Setup) -> tuple[Rows, Rows]:
    """Noise and drift (m,) on a setup's bins, its gain applied; windows of other lengths are interpolated."""
    n_bins = noise.power_density.size
    step_hz = setup.rate_hz / 2 / (n_bins - 1)
    first, last = setup.bins
    if abs(step_hz - setup.step_hz) < 1e-9 and last <= n_bins:
        return noise.power_density[first:last] * setup.gain, noise.drift[first:last] * setup.gain
    grid = np.arange(n_bins) * step_hz
    found = (np.interp(setup.frequency_hz, grid, part) * setup.gain for part in (noise.power_density, noise.drift))
    power, drift = found
    return power, drift
