"""Whose voice: pitch of each piece against the pitch of most of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ..levels.ranks import median, percentile
from ..terms import Interval, Recording

Array = npt.NDArray[np.float64]

# Chosen on invented probes (docs/words.md), where no other origin is named.
LOWEST_HZ, HIGHEST_HZ = 70.0, 500.0  # fundamental frequencies looked for: men to small children
RATE_HZ = 5500.0  # to which sound is thinned; what is above 2 kHz says nothing of pitch
PLAIN_BAND_HZ, FLAT_BAND_HZ = (200.0, 1100.0), (130.0, 2000.0)
"""Bands of the two autocorrelations: first harmonics, and flattened spectrum."""
FLATTENING = 0.8  # power to which the spectrum is raised, so that formants do not speak for the pitch
AS_GOOD = 0.9  # the shortest lag within this of the best is the period, against octave errors
FRAME_S, HOP_S = 0.040, 0.012  # two periods of the lowest voice and more; the step
PERIODIC = 0.55  # autocorrelation from which on a frame is voiced
STEADY_OCT = 0.15  # neighbouring frames of one voice differ by less
QUIETEST_DB = -22.0  # frames further below the loudest are left out
FEWEST_FRAMES = 5  # voiced frames that a pitch rests on at least
TOP_PERCENTILE = 75.0  # a saying's pitch: its upper quarter, which falling ends do not move
OWN_SPREAD_OCT = (0.09, 0.18)  # between which a speaker's own spread is taken
OTHER_DENSITY = 0.4  # density over octaves of another voice: anywhere within two and a half
EVIDENCE_LIMIT = 6.0  # log odds at most
APART_OCT = 0.18  # two voices nearer than this are not told apart
USUAL_VOICED_FRAMES, WORD_VOICED_FRAMES, VOICELESS_COST = 8, 9, 6.0
"""Voiced frames of an ordinary word, and what a word without any loses (log odds)."""


@dataclass(frozen=True, slots=True, eq=False)
class Pitch:
    """Upper pitch of pieces in octaves re 1 Hz (NaN where too little is voiced), and voiced frames behind it."""

    octave: Array
    n_frames: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class VoiceEvidence:
    """Per piece: log ratios for another's voice (``other``) and for the lower voice of a pair (``lower``).

    ``n_voiced`` counts periodic frames.
    """

    other: Array
    lower: Array
    n_voiced: npt.NDArray[np.int64]


def voice_evidence(recording: Recording, pieces: Sequence[tuple[float, float]], *, modelled: bool) -> VoiceEvidence:
    """Weigh whose voice each piece is."""
    pitch = pitch_of(recording, pieces)
    nothing = np.zeros(len(pieces))
    return VoiceEvidence(
        nothing if modelled else against_most(pitch),
        lower_against_higher(pitch) if modelled else nothing,
        pitch.n_frames,
    )


def too_little_voice(n_voiced: npt.NDArray[np.int64], longest: int) -> Array:
    """Evidence (k, i) against a word where a span has fewer than nine voiced frames (0.1 s); none for whisperers.

    A seeded count: nine of ten noises have fewer than four, nineteen of twenty words more than nine.
    """
    out = np.zeros((longest, n_voiced.size))
    if np.median(n_voiced) < USUAL_VOICED_FRAMES:
        return out
    total = np.concatenate([[0], np.cumsum(n_voiced)])
    for k in range(min(longest, n_voiced.size)):
        said = total[k + 1 :] - total[: total.size - k - 1]
        out[k, : said.size] = -VOICELESS_COST * np.maximum(0.0, 1.0 - said / WORD_VOICED_FRAMES)
    return out


def spread(values: Array, longest: int) -> Array:
    """Evidence of spans (k, i) from that of their pieces: the piece that says most for a change of voice decides."""
    out = np.full((longest, values.size), -1e9)
    for k in range(min(longest, values.size)):
        windows = np.lib.stride_tricks.sliding_window_view(values, k + 1)
        out[k, : windows.shape[0]] = np.where(windows.max(axis=1) > 0, windows.max(axis=1), windows.min(axis=1))
    return out


def pitch_of(recording: Recording, pieces: Sequence[tuple[float, float]]) -> Pitch:
    """Upper quartile of the pitch of each piece, as it falls toward the end of a word.

    Autocorrelation of 40 ms frames at lags of 70 to 500 Hz: a frame is voiced where that of 200 to 1100 Hz (above the
    hum) has a peak above 0.55; the lag is read from 130 to 2000 Hz with the spectrum flattened, so that one strong
    harmonic does not pass for the voice. A voiced frame has another beside it within 0.15 octaves: narrow noise has
    peaks too, but at random lags. Frames more than 22 dB below the piece's loudest are left out; a piece needs five.
    """
    found = [_voiced_octaves(recording, Interval(a, max(a, b))) for a, b in pieces]
    octave = np.array([percentile(f, TOP_PERCENTILE) if f.size >= FEWEST_FRAMES else np.nan for f in found])
    return Pitch(octave, np.array([f.size for f in found], dtype=np.int64))


def against_most(pitch: Pitch) -> Array:
    """Log-likelihood ratio of another's voice against the voice of most pieces: (n,), 0 where pitch is not known.

    The voice of most: Student's t (4 degrees of freedom) about the weighted median, spread from the median deviation,
    0.09 to 0.18 octaves. Another voice: anywhere over two and a half octaves.
    """
    known = np.isfinite(pitch.octave)
    out = np.zeros(pitch.octave.size)
    if known.sum() < 3:
        return out
    centre = _weighted_median(pitch.octave[known], pitch.n_frames[known])
    spread = float(np.clip(1.4826 * median(np.abs(pitch.octave[known] - centre)), *OWN_SPREAD_OCT))
    out[known] = np.log(OTHER_DENSITY) - _log_t(pitch.octave[known] - centre, spread)
    return np.clip(out, -EVIDENCE_LIMIT, EVIDENCE_LIMIT)


def lower_against_higher(pitch: Pitch) -> Array:
    """Log-likelihood ratio of the lower voice against the higher where pairs of two voices are expected: (n,).

    Two groups of pitch by splitting at the widest-between variance. All zero when the groups lie less than 0.18 octaves
    apart: pitch can't tell them.
    """
    out = np.zeros(pitch.octave.size)
    known = np.flatnonzero(np.isfinite(pitch.octave))
    if known.size < 4:
        return out
    values = pitch.octave[known]
    low, high = _split(values)
    if high - low < APART_OCT:
        return out
    out[known] = np.clip(4.0 * (abs(values - high) - abs(values - low)) / (high - low), -4.0, 4.0)
    return out


def _split(values: Array) -> tuple[float, float]:
    order = np.sort(values)
    cut = max(
        range(1, order.size),
        key=lambda k: k * (order.size - k) * (order[k:].mean() - order[:k].mean()) ** 2,
    )
    return median(order[:cut]), median(order[cut:])


def _log_t(far: Array, spread: float) -> Array:
    degrees = 4.0
    constant = np.log(0.375)  # gamma(2.5) / (sqrt(4 pi) gamma(2))
    return np.asarray(constant - np.log(spread) - 0.5 * (degrees + 1) * np.log1p((far / spread) ** 2 / degrees))


def _weighted_median(values: Array, weights: npt.NDArray[np.int64]) -> float:
    order = np.argsort(values)
    total = np.cumsum(np.minimum(weights[order], 40))
    return float(values[order][np.searchsorted(total, total[-1] / 2.0)])


def _voiced_octaves(recording: Recording, interval: Interval) -> Array:
    from scipy import fft

    samples = recording.cut(interval)
    step = max(1, int(recording.sampling_rate_hz / RATE_HZ))
    rate = recording.sampling_rate_hz / step
    width, hop = round(FRAME_S * rate), round(HOP_S * rate)
    thin = thinned(samples, step)
    if thin.size < width or not np.isfinite(thin).all():
        return np.zeros(0)
    frames = np.lib.stride_tricks.sliding_window_view(thin, width)[::hop]
    frames = (frames - frames.mean(axis=1, keepdims=True)) * _window(width)[0]
    power = (frames**2).sum(axis=1)
    kept = np.flatnonzero(power > max(power.max() * 10 ** (0.1 * QUIETEST_DB), 1e-30))
    frames = frames[kept]
    if not len(frames):
        return np.zeros(0)
    size = fft.next_fast_len(2 * width, real=True)
    amplitude = np.abs(fft.rfft(frames, size, axis=1))
    lags = slice(int(rate / HIGHEST_HZ), min(int(np.ceil(rate / LOWEST_HZ)), int(0.7 * width)) + 1)
    plain = _autocorrelation(amplitude, size, 2.0, (PLAIN_BAND_HZ, rate))[:, lags]
    flat = _autocorrelation(amplitude, size, FLATTENING, (FLAT_BAND_HZ, rate))[:, lags]
    if flat.shape[1] < 3:
        return np.zeros(0)
    inner = flat[:, 1:-1]
    peak = np.where((inner >= flat[:, :-2]) & (inner > flat[:, 2:]), inner, 0.0)
    lag = (peak >= AS_GOOD * peak.max(axis=1, keepdims=True)).argmax(axis=1) + lags.start + 1
    inner = plain[:, 1:-1]
    periodic = np.where((inner >= plain[:, :-2]) & (inner > plain[:, 2:]), inner, 0.0).max(axis=1) > PERIODIC
    octave = np.log2(rate / lag)
    follows = (np.abs(np.diff(octave)) < STEADY_OCT) & (np.diff(kept) == 1) & periodic[1:] & periodic[:-1]
    return np.asarray(octave[np.append(follows, False) | np.insert(follows, 0, False)])


def thinned(samples: npt.NDArray[np.float32], step: int) -> npt.NDArray[np.float32]:
    """Return every ``step``-th sample of what passes below 2 kHz, the filter's run-in and run-out with it."""
    taps = _low_pass(step)
    n_out = -(-(samples.size + taps.size - 1) // step) if samples.size else 0
    n_more = -(-(taps.size - 1) // step)
    padded = np.zeros((n_out + n_more) * step, dtype=np.float32)
    padded[taps.size - 1 : taps.size - 1 + samples.size] = samples
    phases = np.ascontiguousarray(padded.reshape(-1, step).T)  # every step-th sample from each place on
    found, part = np.zeros(n_out, dtype=np.float32), np.empty(n_out, dtype=np.float32)
    for place in range(taps.size - 1, -1, -1):  # oldest sample first, in one order on every machine
        row, phase = divmod(taps.size - 1 - place, step)
        found += np.multiply(taps[place], phases[phase, row : row + n_out], out=part)
    return found


@lru_cache(maxsize=16)
def _low_pass(step: int) -> npt.NDArray[np.float32]:
    """Low-pass of 2 kHz at ``step`` times the coarse rate: a sinc under a Hamming window, of sum 1."""
    if step <= 1:
        return np.ones(1, dtype=np.float32)
    share = 2 * 2000.0 / (step * RATE_HZ)
    taps = share * np.sinc(share * np.arange(-5 * step, 5 * step + 1)) * np.hamming(10 * step + 1)
    return np.asarray(taps / taps.sum(), dtype=np.float32)


def _autocorrelation(
    amplitude: npt.NDArray[np.float32], size: int, exponent: float, band: tuple[tuple[float, float], float]
) -> npt.NDArray[np.float32]:
    """Autocorrelation from the amplitude spectrum within a band of Hz, over that of the 40 ms window itself."""
    from scipy import fft

    (low, high), rate = band
    width = round(FRAME_S * rate)
    power = amplitude**exponent
    power[:, : int(low * size / rate)] = 0.0
    power[:, int(high * size / rate) :] = 0.0
    found = fft.irfft(power, size, axis=1)[:, :width]
    found = found / np.maximum(found[:, :1], 1e-20) / _window(width)[1]
    return np.asarray(found, dtype=np.float32)


@lru_cache(maxsize=16)
def _window(width: int) -> tuple[npt.NDArray[np.float32], Array]:
    """Hann window (width,), and its autocorrelation over that at lag 0, at least 0.05."""
    window = np.hanning(width)
    own = np.correlate(window, window, "full")[width - 1 :]
    return window.astype(np.float32), np.maximum(own / own[0], 0.05)
