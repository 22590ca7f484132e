"""Known-answer sounds: flat bands, humps, whistles and sustained /s/ whose measures are known on paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from .hiss import Envelope, gliding_band, shaped_noise
from .shapes import Hump, ShapeMoments, SibilantShape, moments_of

Floats = npt.NDArray[np.float64]
SpectrumName = Literal["flat_band", "hump", "two_humps"]


@dataclass(frozen=True, slots=True)
class KnownSpectrum:
    """A power spectrum given by a formula, with its exact moments over any band."""

    name: str
    power: Callable[[Floats], Floats]
    flat_hz: tuple[float, float] | None = None

    def moments(self, band_hz: tuple[float, float]) -> ShapeMoments:
        """Moments over a band: in closed form for a flat band, else by trapezoids every 1 Hz.

        Raises
        ------
        ValueError
            When the spectrum has no power in the band.
        """
        if self.flat_hz is None:
            return moments_of(self.power, band_hz)
        low, high = max(band_hz[0], self.flat_hz[0]), min(band_hz[1], self.flat_hz[1])
        if not low < high:
            raise ValueError(f"the flat band {self.flat_hz} Hz has no power in {band_hz} Hz")
        return ShapeMoments(0.5 * (low + high), (high - low) / 12**0.5, 0.0, -1.2, low)

    def noise(self, n: int, rate_hz: int, seed: int | np.random.Generator) -> Floats:
        """Gaussian noise (n,) with this spectrum, expected RMS 1."""
        return shaped_noise(self.power, n, rate_hz, seed)


def known_spectrum(name: SpectrumName, low_hz: float = 4000.0, high_hz: float = 8000.0) -> KnownSpectrum:
    """One of three textbook spectra.

    ``flat_band``: 1 from low to high, else 0; mean (low + high) / 2, SD (high - low) / sqrt(12), skewness 0, excess
    kurtosis -1.2 over any band that holds it. ``hump``: Gaussian at the middle with SD (high - low) / 8; skewness and
    excess kurtosis 0. ``two_humps``: equal Gaussians at low and high with SD (high - low) / 12; mean in the middle.

    Raises
    ------
    ValueError
        When the name is not known or the frequencies are not in order.

    Examples
    --------
    >>> round(known_spectrum("flat_band").moments((1000.0, 15000.0)).sd_hz)
    1155
    """
    if not 0 < low_hz < high_hz:
        raise ValueError(f"a known spectrum needs 0 < low < high; got {low_hz} to {high_hz} Hz")
    if name == "flat_band":
        return KnownSpectrum(name, lambda f: ((f >= low_hz) & (f <= high_hz)).astype(np.float64), (low_hz, high_hz))
    middle, width = 0.5 * (low_hz + high_hz), high_hz - low_hz
    if name == "hump":
        return KnownSpectrum(name, SibilantShape((Hump(middle, width / 8),), -400.0).power)
    if name == "two_humps":
        return KnownSpectrum(name, SibilantShape((Hump(low_hz, width / 12), Hump(high_hz, width / 12)), -400.0).power)
    raise ValueError(f"known spectrum {name!r} is not known; known are flat_band, hump, two_humps")


@dataclass(frozen=True, slots=True)
class Sustained:
    """A sustained sound and its truth: edges, drift of the centroid, and gaps (onset, offset) in seconds."""

    samples: npt.NDArray[np.float32]
    sampling_rate_hz: int
    onset_s: float
    offset_s: float
    drift_hz_per_s: float
    gaps_s: tuple[tuple[float, float], ...]


def sustained(
    shape: SibilantShape,
    duration_s: float,
    seed: int,
    *,
    drift_hz_per_s: float = 0.0,
    gaps_s: tuple[tuple[float, float], ...] = (),
    sampling_rate_hz: int = 44100,
) -> Sustained:
    """Hold a frication for ``duration_s`` between two half-second silences, its spectrum drifting at a steady rate.

    The spectrum is moved by ``drift_hz_per_s`` every 10 ms step, frames joined by sin/cos cross-fades of independent
    noise, so the expected power spectrum at time t is that of ``shape`` moved by drift times (t - middle). Ramps at
    both ends and at gaps last 10 ms; edges are their middles.

    Raises
    ------
    ValueError
        When the duration is not above 0.1 s.
    """
    if duration_s <= 0.1:
        raise ValueError(f"a sustained sound needs more than 0.1 s; got {duration_s}")
    rate = sampling_rate_hz
    rng = np.random.default_rng(seed)
    n = round(duration_s * rate)
    noise = (
        shaped_noise(shape.power, n, rate, rng)
        if drift_hz_per_s == 0
        else _drifting(shape, n, rate, drift_hz_per_s, rng)
    )
    t = np.arange(n) / rate
    gain = _gate(t, 0.0, duration_s)
    for start, end in gaps_s:
        gain *= 1 - _gate(t, start, end)
    silence = np.zeros(rate // 2)
    whole = np.concatenate([silence, 0.05 * noise * gain, silence]).astype(np.float32)
    lead = silence.size / rate
    gaps = tuple((lead + a, lead + b) for a, b in gaps_s)
    return Sustained(whole, rate, lead, lead + n / rate, drift_hz_per_s, gaps)


def _gate(t: Floats, start_s: float, end_s: float, ramp_s: float = 0.010) -> Floats:
    return Envelope(start_s, end_s, ramp_s, ramp_s).gain(t)


def _drifting(shape: SibilantShape, n: int, rate: int, drift: float, rng: np.random.Generator) -> Floats:
    hop = rate // 20
    out = np.zeros(n + 2 * hop)
    window = np.sin(np.pi * (np.arange(2 * hop) + 0.5) / (2 * hop))
    for start in range(0, n + hop, hop):
        at = start / rate - 0.5 * n / rate
        out[start : start + 2 * hop] += (
            window * shaped_noise(shape.moved(drift * at).power, 2 * hop, rate, rng)[: out.size - start]
        )
    return out[hop : hop + n]


def whistle(
    path_hz: tuple[float, float], width_hz: float, duration_s: float, seed: int, *, sampling_rate_hz: int = 44100
) -> Floats:
    """Whistle alone: a noise band of ``width_hz`` (full width at -3 dB) gliding from one to another; RMS 1."""
    n = round(duration_s * sampling_rate_hz)
    rng = np.random.default_rng(seed)
    return gliding_band(np.linspace(path_hz[0], path_hz[1], n), width_hz, sampling_rate_hz, rng)
