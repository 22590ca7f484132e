"""A stretch of a recording comes in; short-time power every millisecond goes out.

Edges are read from it, so it is as fine as the criterion and made only where edges are set.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms import Interval, Recording
from .coarse import Float32s, frame_plan, framed, sample_range, to_db
from .ranks import percentiles

FINE_HOP_S = 0.001  # the criterion reads the level every millisecond (docs/boundaries.md)
FINE_WINDOW_S = 0.004  # and smooths over about 4 ms
FINE_HIGH_PASS_HZ = (60.0, 110.0)  # below the first nothing, above the second all: hum is taken away
RUMBLE_BLOCK_S, RUMBLE_MARGIN_S = 1.0, 0.25
"""Longer stretches are freed of rumble piece by piece, each with what lies so near it on either side: a transform of
half a minute costs twice as much as those of its pieces'."""
LOW_BAND_HZ = (150.0, 950.0)  # where a voice begins (docs/boundaries.md)
HISS_FROM_HZ = 3000.0  # hiss lies above
HIGHEST_HZ = 15000.0  # no criterion looks higher
FLOOR_PERCENTILE = 10.0  # the quietest tenth is the floor


@dataclass(frozen=True, slots=True)
class FineLevels:
    """Short-time power of a stretch every millisecond through 4 ms Hann windows.

    ``power`` (n, m): mean square per bin up to 15 kHz; ``frequency_hz`` (m,); ``top_hz``: highest frequency that is
    used, 0.95 of the Nyquist frequency, 15 kHz at most. Rumble and hum below 60 to 110 Hz are taken out first.
    ``low_db`` (n,): level at 150 to 950 Hz; ``hiss_db`` (n,): level from 3 kHz on (0.6 of the top in narrower
    recordings); ``floor`` (m,): the quietest tenth of each bin.
    """

    power: Float32s
    frequency_hz: npt.NDArray[np.float64]
    top_hz: float
    start_s: float
    hop_s: float
    low_db: Float32s
    hiss_db: Float32s
    floor: Float32s

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return int(self.power.shape[0])

    def bins_of(self, low_hz: float, high_hz: float) -> slice:
        """Bins whose centres lie in a band; at least one."""
        return _bins_of(self.frequency_hz, low_hz, high_hz)

    def level_db(self, low_hz: float, high_hz: float) -> Float32s:
        """Level in a band: (n,)."""
        return to_db(self.power[:, self.bins_of(low_hz, high_hz)].sum(axis=1))

    def frame_at(self, time_s: float) -> int:
        """Return the frame nearest to a time, clamped."""
        return min(max(round((time_s - self.start_s) / self.hop_s), 0), self.n_frames - 1)

    def cut(self, first: int, last: int) -> FineLevels:
        """Frames ``first`` to ``last`` (clamped) as views; the floor stays that of the whole."""
        first, last = max(0, first), min(self.n_frames - 1, last)
        part = slice(first, max(first, last) + 1)
        start_s, low, hiss = self.time_of(first), self.low_db[part], self.hiss_db[part]
        return FineLevels(self.power[part], self.frequency_hz, self.top_hz, start_s, self.hop_s, low, hiss, self.floor)

    def time_of(self, frame: float) -> float:
        """Return the time of a (fractional) frame."""
        return self.start_s + self.hop_s * frame


def fine_levels(recording: Recording, interval: Interval) -> FineLevels:
    """Short-time power every millisecond through 4 ms Hann windows, for a stretch of seconds (not for hours).

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> hiss = np.random.default_rng(1).standard_normal(16000).astype(np.float32) * np.float32(0.1)
    >>> fine = fine_levels(Recording(hiss, 16000, Source("hiss", "")), Interval(0.2, 0.8))
    >>> round(float(fine.level_db(100, 8000).mean())), fine.n_frames
    (-20, 601)
    """
    rate = recording.sampling_rate_hz
    first, last = sample_range(recording, interval)
    hop = max(1, round(FINE_HOP_S * rate))
    width = max(8, round(FINE_WINDOW_S * rate))
    n_frames = max(1, (last - first) // hop + 1)
    lead = width // 2
    piece = framed(recording.samples, first - lead, (1, (n_frames - 1) * hop + width, 1))[0]
    from scipy import fft

    window, _ = frame_plan(width, rate)
    n_fft = window.size
    even = np.pad(_without_rumble(piece, rate), (0, n_fft - width))
    frames = np.lib.stride_tricks.sliding_window_view(even, n_fft)[::hop]
    frequency: npt.NDArray[np.float64] = np.arange(n_fft // 2 + 1, dtype=np.float64) * (rate / n_fft)
    nyquist = float(frequency[-1])
    frequency, top = frequency[frequency <= HIGHEST_HZ], min(0.95 * nyquist, HIGHEST_HZ)
    power: Float32s = np.empty((n_frames, frequency.size), dtype=np.float32)
    for begin in range(0, n_frames, 512):
        part = fft.rfft(frames[begin : begin + 512] * window, axis=1)[:, : frequency.size]
        power[begin : begin + 512] = part.real**2 + part.imag**2
    high = _bins_of(frequency, min(HISS_FROM_HZ, 0.6 * nyquist), top)
    low, hiss = to_db(power[:, _bins_of(frequency, *LOW_BAND_HZ)].sum(axis=1)), to_db(power[:, high].sum(axis=1))
    floor = percentiles(power[:: max(1, min(3, n_frames // 50))], FLOOR_PERCENTILE)
    return FineLevels(power, frequency, top, first / rate, hop / rate, low, hiss, floor)


def _bins_of(frequency_hz: npt.NDArray[np.float64], low_hz: float, high_hz: float) -> slice:
    first = int(np.searchsorted(frequency_hz, low_hz))
    last = int(np.searchsorted(frequency_hz, high_hz, side="right"))
    first = min(first, frequency_hz.size - 1)
    return slice(first, max(first + 1, last))


def _without_rumble(piece: Float32s, rate: int) -> Float32s:
    keep, margin = round(RUMBLE_BLOCK_S * rate), round(RUMBLE_MARGIN_S * rate)
    if piece.size <= keep + 2 * margin:
        return np.asarray(_high_passed(piece[np.newaxis], rate)[0])
    n_blocks = -(-piece.size // keep)
    padded = np.zeros(n_blocks * keep + 2 * margin, dtype=np.float32)
    padded[margin : margin + piece.size] = piece
    blocks = np.lib.stride_tricks.sliding_window_view(padded, keep + 2 * margin)[::keep]
    whole: Float32s = _high_passed(blocks, rate)[:, margin : margin + keep].reshape(-1)
    return whole[: piece.size]


def _high_passed(pieces: Float32s, rate: int) -> Float32s:
    """Pieces (n, size) without what lies below 60 Hz, and with less of what lies below 110."""
    from scipy import fft

    size = pieces.shape[1]
    n_fft = fft.next_fast_len(size, real=True)
    spectra = fft.rfft(pieces, n_fft, axis=1)
    low, high = FINE_HIGH_PASS_HZ
    bins = np.arange(min(spectra.shape[1], int(high * n_fft / rate) + 2))
    ramp = np.clip((bins * rate / n_fft - low) / (high - low), 0.0, 1.0)
    spectra[:, : bins.size] *= np.sin(0.5 * np.pi * ramp).astype(np.float32)
    return np.asarray(fft.irfft(spectra, n_fft, axis=1, overwrite_x=True)[:, :size])
