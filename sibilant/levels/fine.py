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
LOW_BAND_HZ = (150.0, 950.0)  # where a voice begins (docs/boundaries.md)
HISS_FROM_HZ = 3000.0  # hiss lies above
HIGHEST_HZ = 15000.0  # no criterion looks higher
FLOOR_PERCENTILE = 10.0  # the quietest tenth is the floor


@dataclass(frozen=True, slots=True)
class FineLevels:
    """Short-time power of a stretch every millisecond through 4 ms Hann windows.

    ``power`` (n, m): mean square per bin; ``frequency_hz`` (m,). Rumble and hum below 60 to 110 Hz are taken out first.
    ``low_db`` (n,): level at 150 to 950 Hz; ``hiss_db`` (n,): level from 3 kHz on (0.6 of the top in narrower
    recordings); ``floor`` (m,): the quietest tenth of each bin.
    """

    power: Float32s
    frequency_hz: npt.NDArray[np.float64]
    start_s: float
    hop_s: float
    low_db: Float32s
    hiss_db: Float32s
    floor: Float32s

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return int(self.power.shape[0])

    @property
    def top_hz(self) -> float:
        """Highest frequency that is used: 0.95 of the Nyquist frequency, 15 kHz at most."""
        return min(0.95 * float(self.frequency_hz[-1]), HIGHEST_HZ)

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
        return FineLevels(self.power[part], self.frequency_hz, start_s, self.hop_s, low, hiss, self.floor)

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
    frames = np.lib.stride_tricks.sliding_window_view(_without_rumble(piece, rate), width)[::hop]
    from scipy import fft

    window, n_fft, _ = frame_plan(width, rate)
    power: Float32s = np.empty((n_frames, n_fft // 2 + 1), dtype=np.float32)
    for begin in range(0, n_frames, 512):
        part = np.abs(fft.rfft(frames[begin : begin + 512] * window, n_fft, axis=1))
        power[begin : begin + 512] = part * part
    frequency: npt.NDArray[np.float64] = np.arange(n_fft // 2 + 1, dtype=np.float64) * (rate / n_fft)
    top = float(frequency[-1])
    high = _bins_of(frequency, min(HISS_FROM_HZ, 0.6 * top), min(0.95 * top, HIGHEST_HZ))
    low, hiss = to_db(power[:, _bins_of(frequency, *LOW_BAND_HZ)].sum(axis=1)), to_db(power[:, high].sum(axis=1))
    floor = percentiles(power[:: max(1, min(3, n_frames // 50))], FLOOR_PERCENTILE)
    return FineLevels(power, frequency, first / rate, hop / rate, low, hiss, floor)


def _bins_of(frequency_hz: npt.NDArray[np.float64], low_hz: float, high_hz: float) -> slice:
    first = int(np.searchsorted(frequency_hz, low_hz))
    last = int(np.searchsorted(frequency_hz, high_hz, side="right"))
    first = min(first, frequency_hz.size - 1)
    return slice(first, max(first + 1, last))


def _without_rumble(piece: Float32s, rate: int) -> Float32s:
    from scipy import fft

    n_fft = fft.next_fast_len(piece.size, real=True)
    spectrum = fft.rfft(piece, n_fft)
    low, high = FINE_HIGH_PASS_HZ
    bins = np.arange(min(spectrum.size, int(high * n_fft / rate) + 2))
    ramp = np.clip((bins * rate / n_fft - low) / (high - low), 0.0, 1.0)
    spectrum[: bins.size] *= np.sin(0.5 * np.pi * ramp).astype(np.float32)
    return np.asarray(fft.irfft(spectrum, n_fft, overwrite_x=True)[: piece.size])
