"""Frame statistics of a recording, computed once and block by block; the pauses in it; long-term spectra of both."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..terms import Interval, Recording
from ..terms.sound import let_go
from .ranks import percentile

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

WINDOW_S, HOP_S = 0.020, 0.010  # common practice, no source
EDGES_HZ = (20.0, 120.0, 1_000.0, 2_000.0, 4_000.0, 6_000.0, 8_000.0, 10_000.0)
"""Band edges; the last band reaches to the Nyquist frequency. Bands above it hold nothing."""
SILENCE = 1e-15
"""Power (full scale squared) below which a frame is digital silence: -150 dB."""
BLOCK_FRAMES, STRETCHES_HELD = 256, 100  # for memory and cache; no result depends on it


@dataclass(frozen=True, slots=True)
class Frames:
    """``power`` (n, 8): mean square in each band of ``EDGES_HZ`` for each 20 ms Hann frame, one every 10 ms.

    Frame ``i`` is centred at ``(i + 1) * hop_s``.
    """

    power: Floats
    hop_s: float
    sampling_rate_hz: int

    @property
    def times_s(self) -> Floats:
        """Centres of the frames, (n,)."""
        return np.arange(1, len(self.power) + 1, dtype=np.float64) * self.hop_s

    def band(self, low_hz: float, high_hz: float) -> Floats:
        """Mean square between two of the edges, (n,); ``inf`` as the upper one means up to the Nyquist frequency."""
        first = EDGES_HZ.index(low_hz)
        last = len(EDGES_HZ) if np.isinf(high_hz) else EDGES_HZ.index(high_hz)
        total: Floats = self.power[:, first:last].sum(axis=1)
        return total

    def span(self, interval: Interval) -> slice:
        """Frames whose centres lie in a stretch; the nearest one when none does."""
        first = int(np.ceil(interval.onset_s / self.hop_s - 1e-9)) - 1
        last = int(np.floor(interval.offset_s / self.hop_s + 1e-9))
        first, last = max(0, first), min(len(self.power), last)
        if last > first:
            return slice(first, last)
        nearest = round((interval.onset_s + interval.offset_s) / 2 / self.hop_s) - 1
        nearest = min(max(nearest, 0), len(self.power) - 1)
        return slice(nearest, nearest + 1)


def frames_of(recording: Recording) -> Frames:
    """Compute the frame statistics; a recording shorter than a frame gives one padded frame.

    Power is ``2 |X|^2 / (N sum w^2)`` summed over the band: the mean square of the band's part of the signal.
    """
    rate = recording.sampling_rate_hz
    hop = max(2, round(rate * HOP_S))
    size = 2 * hop
    blocks = [_band_power(block, size, rate) for block in _framed(recording.samples, size, hop)]
    return Frames(np.concatenate(blocks), hop / rate, rate)


def _framed(samples: npt.NDArray[np.float32], size: int, hop: int) -> Iterator[npt.NDArray[np.float32]]:
    n_frames = max(1, (samples.size - size) // hop + 1)
    for start in range(0, n_frames, BLOCK_FRAMES):
        count = min(BLOCK_FRAMES, n_frames - start)
        piece = samples[start * hop : start * hop + (count - 1) * hop + size]
        if piece.size < size:
            piece = np.pad(piece, (0, size - piece.size))
        yield np.lib.stride_tricks.sliding_window_view(piece, size)[::hop][:count]
        let_go(samples)


def cuts(recording: Recording, stretches: Sequence[Interval]) -> Iterator[npt.NDArray[np.float32]]:
    """Yield the samples of each stretch, letting go of mapped pages now and then."""
    for number, stretch in enumerate(stretches, start=1):
        yield recording.cut(stretch)
        if number % STRETCHES_HELD == 0:
            recording.let_go()


def _band_power(block: npt.NDArray[np.float32], size: int, rate: int) -> Floats:
    from scipy import fft

    window = hann(size)
    spectrum = fft.rfft(block * window, axis=1)
    power = spectrum.real**2 + spectrum.imag**2
    scale = 2.0 / (size * float((window.astype(np.float64) ** 2).sum()))
    starts = np.ceil(np.array(EDGES_HZ) * size / rate).astype(int)
    n_bins = power.shape[1]
    held = int((starts < n_bins).sum())
    bands = np.zeros((len(power), len(EDGES_HZ)))
    bands[:, :held] = np.add.reduceat(power, starts[:held], axis=1) * scale
    empty = np.append(starts[1:held] <= starts[: held - 1], [False])
    bands[:, :held][:, empty] = 0.0
    return bands


@lru_cache(maxsize=16)
def hann(size: int) -> npt.NDArray[np.float32]:
    """Hann window (size,), periodic."""
    return np.hanning(size + 1)[:-1].astype(np.float32)


def decibels(power: npt.ArrayLike) -> Floats:
    """``10 log10`` of powers, digital silence at -150 dB."""
    level: Floats = 10 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), SILENCE))
    return level


GUARD_FRAMES = 3  # frames on either side of sound that count with it
PAUSE_FRAMES, PAUSE_FRAMES_AT_END = 10, 5  # a pause lasts at least 100 ms, at the ends of a recording half of that
LOW_RISE_DB, HIGH_RISE_DB = 12.0, 9.0  # over the local floor, below and above 1 kHz, from which on there is sound
FLOOR_SHARE, FLOOR_WINDOW_S = 10.0, 8.0  # the quietest tenth within this time is the local floor


def pauses_of(frames: Frames, taken: Sequence[Interval]) -> Flags:
    """Frames (n,) that hold only the background: near the local floor of both bands, away from what is ``taken``.

    A pause lasts 100 ms or more (50 ms at an end of the recording) after 30 ms are left out on either side.
    """
    low = _smooth(decibels(frames.band(120.0, 1_000.0)))
    high = _smooth(decibels(frames.band(2_000.0, np.inf)))
    active = (low > _local_floor(low, frames.hop_s) + LOW_RISE_DB) | (
        high > _local_floor(high, frames.hop_s) + HIGH_RISE_DB
    )
    for interval in taken:
        active[frames.span(interval)] = True
    quiet = ~_widen(active, GUARD_FRAMES)
    for first, last in runs(quiet):
        at_end = first == 0 or last == quiet.size
        if last - first < (PAUSE_FRAMES_AT_END if at_end else PAUSE_FRAMES):
            quiet[first:last] = False
    return quiet


def runs(flags: Flags) -> list[tuple[int, int]]:
    """First and one-past-last index of each run of true values.

    Examples
    --------
    >>> runs(np.array([False, True, True, False]))
    [(1, 3)]
    """
    steps = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    return list(zip(np.nonzero(steps == 1)[0].tolist(), np.nonzero(steps == -1)[0].tolist(), strict=True))


def _smooth(level: Floats) -> Floats:
    if level.size < 3:
        return level
    padded = np.pad(level, 1, mode="edge")
    smoothed: Floats = (padded[:-2] + padded[1:-1] + padded[2:]) / 3
    return smoothed


def _local_floor(level: Floats, hop_s: float) -> Floats:
    """Tenth percentile of the frames that are not digital silence, over 8 s around each second."""
    half = round(FLOOR_WINDOW_S / 2 / hop_s)
    step = round(1.0 / hop_s)
    places = np.arange(0, level.size, step)
    floors = []
    for place in places:
        part = level[max(0, place - half) : place + half]
        sounding = part[part > -140]
        floors.append(percentile(sounding if sounding.size else part, FLOOR_SHARE))
    interpolated: Floats = np.interp(np.arange(level.size), places, floors)
    return interpolated


def _widen(flags: Flags, n: int) -> Flags:
    count = np.convolve(flags.astype(np.int32), np.ones(2 * n + 1, np.int32))[n : n + flags.size]
    widened: Flags = count > 0
    return widened
