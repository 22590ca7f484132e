"""Signs that the file's sampling rate is not the one it was recorded at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..levels.ranks import median
from .evidence import Evidence
from .rules import ALL, OWN, Reading, Rule

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
LOWEST_VOICE_HZ, HIGHEST_VOICE_HZ = 60.0, 600.0  # the sign's own words: voices of people lie between
SEARCH_HZ = (30.0, 1_500.0)  # looked for well outside, so that a wrong rate shows
WINDOW_S, MOST_WINDOWS, FEWEST_WINDOWS = 0.060, 40, 8  # three periods of the lowest voice; windows at most and at least
PERIODICITY, LEAST_VOICED_S = 0.6, 0.6  # a window this periodic is voiced; seconds of loud sound needed


def read_high_hiss(evidence: Evidence) -> Iterator[Reading]:
    """Typical centre of gravity of the upper half of the sibilants, over everything above 1 kHz."""
    inside = evidence.grid_hz > 1_000
    if not len(evidence.spectra) or not inside.any():
        return
    power, grid = evidence.spectra[:, inside], evidence.grid_hz[inside]
    centres = np.sort((power * grid).sum(axis=1) / power.sum(axis=1))
    yield Reading(median(centres[centres.size // 2 :]) / 1_000)


def read_pitch(evidence: Evidence) -> Iterator[Reading]:
    """Median fundamental frequency of the most voiced moments, as distance in octaves from 60 to 600 Hz."""
    pitch = typical_pitch(evidence)
    if pitch is not None:
        outside = max(np.log2(LOWEST_VOICE_HZ / pitch), np.log2(pitch / HIGHEST_VOICE_HZ), 0.0)
        yield Reading(float(outside), words=(("pitch", f"{pitch:.0f}"),))


def typical_pitch(evidence: Evidence) -> float | None:
    """Median fundamental frequency in Hz of the loudest low-band frames that are periodic; None when too few are."""
    low = evidence.frames.power[:, 1]
    rate, hop = evidence.recording.sampling_rate_hz, evidence.frames.hop_s
    loud = np.nonzero((low > 0.03 * low.max()) & ~evidence.quiet)[0]
    if loud.size < LEAST_VOICED_S / hop:
        return None
    chosen = loud[np.linspace(0, loud.size - 1, min(MOST_WINDOWS, loud.size)).astype(int)]
    size = round(WINDOW_S * rate)
    firsts = [max(0, round((place + 1) * hop * rate) - size // 2) for place in chosen]
    whole = [evidence.recording.samples[first : first + size] for first in firsts]
    found = _pitches([piece for piece in whole if piece.size == size], rate)
    return float(np.median(found)) if len(found) >= FEWEST_WINDOWS else None


def _pitches(pieces: Sequence[npt.NDArray[np.float32]], rate: int) -> list[float]:
    """Fundamental frequencies of pieces of one length, those left out that are not periodic.

    By the autocorrelation of the part below 1.5 kHz, divided by that of the window.
    """
    from scipy import fft

    if not pieces:
        return []
    stack = np.stack(pieces)
    n_samples = stack.shape[1]
    window, shape = _window(n_samples)
    size = 2 * n_samples
    stack -= stack.mean(axis=1, keepdims=True)
    spectrum = fft.rfft(stack * window, size, axis=1)[:, : round(SEARCH_HZ[1] * size / rate)]
    waves = fft.irfft(spectrum.real**2 + spectrum.imag**2, size, axis=1)[:, : n_samples // 2]
    waves = waves[waves[:, 0] > 0]
    return _first_peaks(waves / waves[:, :1] * shape[0] / shape, rate)


def _first_peaks(likeness: Floats, rate: int) -> list[float]:
    """Frequencies of the first peaks of autocorrelations (n, m) that are nearly as high as the highest of each.

    Those without a peak that is high enough are left out.
    """
    first, last = round(rate / SEARCH_HZ[1]) + 1, min(round(rate / SEARCH_HZ[0]), likeness.shape[1] - 2)
    if last - first < 3:
        return []
    before, inner, after = (likeness[:, first + step : last - 2 + step] for step in (0, 1, 2))
    peaks = np.where((inner > before) & (inner >= after) & (inner > PERIODICITY), inner, 0.0)
    best = peaks.max(axis=1)
    places = np.argmax(peaks > 0.9 * best[:, None], axis=1)
    return [rate / float(first + 1 + place) for place, height in zip(places, best, strict=True) if height > 0]


@lru_cache(maxsize=8)
def _window(size: int) -> tuple[npt.NDArray[np.float32], Floats]:
    """Hann window (size,) and the first half of its autocorrelation."""
    from scipy import fft

    window = np.hanning(size)
    return window.astype(np.float32), fft.irfft(np.abs(fft.rfft(window, 2 * size)) ** 2)[: size // 2]


HIGH_HISS = Rule(
    "wrong_rate_hiss",
    "hisses too high for any mouth",
    "centre of gravity above 1 kHz, typical of the upper half of the sibilants",
    "kHz",
    12.0,
    14.0,
    ALL,
    ALL,
    "The hisses lie higher than a mouth makes them: the file's sampling rate is probably not the one it was recorded"
    " at; export it again from the recorder.",
    OWN,
    read_high_hiss,
    weight=9,
)
PITCH = Rule(
    "wrong_rate_voice",
    "voice outside 60 to 600 Hz",
    "distance of the median fundamental frequency from 60 to 600 Hz, in octaves",
    "octaves",
    0.0,
    None,
    ALL,
    (),
    "The voice lies at {pitch} Hz, where no voice does: the file's sampling rate is probably not the one it was"
    " recorded at; export it again from the recorder.",
    OWN,
    read_pitch,
    weight=8,
)
RULES = (HIGH_HISS, PITCH)
