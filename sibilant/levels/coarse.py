"""Banded levels of a recording: the one coarse pass that words and sibilants share."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ..terms import Interval, Recording

Float32s = npt.NDArray[np.float32]

COARSE_HOP_S = 0.005  # levels for finding a sound; its edges are found in the fine ones
COARSE_WINDOW_S = 0.012  # longer than a period of most voices
BLOCK_S = 30.0  # for memory; no result depends on it
SILENCE_DB = -140.0  # levels of digital silence stop here
TOP_SHARE_OF_NYQUIST = 0.95  # bands above this share of half the rate are left empty: converters fall off
BAND_EDGES_HZ = (100.0, 350.0, 1000.0, 2000.0, 3000.0, 4000.0, 5500.0, 8000.0, 11000.0)
"""Edges of the bands: voice, first and second formants, then hiss in steps."""
N_LOW, N_MID = 2, 2  # bands that are voice, and those between voice and hiss


@dataclass(frozen=True, slots=True)
class CoarseLevels:
    """Levels of a stretch every 5 ms or so, in dB re a full-scale mean square of 1.

    ``band_power`` (n, 8): mean square in the bands between ``BAND_EDGES_HZ`` (zero above 0.95 of the Nyquist
    frequency); ``start_s`` is the time of frame 0, ``hop_s`` the step (a whole number of samples).
    """

    band_power: Float32s
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
    def low_db(self) -> Float32s:
        """Level at 100 to 1000 Hz, where voices are: (n,)."""
        return to_db(self.band_power[:, :N_LOW].sum(axis=1))

    @property
    def high_db(self) -> Float32s:
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


def to_db(power: npt.ArrayLike) -> Float32s:
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

    ``L_b(t) = 10 lg sum over the band of |X(t, f)|^2``, a 12 ms Hann window every 5 ms, scaled to the mean square.

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
    first, last = sample_range(recording, interval)
    hop = max(1, round(COARSE_HOP_S * rate))
    width = max(8, round(COARSE_WINDOW_S * rate))
    n_frames = (last - first) // hop + 1
    out = np.zeros((n_frames, len(BAND_EDGES_HZ) - 1), dtype=np.float32)
    per_block = max(1, round(BLOCK_S * rate / hop))
    window, edges = frame_plan(width, rate)
    for begin in range(0, n_frames, per_block):
        end = min(n_frames, begin + per_block)
        frames = framed(recording.samples, first + begin * hop - width // 2, (end - begin, window.size, hop))
        for sub in range(0, end - begin, 256):
            chunk = frames[sub : sub + 256]
            out[begin + sub : begin + sub + len(chunk)] = _band_power(chunk * window, edges)
        recording.let_go()
    out.setflags(write=False)
    return CoarseLevels(out, first / rate, hop / rate)


def framed(samples: Float32s, begin: int, shape: tuple[int, int, int]) -> Float32s:
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


def sample_range(recording: Recording, interval: Interval | None) -> tuple[int, int]:
    """First sample of a stretch and the one after its last, clamped to the recording."""
    if interval is None:
        return 0, recording.samples.size
    rate, size = recording.sampling_rate_hz, recording.samples.size
    first = min(max(0, round(interval.onset_s * rate)), size)
    return first, min(max(first, round(interval.offset_s * rate)), size)


def _band_power(windowed: Float32s, edges: tuple[tuple[int, int], ...]) -> Float32s:
    from scipy import fft

    transform = fft.rfft(windowed, axis=1)
    power = transform.real**2 + transform.imag**2
    bands = [power[:, low:high].sum(axis=1) for low, high in edges]
    return np.stack(bands, axis=1).astype(np.float32)


@lru_cache(maxsize=8)
def frame_plan(width: int, rate: int) -> tuple[Float32s, tuple[tuple[int, int], ...]]:
    """Scaled Hann window, with zeros up to the length of its transform, and the bins of each coarse band."""
    from scipy import fft

    window = np.hanning(width + 2)[1:-1]
    n_fft = fft.next_fast_len(width, real=True)
    scale = np.sqrt(2.0 / (n_fft * np.sum(window**2)))
    top = TOP_SHARE_OF_NYQUIST * rate / 2
    bins = [int(np.ceil(min(edge, top) * n_fft / rate)) for edge in BAND_EDGES_HZ]
    return np.pad(window * scale, (0, n_fft - width)).astype(np.float32), tuple(pairwise(bins))
