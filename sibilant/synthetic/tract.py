"""Voice source and vocal tract: pulses, and resonators whose frequencies move with every sample."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .speakers import Speaker

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Voicing:
    """One stretch of voice: it starts with its first pulse and ends with its last (knots are (time_s, gain))."""

    start_s: float
    end_s: float
    gain: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Pulses:
    """Glottal pulses of one stretch: start and length of each cycle in seconds, and its gain."""

    start_s: Floats
    period_s: Floats
    gain: Floats
    open_quotient: float

    @property
    def first_s(self) -> float:
        """When the first pulse starts: the beginning of voicing."""
        return float(self.start_s[0])

    @property
    def last_s(self) -> float:
        """When the last pulse closes: the end of voicing."""
        return float(self.start_s[-1] + self.open_quotient * self.period_s[-1])


def pulses(voicing: Voicing, f0: tuple[Floats, Floats], speaker: Speaker, rng: np.random.Generator) -> Pulses | None:
    """Place the pulses of one stretch: cycles of 1/F0(t), jittered and shimmered, the first at its start.

    ``f0`` are knots (times_s, hertz); ``speaker`` gives jitter, shimmer and open quotient. None when the stretch is
    too short for one cycle.
    """
    quotient = speaker.open_quotient
    most = int((voicing.end_s - voicing.start_s) * float(np.max(f0[1])) * 1.3) + 4
    wobble = 1 + speaker.jitter * np.clip(rng.standard_normal(most), -2.5, 2.5)
    starts, periods, t = [], [], voicing.start_s
    for k in range(most):
        period = float(np.interp(t, f0[0], f0[1])) ** -1 * float(wobble[k])
        if t + quotient * period > voicing.end_s:
            break
        starts.append(t)
        periods.append(period)
        t += period
    if not starts:
        return None
    start = np.array(starts)
    knots = np.array(voicing.gain)
    gain = np.interp(start, knots[:, 0], knots[:, 1]) * (
        1 + speaker.shimmer * np.clip(rng.standard_normal(start.size), -2, 2)
    )
    return Pulses(start, np.array(periods), gain, quotient)


def glottal_wave(made: Pulses, wave: Floats, opened: Floats, rate_hz: int) -> None:
    """Write one stretch of pulses into ``wave`` (flow derivative) and ``opened`` (opening, 0 to gain), both (n,).

    One cycle over x = (t - start) / (open quotient * period) in 0..1: u'(x) = 2x - 3x^2 (the derivative of x^2 - x^3,
    steepest at closure, -1), then closed. The opening is x^2 (1 - x), scaled to 1.
    """
    first = max(0, int(np.ceil(made.first_s * rate_hz)))
    last = min(wave.size, int(np.ceil(made.last_s * rate_hz)) + 1)
    if last <= first:
        return
    t = np.arange(first, last) / rate_hz
    k = np.clip(np.searchsorted(made.start_s, t, side="right") - 1, 0, made.start_s.size - 1)
    x = (t - made.start_s[k]) / (made.open_quotient * made.period_s[k])
    gain = np.where((x >= 0) & (x < 1), made.gain[k], 0.0)
    wave[first:last] += gain * (2 * x - 3 * x * x)
    opened[first:last] += gain * 6.75 * x * x * (1 - x)


def coefficients(frequency_hz: Floats, bandwidth_hz: Floats, rate_hz: int) -> tuple[Floats, Floats]:
    """Return a = 2 r cos(2 pi F / rate) and b = -r^2 with r = exp(-pi B / rate), for a resonator of F and B."""
    r = np.exp(-np.pi / rate_hz * np.asarray(bandwidth_hz))
    return np.asarray(2 * r * np.cos(2 * np.pi / rate_hz * np.asarray(frequency_hz))), np.asarray(-r * r)


def resonate(x: Floats, a: Floats, b: Floats) -> Floats:
    """Pass x (n,) through one resonator whose coefficients (n,) change with every sample.

    y[n] = x[n] (1 - a[n] - b[n]) + a[n] y[n-1] + b[n] y[n-2]: unit gain at zero frequency; solved as one banded
    triangular system.
    """
    from scipy.linalg.blas import dtbsv

    bands = np.zeros((3, x.size), order="F")
    bands[1, :-1] = -a[1:]
    bands[2, :-2] = -b[2:]
    return np.asarray(dtbsv(2, bands, x * (1 - a - b), lower=1, diag=1))


def antiresonate(x: Floats, a: Floats, b: Floats) -> Floats:
    """Pass x (n,) through a moving pair of zeros, the inverse of ``resonate``."""
    y = x.copy()
    y[1:] -= a[1:] * x[:-1]
    y[2:] -= b[2:] * x[:-2]
    return np.asarray(y / (1 - a - b))


def upper_tract(x: Floats, first_hz: float, spacing_hz: float, rate_hz: int) -> Floats:
    """Fixed resonators above the moving ones, every ``spacing_hz`` up to 0.46 of the rate."""
    from scipy.signal import sosfilt

    rows: list[list[float]] = []
    top = 0.46 * rate_hz
    frequency = first_hz
    while frequency < top and len(rows) < 16:
        r = np.exp(-np.pi * (100 + 0.045 * frequency) / rate_hz)
        a, b = 2 * r * np.cos(2 * np.pi * frequency / rate_hz), -r * r
        rows.append([1 - a - b, 0.0, 0.0, 1.0, -a, -b])
        frequency += spacing_hz
    if not rows:
        return x
    return np.asarray(sosfilt(np.array(rows), x))


def softened(x: Floats, corner_hz: float, rate_hz: int) -> Floats:
    """Glottal tilt: one pole at ``corner_hz``, -6 dB an octave above it."""
    from scipy.signal import lfilter

    pole = np.exp(-2 * np.pi * corner_hz / rate_hz)
    return np.asarray(lfilter([1 - pole], [1.0, -pole], x))
