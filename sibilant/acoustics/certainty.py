"""How far one sound's figures can be trusted: the estimator's 95 % interval for this one sound, not for the person."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from .moments import MOMENT_KEYS, weighted_sums
from .setup import Setup
from .shape import excitation, moment_values, pattern_peak, peak_values, spread_values
from .tapers import Rows

N_DRAWS = 200
_SEED = 20261124
_NORMAL_95 = 1.959964

Range = tuple[float, float]


def delta_intervals(row: Rows, setup: Setup, effective_s: float) -> dict[str, Range]:
    r"""95 % intervals of M1, SD and level differences by the delta method on a quadratic form.

    For a ratio :math:`\theta = \int g P / \int P` of a spectrum estimated from an effective time T,
    :math:`var(\theta) = \int (g - \theta)^2 P^2 df / (T (\int P df)^2)`. With g = f this is M1; SD has the influence
    :math:`((f - M1)^2 - SD^2) / (2 SD)`; the log power of a band has variance :math:`\int P^2 / (T (\int P)^2)`.
    The estimated :math:`P^2` is too large by 1 + 1/dof, with dof the effective number of averages, and corrected.

    Parameters
    ----------
    row : array of float64, shape (m,)
        Averaged power density.
    setup : Setup
        Method and rate; weighting must be power.
    effective_s : float
        Effective time listened to, from `Setup.effective_s`.
    """
    n_averages = effective_s * setup.correlation_bins * setup.step_hz
    squared = row**2 / (effective_s * (1 + 1 / n_averages))
    mean, spread = (moment_values(row[np.newaxis], setup)[key][0] for key in MOMENT_KEYS[:2])
    weights = setup.moment_weights[0]
    total = float(np.sum(row * weights))
    distance = setup.frequency_hz - mean
    found = {}
    for key, centre, influence in (
        ("centroid_hz", mean, distance),
        ("sd_hz", spread, (distance**2 - spread**2) / (2 * spread)),
    ):
        half = _NORMAL_95 * float(np.sqrt(np.sum(influence**2 * squared * weights))) / total
        found[key] = (float(centre) - half, float(centre) + half)
    found.update(_level_intervals(row, squared, setup))
    return found


def _level_intervals(row: Rows, squared: Rows, setup: Setup) -> dict[str, Range]:
    if setup.level_weights is None:
        return {}
    sums = weighted_sums(row[np.newaxis], setup.level_weights)[0]
    variance = weighted_sums(squared[np.newaxis], setup.level_weights)[0] / sums**2
    level = 10 * np.log10(sums)
    found = {}
    for key, a, b in (("low_mid_db", 0, 1), ("mid_high_db", 1, 2)):
        if b < sums.size:
            half = _NORMAL_95 * 10 / np.log(10) * float(np.sqrt(variance[a] + variance[b]))
            found[key] = (float(level[a] - level[b]) - half, float(level[a] - level[b]) + half)
    return found


def simulated_intervals(row: Rows, setup: Setup, effective_s: float) -> dict[str, Range]:
    """95 % intervals of skewness, kurtosis, peaks and spreads by drawing spectra like this one again.

    The averaged spectrum is smoothed over the estimator's own bandwidth; draws follow it as scaled chi-square values
    (Wilson & Hilferty 1931, from memory) with the estimator's degrees of freedom, correlated over its bandwidth. The
    spread of the drawn values about the value of the smoothed spectrum is laid about the measured value. The same
    draws serve every sound, so a figure never depends on chance or company.
    """
    width = setup.correlation_bins
    smooth = _smoothed(row, width)
    dof = 2 * effective_s * width * setup.step_hz
    part = 2 / (9 * dof)
    normals = standard_draws(row.size, width)
    draws = smooth * np.maximum(1 - part + np.sqrt(part) * normals, 0.0) ** 3
    rows = np.concatenate([smooth[np.newaxis], draws])
    values = moment_values(rows, setup) | peak_values(rows, setup) | spread_values(rows, setup)
    values["peak_erb"] = _auditory_draws(smooth, setup, dof)
    wanted = ("skewness", "excess_kurtosis", "peak_hz", "mid_peak_hz", "amplitude_difference_db", "peak_erb")
    return {key: spread for key in (*wanted, "spread_50_hz", "spread_90_hz") if (spread := _spread(values.get(key)))}


def _spread(values: Rows | None) -> Range | None:
    """Distance of the 2.5 % and 97.5 % points of the draws from the first value."""
    if values is None or not np.isfinite(values[0]):
        return None
    drawn = values[1:][np.isfinite(values[1:])]
    if drawn.size < N_DRAWS // 2:
        return None
    low, high = np.quantile(drawn, (0.025, 0.975))
    return float(low - values[0]), float(high - values[0])


def _auditory_draws(smooth: Rows, setup: Setup, dof: float) -> Rows:
    pattern = excitation(smooth[np.newaxis], setup)
    noise = _excitation_draws(setup) * np.sqrt(2 / dof)
    return pattern_peak(np.concatenate([pattern, pattern * np.maximum(1 + noise, 1e-3)]), setup.erb_number)


@lru_cache(maxsize=32)
def _excitation_draws(setup: Setup) -> Rows:
    """The standard draws seen through the auditory filters, each filter's weights summing to one, (draws, c)."""
    normals = standard_draws(setup.frequency_hz.size, setup.correlation_bins)
    share = setup.excitation / np.sum(setup.excitation, axis=1)[:, np.newaxis]
    seen: Rows = np.einsum("rm,cm->rc", normals, share, optimize=False)
    return seen


@lru_cache(maxsize=64)
def standard_draws(n_bins: int, width: int) -> Rows:
    """Standard normal values (draws, n_bins), correlated over ``width`` bins, in pairs of opposite sign; read-only."""
    white = np.random.default_rng(_SEED).standard_normal((N_DRAWS // 2, n_bins + width))
    running = np.cumsum(white, axis=1)
    half: Rows = (running[:, width:] - running[:, :-width]) / np.sqrt(width)
    draws: Rows = np.concatenate([half, -half])
    draws.setflags(write=False)
    return draws


def _smoothed(row: Rows, width: int) -> Rows:
    """Running mean over ``width`` bins, made odd, with the ends mirrored."""
    half = max(1, width // 2)
    padded = np.concatenate([row[half:0:-1], row, row[-2 : -half - 2 : -1]])
    running = np.concatenate([[0.0], np.cumsum(padded)])
    smooth: Rows = np.maximum((running[2 * half + 1 :] - running[: -2 * half - 1]) / (2 * half + 1), 0.0)
    return smooth
