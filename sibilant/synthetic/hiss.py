"""Frication and bursts: noise with a given spectrum under a given envelope, both known as formulas."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .shapes import SibilantShape

Floats = npt.NDArray[np.float64]
PowerOf = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Envelope:
    """Gain over time: 0 at ``start_s``, up by sin^2 over ``rise_s``, 1, down by sin^2 over ``fall_s`` to ``end_s``.

    ``wobble_db`` are slow changes of level on top: dB at equally spaced times from start to end, joined straight.
    """

    start_s: float
    end_s: float
    rise_s: float
    fall_s: float
    wobble_db: tuple[float, ...] = ()

    def gain(self, t: Floats) -> Floats:
        """Amplitude gain at times t (m,) seconds."""
        up = np.clip((t - self.start_s) / self.rise_s, 0.0, 1.0)
        down = np.clip((self.end_s - t) / self.fall_s, 0.0, 1.0)
        total = np.sin(np.pi / 2 * up) ** 2 * np.sin(np.pi / 2 * down) ** 2
        if self.wobble_db:
            knots = np.linspace(self.start_s, self.end_s, len(self.wobble_db))
            total = total * 10 ** (np.interp(t, knots, self.wobble_db) / 20)
        return np.asarray(total)


@dataclass(frozen=True, slots=True)
class Hiss:
    """One noise component: ``rms`` is its expected RMS at gain 1; ``modulated`` follows the glottal opening (/z/)."""

    envelope: Envelope
    shape: SibilantShape
    rms: float
    modulated: bool = False

    def band_share(self, band_hz: tuple[float, float], top_hz: float) -> float:
        """Share of the expected power that falls in a band."""
        f = np.arange(20.0, top_hz, 20.0)
        power = self.shape.power(f)
        inside = (f >= band_hz[0]) & (f <= band_hz[1])
        return float(power[inside].sum() / power.sum())

    def level_db(self, t: Floats, band_hz: tuple[float, float], top_hz: float) -> Floats:
        """Expected level in a band over time t (m,) (dB re full scale RMS, -200 for nothing)."""
        power = (self.rms * self.envelope.gain(t)) ** 2 * self.band_share(band_hz, top_hz)
        return np.asarray(10 * np.log10(np.maximum(power, 1e-20)))

    def samples(self, rate_hz: int, rng: np.random.Generator) -> tuple[int, Floats]:
        """Return the first sample's index and the noise from the envelope's start to its end."""
        first = int(np.floor(self.envelope.start_s * rate_hz))
        n = max(8, int(np.ceil(self.envelope.end_s * rate_hz)) - first)
        t = (first + np.arange(n)) / rate_hz
        noise = shaped_noise(self.shape.hiss_power, n, rate_hz, rng)
        if self.shape.ridge is not None:
            noise = _with_ridge(noise, self.shape, rate_hz, rng)
        return first, noise * (self.rms * self.envelope.gain(t))


def shaped_noise(power_of_f: PowerOf, n: int, rate_hz: int, seed: int | np.random.Generator) -> Floats:
    """Gaussian noise (n,) with a given power spectrum and an expected RMS of 1.

    Independent complex normal values, weighted by sqrt(P(f)), are drawn for every frequency of a longer stretch and
    the result is cut to n, so that it does not join up with itself; the RMS is the formula's, not this draw's.

    Parameters
    ----------
    power_of_f : callable
        Power density, any unit, at frequencies (m,) in Hz.
    n, rate_hz : int
        Number of samples and sampling rate.
    seed : int or numpy.random.Generator
        Same seed, same noise.

    Examples
    --------
    >>> import numpy as np
    >>> noise = shaped_noise(lambda f: np.exp(-0.5 * ((f - 6000) / 500) ** 2), 44100, 44100, 1)
    >>> bool(abs(noise.std() - 1) < 0.03)
    True
    """
    from scipy.fft import irfft, next_fast_len

    rng = np.random.default_rng(seed)
    length = int(next_fast_len(n + max(512, min(n, 2048)), real=True))
    f = np.arange(length // 2 + 1, dtype=np.float64) * (rate_hz / length)
    power = np.maximum(np.asarray(power_of_f(f), dtype=np.float64), 0.0)
    weight = np.sqrt(power * (0.5 * length * f.size / max(float(power.sum()), 1e-300)))
    drawn = rng.standard_normal(2 * f.size).view(np.complex128)
    return np.asarray(irfft(weight * drawn, length)[:n])


def _with_ridge(hiss: Floats, shape: SibilantShape, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Add the gliding ridge to unit hiss and return the sum at unit expected RMS."""
    ridge = shape.ridge
    if ridge is None:
        return hiss
    n = hiss.size
    path = ridge.centre_hz + ridge.glide_hz * (np.linspace(-0.5, 0.5, n) if n > 1 else np.zeros(n))
    tone = gliding_band(path, ridge.width_hz, rate_hz, rng)
    share = 10 ** (ridge.prominence_db / 10)
    return np.asarray((hiss + np.sqrt(share) * tone) / np.sqrt(1 + share))


def gliding_band(path_hz: Floats, width_hz: float, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Narrow Gaussian band of noise (full width at -3 dB given) whose centre follows ``path_hz`` (n,); RMS 1."""
    n = path_hz.size
    sd = width_hz / 2.3548
    slow = [shaped_noise(lambda f: np.exp(-0.5 * (f / sd) ** 2) + 0.0 * f, n, rate_hz, rng) for _ in range(2)]
    phase = 2 * np.pi * np.cumsum(path_hz) / rate_hz + rng.uniform(0, 2 * np.pi)
    return np.asarray(slow[0] * np.cos(phase) - slow[1] * np.sin(phase))
