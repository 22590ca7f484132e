"""Everything about a method that does not depend on the sound: frequencies, tapers, weights; made once and kept."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..terms import Method, MicrophoneResponse
from .auditory import excitation_weights
from .moments import quadrature
from .tapers import Rows, TaperKey, blur_squared, effective_samples, shared_energy, tapers_of

if TYPE_CHECKING:
    import numpy.typing as npt

LOW_BAND_HZ = (550.0, 3000.0)  # low, mid and high bands of the level ratios (docs/measures.md names their source)
MID_BAND_HZ = (3000.0, 7000.0)  # the second
HIGH_FROM_HZ = 7000.0  # the third, to the method's top
HIGH_NEEDS_HZ = 2000.0
"""Least width of the high band for a level difference to be given."""


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """A method ready to be applied to windows of ``n_samples`` at a sampling rate.

    ``frequency_hz`` (m,) are the bins kept, from just below the lowest band needed to just above the method's top;
    ``gain`` (m,) multiplies the power density (pre-emphasis and microphone response); ``band`` are the first and last
    bin inside the method's band. ``moment_weights`` (5, m) and ``level_weights`` (3, m) are quadratures;
    ``excitation`` (c, m) are auditory filters at ``erb_number`` (c,). Of the tapers that ``taper_key`` asks for:
    ``correlation_hz``, the width of a stretch of spectrum that fluctuates as one, K / T_eff of a single frame;
    ``blur_hz2``, what they add to the squared width of a hump; ``overlaps_hz``, what two frames hear in common, per
    second, by how many hops lie between them, from 0 on.
    """

    method: Method
    rate_hz: int
    n_samples: int
    n_fft: int
    bins: tuple[int, int]
    frequency_hz: Rows
    step_hz: float
    gain: Rows
    tapers: npt.NDArray[np.float32]
    band: tuple[int, int]
    mid_band: tuple[int, int] | None
    low_band: tuple[int, int] | None
    moment_weights: Rows
    level_weights: Rows | None
    erb_number: Rows
    excitation: Rows
    taper_key: TaperKey
    correlation_hz: float
    blur_hz2: float
    overlaps_hz: tuple[float, ...]

    def effective_s(self, starts: tuple[int, ...]) -> float:
        """Effective time that frames starting at these samples listen to, in seconds."""
        return effective_samples(self.taper_key, tuple(s - starts[0] for s in starts)) / self.rate_hz


@lru_cache(maxsize=128)
def prepare(method: Method, rate_hz: int, n_samples: int, response: MicrophoneResponse | None = None) -> Setup:
    """Make the setup of a method for windows of ``n_samples`` at a rate the method supports."""
    n_fft = fast_length(n_samples)
    step_hz = rate_hz / n_fft
    low, high = method.band_hz
    has_low = (method.high_pass_hz or 0.0) <= LOW_BAND_HZ[0]
    lowest = min(low, LOW_BAND_HZ[0]) if has_low else low
    first = max(0, math.floor(lowest / step_hz))
    last = min(n_fft // 2, math.ceil(high / step_hz))
    frequency_hz: Rows = np.arange(first, last + 1, dtype=np.float64) * step_hz
    levels = _level_weights(frequency_hz, high) if has_low else None
    erb_number, excitation = excitation_weights(frequency_hz, method.band_hz)
    mid = (max(low, method.mid_band_hz[0]), min(high, method.mid_band_hz[1]))
    key = (method.taper, n_samples, method.n_tapers, method.time_bandwidth)
    hop = round(0.001 * method.hop_ms * rate_hz) if method.hop_ms else n_samples
    tapers = tapers_of(method, n_samples)
    return Setup(
        method=method,
        rate_hz=rate_hz,
        n_samples=n_samples,
        n_fft=n_fft,
        bins=(first, last + 1),
        frequency_hz=frequency_hz,
        step_hz=step_hz,
        gain=gain_at(method, frequency_hz, rate_hz, response),
        tapers=tapers,
        band=inside(frequency_hz, (low, high)),
        mid_band=inside(frequency_hz, mid) if mid[1] - mid[0] >= 1000.0 else None,
        low_band=inside(frequency_hz, LOW_BAND_HZ) if has_low else None,
        moment_weights=quadrature(frequency_hz, method.band_hz),
        level_weights=levels,
        erb_number=erb_number,
        excitation=excitation,
        taper_key=key,
        correlation_hz=int(tapers.shape[0]) / (effective_samples(key, (0,)) / rate_hz),
        blur_hz2=blur_squared(key) * rate_hz**2,
        overlaps_hz=tuple(rate_hz * common for common in shared_energy(key, hop)),
    )


def fast_length(n_samples: int) -> int:
    """Shortest transform length of at least ``n_samples`` whose factors are small (2, 3, 5, 7, 11)."""
    from scipy.fft import next_fast_len

    return int(next_fast_len(n_samples))


def inside(frequency_hz: Rows, band_hz: tuple[float, ...]) -> tuple[int, int]:
    """First and last index of the frequencies inside a band."""
    found = np.flatnonzero((frequency_hz >= band_hz[0] - 1e-6) & (frequency_hz <= band_hz[1] + 1e-6))
    return (int(found[0]), int(found[-1]))


def _level_weights(frequency_hz: Rows, top_hz: float) -> Rows | None:
    if top_hz < MID_BAND_HZ[1]:
        return None
    bands = [LOW_BAND_HZ, MID_BAND_HZ]
    if top_hz >= HIGH_FROM_HZ + HIGH_NEEDS_HZ:
        bands.append((HIGH_FROM_HZ, top_hz))
    return np.concatenate([quadrature(frequency_hz, band, 1) for band in bands])


def gain_at(method: Method, frequency_hz: Rows, rate_hz: int, response: MicrophoneResponse | None) -> Rows:
    """Factor on the power density at each frequency: pre-emphasis at the method's rate, microphone divided out."""
    gain = np.ones_like(frequency_hz)
    if method.pre_emphasis is not None:
        phase = 2 * np.pi * frequency_hz / (method.rate_hz or rate_hz)
        gain *= 1 - 2 * method.pre_emphasis * np.cos(phase) + method.pre_emphasis**2
    if response is not None:
        known = np.log(np.array(response.frequency_hz))
        gain_db = np.interp(np.log(np.maximum(frequency_hz, 1.0)), known, np.array(response.gain_db))
        gain *= 10 ** (-gain_db / 10)
    return gain


def whole(setup: Setup, response: MicrophoneResponse | None = None) -> Setup:
    """The setup with all frequencies up to half the rate kept, for spectra to look at and for noise."""
    frequency_hz: Rows = np.arange(setup.n_fft // 2 + 1, dtype=np.float64) * setup.step_hz
    gain = gain_at(setup.method, frequency_hz, setup.rate_hz, response)
    return dataclasses.replace(setup, bins=(0, frequency_hz.size), frequency_hz=frequency_hz, gain=gain)
