"""Power spectra of invented frication, given as formulas so that every moment is known exactly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SibilantType = Literal["typical", "frontal", "dentalised", "lateral", "retracted", "whistled"]
SIBILANT_TYPES: tuple[SibilantType, ...] = (
    "typical", "frontal", "dentalised", "lateral", "retracted", "whistled",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hump:
    """A Gaussian hump of power: centre and standard deviation in Hz, top in dB."""

    centre_hz: float
    width_hz: float
    level_db: float = 0.0

    def __post_init__(self) -> None:
        if self.centre_hz <= 0 or self.width_hz <= 0:
            raise ValueError(f"a hump needs centre and width above zero; got {self.centre_hz} and {self.width_hz} Hz")


@dataclass(frozen=True, slots=True)
class Ridge:
    """The whistle inside a whistled sound: a narrow band of noise that glides.

    ``width_hz`` is the full width at -3 dB (100 to 400 Hz); ``glide_hz`` is how far its centre moves from the sound's
    start to its end; ``prominence_db`` is its power against that of the hiss around it, whole against whole.
    """

    centre_hz: float
    width_hz: float = 200.0
    glide_hz: float = 400.0
    prominence_db: float = 6.0


@dataclass(frozen=True, slots=True)
class ShapeMoments:
    """Exact moments of a power spectrum over a band, and the frequency of its highest point there."""

    centroid_hz: float
    sd_hz: float
    skewness: float
    excess_kurtosis: float
    peak_hz: float


@dataclass(frozen=True, slots=True)
class SibilantShape:
    """The power spectrum of a frication, as a formula.

    P(f) = sum over humps of 10^(L/10) exp(-(f - c)^2 / (2 w^2))  +  10^(floor/10) S(f),
    with the skirt S(f) = r^2 / (1 + r^2), r = f / skirt_low_hz, times 1 / (1 + (f / skirt_high_hz)^8).

    A ``ridge`` adds its own power, taken at the middle of its glide, as a Gaussian.

    Examples
    --------
    >>> shape = SibilantShape((Hump(6000.0, 800.0),), floor_db=-200.0)
    >>> round(shape.moments((1000.0, 15000.0)).centroid_hz)
    6000
    """

    humps: tuple[Hump, ...]
    floor_db: float = -30.0
    skirt_low_hz: float = 500.0
    skirt_high_hz: float = 16000.0
    ridge: Ridge | None = None

    def hiss_power(self, frequency_hz: Floats) -> Floats:
        """Power density of the hiss without the ridge, any unit, at ``frequency_hz`` (m,)."""
        f = np.asarray(frequency_hz, dtype=np.float64)
        ratio = (f / self.skirt_low_hz) ** 2
        total = 10 ** (self.floor_db / 10) * ratio / (1 + ratio) / (1 + (f / self.skirt_high_hz) ** 8)
        for hump in self.humps:
            total = total + 10 ** (hump.level_db / 10) * np.exp(-0.5 * ((f - hump.centre_hz) / hump.width_hz) ** 2)
        return np.asarray(total)

    def ridge_power(self, frequency_hz: Floats, hiss_total: float) -> Floats:
        """Power density of the ridge at the middle of its glide, given the hiss's whole power."""
        f = np.asarray(frequency_hz, dtype=np.float64)
        if self.ridge is None:
            return np.zeros_like(f)
        sd = self.ridge.width_hz / 2.3548
        whole = hiss_total * 10 ** (self.ridge.prominence_db / 10)
        return np.asarray(whole / (sd * np.sqrt(2 * np.pi)) * np.exp(-0.5 * ((f - self.ridge.centre_hz) / sd) ** 2))

    def power(self, frequency_hz: Floats) -> Floats:
        """Power density, any unit, at ``frequency_hz`` (m,), the ridge at the middle of its glide included."""
        hiss = self.hiss_power(frequency_hz)
        if self.ridge is None:
            return hiss
        fine = np.arange(0.0, 22050.0, 10.0)
        return hiss + self.ridge_power(frequency_hz, float(np.sum(self.hiss_power(fine)) * 10.0))

    def moments(self, band_hz: tuple[float, float]) -> ShapeMoments:
        """Exact power-weighted moments over a band (trapezoids every 1 Hz; error below 1e-6 relative).

        Raises
        ------
        ValueError
            When the band is empty or upside down.
        """
        return moments_of(self.power, band_hz)

    def band_of(self, share: float = 0.9, top_hz: float = 20000.0) -> tuple[float, float]:
        """Return the band that holds the middle ``share`` of the power between 1 kHz and ``top_hz``."""
        f = np.arange(1000.0, top_hz, 20.0)
        gathered = np.cumsum(self.power(f))
        gathered /= gathered[-1]
        low, high = np.interp([(1 - share) / 2, (1 + share) / 2], gathered, f)
        return float(low), float(high)

    def scaled(self, factor: float) -> SibilantShape:
        """All hump and ridge frequencies times a factor (widths too)."""
        humps = tuple(Hump(h.centre_hz * factor, h.width_hz * factor, h.level_db) for h in self.humps)
        ridge = None if self.ridge is None else replace(self.ridge, centre_hz=self.ridge.centre_hz * factor)
        return replace(self, humps=humps, ridge=ridge)

    def moved(self, shift_hz: float) -> SibilantShape:
        """All hump and ridge centres moved by some Hz (kept above 500 Hz)."""
        humps = tuple(replace(h, centre_hz=max(500.0, h.centre_hz + shift_hz)) for h in self.humps)
        ridge = None
        if self.ridge is not None:
            ridge = replace(self.ridge, centre_hz=max(800.0, self.ridge.centre_hz + shift_hz))
        return replace(self, humps=humps, ridge=ridge)

    def centred(self, centroid_hz: float, band_hz: tuple[float, float] = (1000.0, 15000.0)) -> SibilantShape:
        """Scale the shape until its centroid over the band is ``centroid_hz`` (within 0.5 Hz).

        Raises
        ------
        ValueError
            When no factor between 0.3 and 3 gives that centroid.
        """
        low, high = 0.3, 3.0
        if (
            not self.scaled(low).moments(band_hz).centroid_hz
            < centroid_hz
            < self.scaled(high).moments(band_hz).centroid_hz
        ):
            raise ValueError(f"no scaling of this shape has its centroid at {centroid_hz:.0f} Hz over {band_hz}")
        for _ in range(40):
            middle = (low + high) / 2
            reached = self.scaled(middle).moments(band_hz).centroid_hz
            if abs(reached - centroid_hz) < 0.5:
                break
            low, high = (middle, high) if reached < centroid_hz else (low, middle)
        return self.scaled((low + high) / 2)


def moments_of(power: Callable[[Floats], Floats], band_hz: tuple[float, float], step_hz: float = 1.0) -> ShapeMoments:
    """Moments of any power formula over a band: M1, SD, skewness, excess kurtosis, and its peak.

    M1 = int f P / int P; the others about M1, P-weighted, by trapezoids every ``step_hz``.
    """
    low, high = band_hz
    if not 0 <= low < high:
        raise ValueError(f"a band needs 0 <= low < high; got {low} to {high} Hz")
    n = max(2, round((high - low) / step_hz) + 1)
    f = np.linspace(low, high, n)
    p = np.asarray(power(f), dtype=np.float64)
    weight = p.copy()
    weight[[0, -1]] *= 0.5
    total = weight.sum()
    centroid = float((f * weight).sum() / total)
    second, third, fourth = (float(((f - centroid) ** k * weight).sum() / total) for k in (2, 3, 4))
    sd = second**0.5
    return ShapeMoments(centroid, sd, third / sd**3, fourth / sd**4 - 3.0, float(f[int(np.argmax(p))]))


def mixed(first: SibilantShape, second: SibilantShape, share: float) -> SibilantShape:
    """Power-weighted mixture: ``share`` 0 is the first shape, 1 the second; each hump keeps its place.

    Used for a client whose sound moves from one type to another over the months.
    """
    if not 0 <= share <= 1:
        raise ValueError(f"a mixture needs a share from 0 to 1; got {share}")
    if share in (0, 1):
        return second if share else first
    parts = [(first, 10 * np.log10(1 - share)), (second, 10 * np.log10(share))]
    humps = tuple(replace(h, level_db=h.level_db + float(gain)) for shape, gain in parts for h in shape.humps)
    floor = 10 * np.log10((1 - share) * 10 ** (first.floor_db / 10) + share * 10 ** (second.floor_db / 10))
    ridge = (second if share >= 0.5 else first).ridge
    return replace(first, humps=humps, floor_db=float(floor), ridge=ridge)


_S = SibilantShape((Hump(8500.0, 1080.0), Hump(10400.0, 1650.0, -4.9), Hump(5700.0, 1070.0, -6.8)), -20.0)
_SH = SibilantShape((Hump(3700.0, 620.0), Hump(5600.0, 900.0, -7.0), Hump(7600.0, 1300.0, -13.0)), -29.0)
_FRONTAL = SibilantShape((Hump(9500.0, 4500.0, -3.0), Hump(5200.0, 3000.0, -5.0), Hump(1700.0, 700.0, -9.0)), -10.0)
_DENTALISED = SibilantShape((Hump(9800.0, 2100.0), Hump(6800.0, 1800.0, -5.0)), -20.0)
_LATERAL = SibilantShape((Hump(2700.0, 450.0, -2.0), Hump(4100.0, 620.0), Hump(6800.0, 1300.0, -13.0)), -25.0)
_WHISTLED = SibilantShape((Hump(8100.0, 1500.0), Hump(10400.0, 1900.0, -6.0)), -24.0, ridge=Ridge(7600.0))


def shape_of(kind: str, factor: float = 1.0) -> SibilantShape:
    """Invented spectrum of an /s/ said in one of six ways, for a woman (``factor`` scales its frequencies).

    The shapes are drawn from the directions stated in words in the trade's literature (flat and weak for frontal,
    energy at 2 to 5 kHz for lateral, like /sh/ for retracted, a narrow gliding ridge for whistled); no measured
    person stands behind any of them, and no threshold may be read from them.

    Raises
    ------
    ValueError
        When ``kind`` is not one of ``SIBILANT_TYPES``.

    Examples
    --------
    >>> 4000 < shape_of("retracted").moments((1000, 15000)).centroid_hz < 5000
    True
    """
    shapes = {
        "typical": _S, "frontal": _FRONTAL, "dentalised": _DENTALISED, "lateral": _LATERAL,
        "retracted": _SH.scaled(1.05), "whistled": _WHISTLED,
    }  # fmt: skip
    if kind not in shapes:
        raise ValueError(f"sibilant type {kind!r} is not known; known are {', '.join(SIBILANT_TYPES)}")
    return shapes[kind].scaled(factor)


def sh_shape(factor: float = 1.0) -> SibilantShape:
    """Invented spectrum of /sh/ for a woman, its frequencies times ``factor``."""
    return _SH.scaled(factor)
