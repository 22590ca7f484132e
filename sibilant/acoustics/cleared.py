"""Spectra with the room's noise taken out: their sums, how sure each sum is, and what stands clear of its error.

Every sum is made from signal minus noise without cutting negative bins off, so that it stays unbiased. Its variance is
that of the *observed* spectrum squared over its independent pieces, cross term of signal and noise and all, plus that
of the noise estimate and of its drift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .moments import MOMENT_KEYS, from_sums, power_and_mean, weighted_sums
from .setup import Setup
from .shape import half_bandwidth, level_keys, smoothed
from .tapers import Rows

CLEAR = 3.0
"""Standard errors by which a sum of power must stand above zero (methods.md, section 2)."""
NORMAL_95 = 1.959964  # 97.5th percentile of the normal distribution
_DECIBEL = 10 / np.log(10)  # decibels a unit of the natural logarithm


@dataclass(frozen=True, slots=True, eq=False)
class Cleared:
    """Spectra of t sounds under one setup, all (t, m).

    ``observed`` and the ``noise`` under it; ``variance`` density of the observed spectrum (its integral against g²
    is the variance of that against g) by frames and ``fine`` by the finest resolution, of which the larger counts;
    ``noise_variance`` the same of the noise; ``drift`` one standard deviation of the noise, all frequencies together.
    Where no noise is known, noise and what hangs on it are zero.
    """

    observed: Rows
    noise: Rows
    variance: Rows
    fine: Rows
    noise_variance: Rows
    drift: Rows

    @property
    def rows(self) -> Rows:
        """Signal minus noise (t, m), negative where chance makes it so."""
        return self.observed - self.noise

    def part(self, chosen: slice | list[int]) -> Cleared:
        """Some of the sounds."""
        names = ("observed", "noise", "variance", "fine", "noise_variance", "drift")
        return Cleared(*(getattr(self, name)[chosen] for name in names))

    def errors(self, weights: Rows, setup: Setup) -> Rows:
        """Standard error (t, k) of the sums of `rows` under weights (k, m), band edges blurred as in the estimate."""
        return self._error(np.ones_like(self.noise), weights, setup)

    @property
    def noisy_share(self) -> Rows:
        """Share (t, m) of the variance that would not be there without noise, cross term and all."""
        clean = 1 - np.minimum(self.noise / np.maximum(self.observed, 1e-300), 1.0)
        found: Rows = 1 - clean**2
        return found

    def noise_errors(self, weights: Rows, setup: Setup) -> Rows:
        """As `errors`, without what the signal would scatter by alone: what a sum must stand clear of."""
        return self._error(self.noisy_share, weights, setup)

    def own_noise_errors(self, weights: Rows, setup: Setup) -> Rows:
        """As `noise_errors`, for each sound's own weights (t, m); (t,)."""
        share, squared = self.noisy_share, weights**2 / setup.step_hz
        own = np.maximum(np.sum(squared * share * self.variance, axis=1), np.sum(squared * share * self.fine, axis=1))
        room = np.sum(squared * self.noise_variance, axis=1) + np.sum(weights * self.drift, axis=1) ** 2
        found: Rows = np.sqrt(own + room)
        return found

    def _error(self, share: Rows, weights: Rows, setup: Setup) -> Rows:
        blurred = smoothed_signed(weights, half_bandwidth(setup)) ** 2 / setup.step_hz
        own = np.maximum(weighted_sums(self.variance * share, blurred), weighted_sums(self.fine * share, blurred))
        room = weighted_sums(self.noise_variance, blurred) + weighted_sums(self.drift, weights) ** 2
        found: Rows = np.sqrt(own + room)
        return found


def smoothed_signed(rows: Rows, half: int) -> Rows:
    """`shape.smoothed` for weights that may be negative."""
    lowest = float(np.min(rows, initial=0.0))
    return smoothed(rows - lowest, half) + lowest


def cleared_moments(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """The four moments of each row (r, m); the SD without what the estimator adds to a spectrum's width."""
    found = dict(
        zip(MOMENT_KEYS, from_sums(weighted_sums(rows, setup.moment_weights), setup.method.band_hz).T, strict=True)
    )
    narrower = found["sd_hz"] ** 2 - setup.blur_hz2
    with np.errstate(invalid="ignore"):
        found["sd_hz"] = np.sqrt(np.where(narrower > 0, narrower, np.nan))
    return found


def moment_reaches(cleared: Cleared, setup: Setup) -> dict[str, tuple[Rows, Rows, Rows]]:
    """Spectral mean and SD (t,) with the ends of their 95 % intervals, whether they stand clear or not.

    Each is a ratio of sums, the SD by its square: the interval holds the values that the sums do not refute (Fieller
    1954, J. R. Stat. Soc. B 16:175-185, from memory), by the influence of each frequency on the ratio. Where the power
    itself is not above its error nothing is refuted, and the ends are those of the band.
    """
    weights, (lowest, highest) = setup.moment_weights[0], setup.method.band_hz
    total, mean = power_and_mean(cleared.rows, setup.moment_weights, setup.method.band_hz)
    distance = setup.frequency_hz - mean[:, np.newaxis]
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = np.sum(cleared.rows * weights * distance**2, axis=1) / total
        below, above = _ratio_reach(cleared, distance, weights, total)
        narrower, wider = _ratio_reach(cleared, distance**2 - variance[:, np.newaxis], weights, total)
        squares = (variance + by - setup.blur_hz2 for by in (0.0, narrower, wider))
        spread = [np.sqrt(np.maximum(square, 0.0)) for square in squares]
    first = [np.clip(mean + by, lowest, highest) for by in (below, above)]
    return {"centroid_hz": (mean, *first), "sd_hz": (spread[0], spread[1], np.fmin(spread[2], (highest - lowest) / 2))}


def _ratio_reach(cleared: Cleared, influence: Rows, weights: Rows, total: Rows) -> tuple[Rows, Rows]:
    """How far below and above (t,) a ratio of sums over ``total`` power its 95 % interval reaches.

    What a sound scatters by alone grows with its power and leaves the ratio even; what the noise adds does not.
    """
    squared = influence**2 * weights
    sums = [np.sum(squared * density, axis=1) for density in (cleared.variance, cleared.fine)]
    own = np.where((sums[0] >= sums[1])[:, np.newaxis], cleared.variance, cleared.fine)
    noisy = weights * (cleared.noisy_share * own + cleared.noise_variance)
    drift = cleared.drift * weights
    moved, alike = np.sum(influence * drift, axis=1), np.sum(drift, axis=1)
    top = np.sum(squared * (own + cleared.noise_variance), axis=1) + moved**2
    both, power = np.sum(influence * noisy, axis=1) + moved * alike, np.sum(noisy, axis=1) + alike**2
    z = NORMAL_95**2
    known = total**2 - z * power
    root = np.sqrt((z * both) ** 2 + np.maximum(known, 0.0) * z * top)
    ends = ((-z * both - root) / known, (-z * both + root) / known)
    return np.where(known > 0, ends[0], -np.inf), np.where(known > 0, ends[1], np.inf)


def clear_moments(cleared: Cleared, setup: Setup) -> dict[str, npt.NDArray[np.bool_]]:
    """Which sounds (t,) have each moment: all rest on the band's power, all but the mean also on its spread."""
    rows, weights = cleared.rows, setup.moment_weights[:1]
    power, mean = power_and_mean(rows, setup.moment_weights, setup.method.band_hz)
    stands = power > CLEAR * cleared.noise_errors(weights, setup)[:, 0]
    second = weights * (setup.frequency_hz - mean[:, np.newaxis]) ** 2
    with np.errstate(invalid="ignore"):
        spread = stands & (np.sum(rows * second, axis=1) > CLEAR * cleared.own_noise_errors(second, setup))
    return {key: stands if key == MOMENT_KEYS[0] else spread for key in MOMENT_KEYS}


def level_reaches(cleared: Cleared, setup: Setup) -> dict[str, tuple[Rows, Rows, Rows, npt.NDArray[np.bool_]]]:
    """Each level difference (t,): value, low and high of its 95 % interval in dB, and whether both bands are clear.

    The error of a band's power moves the logarithm of what was observed, from which the noise is then taken: alike up
    and down in decibels in a quiet room, alike in power in a loud one. A band that is not above zero has a level of
    minus infinity, and no lower end.
    """
    if setup.level_weights is None:
        return {}
    weights = setup.level_weights
    observed, noise = weighted_sums(cleared.observed, weights), weighted_sums(cleared.noise, weights)
    stands = observed - noise > CLEAR * cleared.noise_errors(weights, setup)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        stretch = np.exp(NORMAL_95 * cleared.errors(weights, setup) / observed)
        bands = [np.maximum(power - noise, 0.0) for power in (observed, observed / stretch, observed * stretch)]
        value, low, high = (_DECIBEL * np.log(band) for band in bands)
        return {
            key: (*_difference(value, low, high, pair), stands[:, pair[0]] & stands[:, pair[1]])
            for key, pair in level_keys(setup).items()
        }


def _difference(value: Rows, low: Rows, high: Rows, pair: tuple[int, int]) -> tuple[Rows, Rows, Rows]:
    """Level of one band over another's with its interval, the bands' reaches taken together as independent."""
    a, b = pair
    level = value[:, a] - value[:, b]
    up = np.hypot(high[:, a] - value[:, a], value[:, b] - low[:, b])
    down = np.hypot(value[:, a] - low[:, a], high[:, b] - value[:, b])
    lowest = np.where(np.isfinite(down), level - down, -np.inf)
    highest = np.where(np.isfinite(up), level + up, high[:, a] - low[:, b])
    return level, lowest, highest
