"""Band levels near stretches of sound, finer in frequency than the coarse pass, for matching words."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ..levels.coarse import framed, to_db
from ..terms import Recording
from .band_templates import EDGES_HZ, N_BANDS
from .stretches import runs

Float32s = npt.NDArray[np.float32]

# Chosen on invented probes (docs/words.md), where no other origin is named.
HOP_S = 0.010  # common in speech recognition, as is the window
WINDOW_S = 0.020  # Hann window of a frame
AROUND_S = 0.20  # frames are worked out so far around the pieces of sound
TOP_SHARE_OF_NYQUIST = 0.95  # a band counts where it lies below this share of half the rate: converters fall off above
NOISE_NEAR_S = 1.5  # the background is looked for so far on either side


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """Levels near stretches of sound: ``level_db`` (n, 15) and the noise under them, ``noise_db`` (n, 15).

    Frames lie every 10 ms within the regions looked at, one region after another; ``clock`` (n,) counts each frame's
    10 ms from the start of the recording. ``n_bands`` is how many bands lie below 0.95 of the Nyquist frequency.
    """

    level_db: Float32s
    noise_db: Float32s
    n_bands: int
    clock: npt.NDArray[np.int64]

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return int(self.level_db.shape[0])

    def frame(self, time_s: float) -> int:
        """Nearest frame at or after a time, clamped."""
        return int(np.searchsorted(self.clock, round(time_s / HOP_S)))

    def part(self, rows: npt.NDArray[np.int64] | slice) -> Features:
        """Some of the frames."""
        return Features(self.level_db[rows], self.noise_db[rows], self.n_bands, self.clock[rows])


def features_near(recording: Recording, spans_s: list[tuple[float, float]]) -> Features:
    """Band levels within 0.2 s of each span, and the noise under each frame from the pauses near it."""
    n_frames = int(recording.duration_s / HOP_S) + 1
    inside, near = np.zeros(n_frames, dtype=bool), np.zeros(n_frames, dtype=bool)
    for onset, offset in spans_s:
        inside[max(0, int(onset / HOP_S)) : int(offset / HOP_S) + 1] = True
        near[max(0, int((onset - AROUND_S) / HOP_S)) : int((offset + AROUND_S) / HOP_S) + 1] = True
    clock = np.flatnonzero(near)
    level = np.empty((clock.size, N_BANDS), dtype=np.float32)
    at = 0
    for first, last in runs(near):
        for begin in range(first, last, 256):
            end = min(last, begin + 256)
            level[at : at + end - begin] = _levels(recording, begin, end)
            at += end - begin
    n_bands = max(3, sum(edge <= TOP_SHARE_OF_NYQUIST * recording.sampling_rate_hz / 2 for edge in EDGES_HZ[1:]))
    return Features(level, _noise(level, clock, ~inside[clock]), n_bands, clock)


def _levels(recording: Recording, first: int, last: int) -> Float32s:
    from scipy import fft

    rate = recording.sampling_rate_hz
    width = max(8, round(WINDOW_S * rate))
    starts = np.round(np.arange(first, last) * HOP_S * rate).astype(np.int64) - width // 2
    hop = round(HOP_S * rate)
    if hop * 100 == rate:
        frames = framed(recording.samples, int(starts[0]), (last - first, width, hop))
    else:
        frames = np.stack([framed(recording.samples, int(s), (1, width, 1))[0] for s in starts])
    n_fft = fft.next_fast_len(width, real=True)
    window = np.hanning(width + 2)[1:-1]
    window = (window * np.sqrt(2.0 / (n_fft * np.sum(window**2)))).astype(np.float32)
    power = np.abs(fft.rfft(frames * window, n_fft, axis=1)) ** 2
    top = TOP_SHARE_OF_NYQUIST * rate / 2
    bins = [int(np.ceil(min(edge, top) * n_fft / rate)) for edge in EDGES_HZ]
    return to_db(np.stack([power[:, a:b].sum(axis=1) for a, b in pairwise(bins)], axis=1))


def _noise(level: Float32s, clock: npt.NDArray[np.int64], is_pause: npt.NDArray[np.bool_]) -> Float32s:
    """Median of the pause frames around each region; where there are none, the 5th percentile of what was looked at."""
    noise = np.empty_like(level)
    pause = np.flatnonzero(is_pause)
    fallback = np.percentile(level, 5.0, axis=0) if level.size else np.full(level.shape[1], -140.0)
    reach = round(NOISE_NEAR_S / HOP_S)
    cuts = [0, *(np.flatnonzero(np.diff(clock) > 1) + 1).tolist(), clock.size]
    for first, last in pairwise(cuts):
        if first == last:
            continue
        a, b = np.searchsorted(clock[pause], [clock[first] - reach, clock[last - 1] + 1 + reach])
        chosen = pause[a:b]
        noise[first:last] = np.median(level[chosen], axis=0) if chosen.size >= 8 else fallback
    return noise
