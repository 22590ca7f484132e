"""Banded levels of a recording: one coarse pass that words and sibilants share, and a fine one near candidates."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ..terms import Interval, Recording

Floats = npt.NDArray[np.float32]

COARSE_HOP_S = 0.005
COARSE_WINDOW_S = 0.012
BLOCK_S = 30.0
SILENCE_DB = -140.0
TOP_SHARE_OF_NYQUIST = 0.95
BAND_EDGES_HZ = (100.0, 350.0, 1000.0, 2000.0, 3000.0, 4000.0, 5500.0, 8000.0, 11000.0)
N_LOW, N_MID = 2, 2


@dataclass(frozen=True, slots=True)
class CoarseLevels:
    """Levels of a stretch every 5 ms or so, in dB re a full-scale mean square of 1.

    ``band_power`` (n, 8): mean square in the bands between ``BAND_EDGES_HZ`` (zero above 0.95 of the Nyquist
    frequency); ``start_s`` is the time of frame 0, ``hop_s`` the step (a whole number of samples).
    """

    band_power: Floats
    start_s: float
    hop_s: float

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return int(self.band_power.shape[0])

    @property
    def time_s(self) -> npt.NDArray[np.float64]:
        """Centre of each frame, counted from the start of the recording: (n,)."""
        return np.asarray(self.start_s + self.hop_s * np.arange(self.n_frames), dtype=np.float64)

    @property
    def low_db(self) -> Floats:
        """Level at 100 to 1000 Hz, where voices are: (n,)."""
        return to_db(self.band_power[:, :N_LOW].sum(axis=1))

    @property
    def mid_db(self) -> Floats:
        """Level at 1 to 3 kHz: (n,)."""
        return to_db(self.band_power[:, N_LOW : N_LOW + N_MID].sum(axis=1))

    @property
    def high_db(self) -> Floats:
        """Level from 3 kHz (2 kHz below a rate of 12 kHz) to 11 kHz or 0.95 of the Nyquist frequency: (n,)."""
        first = N_LOW + N_MID
        if not self.band_power[:, first + 1 :].any():
            first -= 1
        return to_db(self.band_power[:, first:].sum(axis=1))

    def frames_of(self, interval: Interval) -> slice:
        """Frames whose centres lie in a stretch, clamped."""
        first = max(0, int(np.ceil((interval.onset_s - self.start_s) / self.hop_s)))
        last = min(self.n_frames, int(np.floor((interval.offset_s - self.start_s) / self.hop_s)) + 1)
        return slice(min(first, self.n_frames), max(min(first, self.n_frames), last))


def to_db(power: npt.ArrayLike) -> Floats:
    """Return ten times the decimal logarithm of power as float32, no lower than -140 dB (never infinite or NaN).

    Examples
    --------
    >>> to_db([1.0, 0.0]).tolist()
    [0.0, -140.0]
    """
    level = 10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), 1e-30))
    return np.maximum(level, SILENCE_DB).astype(np.float32)


def coarse_levels(recording: Recording, interval: Interval | None = None) -> CoarseLevels:
    """Banded levels of a whole recording, or of a stretch, in blocks of 30 s (bounded memory at any length).

    L_b(t) = 10 lg sum over the band of |X(t, f)|^2, a 12 ms Hann window every 5 ms, scaled to the mean square.

    Parameters
    ----------
    recording : Recording
        At any rate; samples are sliced, never converted whole.
    interval : Interval, optional
        Only this stretch (clamped); the whole recording by default.

    Returns
    -------
    CoarseLevels
        (n, 8) band powers; frame 0 is centred on the first sample.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> tone = np.sin(2 * np.pi * 500 * np.arange(16000) / 16000).astype(np.float32)
    >>> levels = coarse_levels(Recording(tone, 16000, Source("tone", "")))
    >>> round(float(levels.low_db[100]), 1), round(levels.hop_s, 4)
    (-3.0, 0.005)
    """
    rate = recording.sampling_rate_hz
    first, last = _sample_range(recording, interval)
    hop = max(1, round(COARSE_HOP_S * rate))
    width = max(8, round(COARSE_WINDOW_S * rate))
    n_frames = (last - first) // hop + 1
    out = np.zeros((n_frames, len(BAND_EDGES_HZ) - 1), dtype=np.float32)
    per_block = max(1, round(BLOCK_S * rate / hop))
    for begin in range(0, n_frames, per_block):
        end = min(n_frames, begin + per_block)
        frames = framed(recording.samples, first + begin * hop - width // 2, (end - begin, width, hop))
        for sub in range(0, end - begin, 256):
            chunk = frames[sub : sub + 256]
            out[begin + sub : begin + sub + len(chunk)] = _band_power(chunk, rate)
    out.setflags(write=False)
    return CoarseLevels(out, first / rate, hop / rate)


def framed(samples: Floats, begin: int, shape: tuple[int, int, int]) -> Floats:
    """Return frames (n, width) every ``hop`` samples from sample ``begin``, zeros beyond the ends.

    ``shape`` is (n, width, hop). Samples that are not finite count as zero.
    """
    n_frames, width, hop = shape
    length = (n_frames - 1) * hop + width
    piece = np.zeros(length, dtype=np.float32)
    low, high = max(0, begin), min(samples.size, begin + length)
    if high > low:
        piece[low - begin : high - begin] = samples[low:high]
        if not np.isfinite(piece.sum()):
            np.nan_to_num(piece, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
    return np.lib.stride_tricks.sliding_window_view(piece, width)[::hop]


def _sample_range(recording: Recording, interval: Interval | None) -> tuple[int, int]:
    if interval is None:
        return 0, recording.samples.size
    rate, size = recording.sampling_rate_hz, recording.samples.size
    first = min(max(0, round(interval.onset_s * rate)), size)
    return first, min(max(first, round(interval.offset_s * rate)), size)


def _band_power(frames: Floats, rate: int) -> Floats:
    from scipy import fft

    width = frames.shape[1]
    window, n_fft, edges = _coarse_plan(width, rate)
    power = np.abs(fft.rfft(frames * window, n_fft, axis=1)) ** 2
    bands = [power[:, low:high].sum(axis=1) for low, high in edges]
    return np.stack(bands, axis=1).astype(np.float32)


@lru_cache(maxsize=8)
def _coarse_plan(width: int, rate: int) -> tuple[Floats, int, tuple[tuple[int, int], ...]]:
    from scipy import fft

    window = np.hanning(width + 2)[1:-1]
    n_fft = fft.next_fast_len(width, real=True)
    scale = np.sqrt(2.0 / (n_fft * np.sum(window**2)))
    top = TOP_SHARE_OF_NYQUIST * rate / 2
    bins = [int(np.ceil(min(edge, top) * n_fft / rate)) for edge in BAND_EDGES_HZ]
    return (window * scale).astype(np.float32), n_fft, tuple(pairwise(bins))


FINE_HOP_S = 0.001
FINE_WINDOW_S = 0.004
FINE_HIGH_PASS_HZ = (60.0, 110.0)


@dataclass(frozen=True, slots=True)
class FineLevels:
    """Short-time power of a stretch every millisecond through 4 ms Hann windows.

    ``power`` (n, m): mean square per bin; ``frequency_hz`` (m,). Rumble and hum below 60 to 110 Hz are taken out first.
    """

    power: Floats
    frequency_hz: npt.NDArray[np.float64]
    start_s: float
    hop_s: float

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return int(self.power.shape[0])

    def bins_of(self, low_hz: float, high_hz: float) -> slice:
        """Bins whose centres lie in a band; at least one."""
        first = int(np.searchsorted(self.frequency_hz, low_hz))
        last = int(np.searchsorted(self.frequency_hz, high_hz, side="right"))
        first = min(first, self.frequency_hz.size - 1)
        return slice(first, max(first + 1, last))

    def level_db(self, low_hz: float, high_hz: float) -> Floats:
        """Level in a band: (n,)."""
        return to_db(self.power[:, self.bins_of(low_hz, high_hz)].sum(axis=1))

    def frame_at(self, time_s: float) -> int:
        """Return the frame nearest to a time, clamped."""
        return int(np.clip(round((time_s - self.start_s) / self.hop_s), 0, self.n_frames - 1))

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
    first, last = _sample_range(recording, interval)
    hop = max(1, round(FINE_HOP_S * rate))
    width = max(8, round(FINE_WINDOW_S * rate))
    n_frames = max(1, (last - first) // hop + 1)
    lead = width // 2
    piece = framed(recording.samples, first - lead, (1, (n_frames - 1) * hop + width, 1))[0]
    frames = np.lib.stride_tricks.sliding_window_view(_without_rumble(piece, rate), width)[::hop]
    from scipy import fft

    window, n_fft, _ = _coarse_plan(width, rate)
    power = np.empty((n_frames, n_fft // 2 + 1), dtype=np.float32)
    for begin in range(0, n_frames, 512):
        part = np.abs(fft.rfft(frames[begin : begin + 512] * window, n_fft, axis=1))
        power[begin : begin + 512] = part * part
    return FineLevels(power, np.arange(n_fft // 2 + 1) * rate / n_fft, first / rate, hop / rate)


def _without_rumble(piece: Floats, rate: int) -> Floats:
    from scipy import fft

    n_fft = fft.next_fast_len(piece.size, real=True)
    spectrum = fft.rfft(piece, n_fft)
    low, high = FINE_HIGH_PASS_HZ
    ramp = np.clip((np.arange(spectrum.size) * rate / n_fft - low) / (high - low), 0.0, 1.0)
    return np.asarray(fft.irfft(spectrum * np.sin(0.5 * np.pi * ramp).astype(np.float32), n_fft)[: piece.size])
