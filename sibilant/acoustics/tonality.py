"""Whistling: a narrow ridge in the spectrum, followed as it glides, and its share of the sound's power.

Loudness against the surroundings alone tells a whistle badly: faint lines of the room and the resonances of ordinary
sounds stand out as well. A whistle at the hiss's own level holds half of the power in a few hundred Hz.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ..levels.ranks import median
from ..terms import Interval, Method, Recording
from .frames import power_densities
from .setup import Setup, prepare
from .tapers import Rows

FRAME_S = 0.03  # long enough for a whistle's narrow ridge, short enough for its glide
HOP_S = 0.015  # half a frame
TIME_BANDWIDTH = 2.5  # tapers that resolve the ridge's width
N_TAPERS = 4  # 2 NW - 1 with the bandwidth above
LOWEST_HZ = 2000.0
"""From here on the sound's power is counted."""
LOWEST_RIDGE_HZ = 2500.0  # whistled /s/ lies above; below are formants
RIDGE_HALF_HZ = 150.0  # about what a ridge is wide
BESIDE_HZ = (300.0, 700.0)
"""From and to how far either side of a ridge its surroundings are taken."""
GLIDE_HZ_MS = 15.0  # a ridge moves no faster from frame to frame
WITHIN_HZ = 500.0  # width of the ridge is looked for within this
HELD = 0.79
"""The width of a ridge holds this share of what lies within 500 Hz of it."""
TONAL_DB = -3.7
"""Level against the rest from which a ridge is asked about: 0.3 of the power."""
TONAL_WIDTH_HZ, TONAL_LOW_WIDTH_HZ, RESONANCES_HZ = 400.0, 220.0, 4000.0
"""Widest ridge asked about, above and below 4 kHz: below, the resonances of many a /ʃ/ are as narrow as a whistle."""
FAINTEST_DB = 30.0  # shares of power beyond this are told as it


@dataclass(frozen=True, slots=True)
class Ridge:
    """The strongest ridge: ``level_db`` against the rest of the sound, ``width_hz``, and where it runs."""

    level_db: float
    width_hz: float
    frequency_hz: tuple[float, ...]

    @property
    def tonal(self) -> bool:
        """Whether it is narrow and strong enough to be asked about as a whistle."""
        high = median(np.array(self.frequency_hz)) >= RESONANCES_HZ
        return self.level_db >= TONAL_DB and self.width_hz <= (TONAL_WIDTH_HZ if high else TONAL_LOW_WIDTH_HZ)


def ridges(recording: Recording, intervals: Sequence[Interval], method: Method) -> list[Ridge | None]:
    """Follow the strongest narrow ridge through each fricative.

    Frames of 30 ms with four tapers of time-bandwidth 2.5 every 15 ms. In each, what lies within 150 Hz of a frequency
    beyond the density from 300 to 700 Hz away, on the side where that is more, is taken as a share of the power above
    2 kHz; the path of the greatest summed share from 2.5 kHz on, moving at most 15 Hz a ms, is the ridge. Its level is
    that share against the rest, its width what holds four fifths of the power within 500 Hz of the path.

    Returns
    -------
    list of Ridge or None
        None where not one frame fits or the sound is silent, and for all where the band above 2 kHz is narrower than
        3 kHz.
    """
    setup = _setup(method, recording.sampling_rate_hz)
    first, last = setup.band
    starts = [_starts(recording, interval, setup) for interval in intervals]
    if (last - first) * setup.step_hz < 3000.0 or not any(starts):
        return [None for _ in intervals]
    rows = power_densities(recording.samples, sum(starts, ()), setup)[:, first : last + 1]
    running = np.zeros((rows.shape[0], rows.shape[1] + 1))
    np.cumsum(rows, axis=1, out=running[:, 1:])
    with np.errstate(invalid="ignore"):
        running /= running[:, -1:]
    beyond = _beyond(running, setup.step_hz)
    lowest = max(0, int(np.ceil((LOWEST_RIDGE_HZ - setup.frequency_hz[first]) / setup.step_hz)))
    beyond[:, :lowest] = -1.0
    sizes = [len(own) for own in starts]
    path = np.concatenate(best_paths(beyond, sizes, max(1, round(GLIDE_HZ_MS * 1000 * HOP_S / setup.step_hz))))
    share, held = beyond[np.arange(path.size), path], _held(running, path, setup.step_hz)
    silent, frequency_hz = np.isnan(running[:, -1]), setup.frequency_hz[first + path]
    own = [slice(stop - size, stop) for size, stop in zip(sizes, np.cumsum(sizes).tolist(), strict=True)]
    return [
        None if one.start == one.stop or silent[one].any() else _ridge(share[one], held[one], frequency_hz[one], setup)
        for one in own
    ]


def _ridge(share: Rows, held: Rows, frequency_hz: Rows, setup: Setup) -> Ridge:
    """The ridge of one sound, from its share and place in each frame (f,), and what each width about it holds."""
    mean = min(max(float(np.add.reduce(share)) / share.size, 1e-6), 1 - 1e-6)
    level_db = min(max(10 * math.log10(mean / (1 - mean)), -FAINTEST_DB), FAINTEST_DB)
    laid = np.add.reduce(held, axis=0) / len(held)
    width_hz = float(2 * np.interp(HELD * laid[-1], laid, np.arange(laid.size)) * setup.step_hz)
    return Ridge(level_db, width_hz, tuple(frequency_hz.tolist()))


@lru_cache(maxsize=32)
def _setup(method: Method, rate_hz: int) -> Setup:
    return tonal_setup(method, rate_hz, FRAME_S)


def tonal_setup(method: Method, rate_hz: int, frame_s: float) -> Setup:
    """Frames of ``frame_s`` over what a method's band holds above 2 kHz."""
    low = max(LOWEST_HZ, method.band_hz[0])
    band = (low, max(low + 500.0, method.band_hz[1]))
    own = Method("tonality", 1, band, (), n_tapers=N_TAPERS, time_bandwidth=TIME_BANDWIDTH)
    return prepare(own, rate_hz, round(frame_s * rate_hz))


def _starts(recording: Recording, interval: Interval, setup: Setup) -> tuple[int, ...]:
    return frame_starts(recording, interval, setup, (FRAME_S, HOP_S))


def frame_starts(
    recording: Recording, interval: Interval, setup: Setup, frame_and_hop_s: tuple[float, float]
) -> tuple[int, ...]:
    """Frames laid symmetrically inside the fricative; one in its middle where no more fit."""
    frame_s, hop_s = frame_and_hop_s
    n_frames = 1 + max(0, int((interval.duration_s - frame_s) / hop_s + 1e-6))
    middle = (interval.onset_s + interval.offset_s) / 2
    rate = recording.sampling_rate_hz
    centres = [middle + (k - (n_frames - 1) / 2) * hop_s for k in range(n_frames)]
    starts = tuple(round(centre * rate - setup.n_samples / 2) for centre in centres)
    return tuple(s for s in starts if 0 <= s <= recording.samples.size - setup.n_samples)


def _beyond(running: Rows, step_hz: float) -> Rows:
    """Share of a frame's power near each bin beyond the density of its higher side, (frames, bins)."""
    bins = np.arange(running.shape[1] - 1)
    near, (start, stop) = round(RIDGE_HALF_HZ / step_hz), (round(edge / step_hz) for edge in BESIDE_HZ)
    centre = mean_between(running, bins - near, bins + near + 1)
    below = mean_between(running, bins - stop, bins - start)
    above = mean_between(running, bins + start, bins + stop)
    beyond = (centre - np.fmax(below, above)) * (2 * near + 1)
    return np.where(np.isfinite(beyond), beyond, -1.0)


def mean_between(running: Rows, start: npt.NDArray[np.intp], stop: npt.NDArray[np.intp]) -> Rows:
    """Mean power between bins, NaN where less than a third of the stretch lies inside the band."""
    last = running.shape[1] - 1
    low, high = np.clip(start, 0, last), np.clip(stop, 0, last)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (running[:, high] - running[:, low]) / (high - low)
    return np.where(3 * (high - low) >= stop - start, mean, np.nan)


def best_paths(scores: Rows, sizes: Sequence[int], reach: int) -> list[npt.NDArray[np.intp]]:
    """Bin of the ridge in each frame of each sound: the path of highest summed score.

    It moves at most ``reach`` bins from one frame to the next. ``scores`` (f, m) holds the frames of one sound after
    another, ``sizes`` how many each has. Frames are summed number by number through all sounds that have so many.
    """
    begins, counts = np.cumsum([0, *sizes[:-1]]), np.array(sizes)
    sums = scores.copy()
    for number in range(1, max(sizes)):
        frame = begins[counts > number] + number
        sums[frame] += _running_max(sums[frame - 1], reach)
    return [_back(sums[begin : begin + size], reach) for begin, size in zip(begins.tolist(), sizes, strict=True)]


def _back(sums: Rows, reach: int) -> npt.NDArray[np.intp]:
    """The best path (f,) back from its end, by the highest sums (f, m) up to each bin of each frame."""
    path = [int(sums[-1].argmax())] if len(sums) else []
    for earlier in sums[-2::-1]:
        low = max(0, path[-1] - reach)
        path.append(low + int(earlier[low : path[-1] + reach + 1].argmax()))
    return np.array(path[::-1], dtype=np.intp)


def _running_max(values: Rows, reach: int) -> Rows:
    """Highest value within ``reach`` places of each, along the last axis, by doubling the window."""
    n_values = values.shape[-1]
    padded = np.full((*values.shape[:-1], n_values + 2 * reach), -np.inf)
    padded[..., reach : reach + n_values] = values
    width, wanted = 1, 2 * reach + 1
    while width < wanted:
        step = min(width, wanted - width)
        padded = np.maximum(padded[..., :-step], padded[..., step:])
        width += step
    return padded


def _held(running: Rows, path: npt.NDArray[np.intp], step_hz: float) -> Rows:
    """Power (f, h) that lies within 0, 1, 2 ... bins of the path in each frame, as far as 500 Hz."""
    halves = np.arange(round(WITHIN_HZ / step_hz) + 1)
    last, frames = running.shape[1] - 1, np.arange(path.size)[:, np.newaxis]
    low = np.maximum(path[:, np.newaxis] - halves, 0)
    high = np.minimum(path[:, np.newaxis] + halves + 1, last)
    held: Rows = running[frames, high] - running[frames, low]
    return held
