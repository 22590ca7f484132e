"""How far one sound's figures can be trusted: the estimator's 95 % interval for this one sound, not for the person."""

from __future__ import annotations

import dataclasses
from functools import lru_cache

import numpy as np

from .moments import MOMENT_KEYS, quadrature, weighted_sums
from .setup import Setup, inside
from .shape import excitation, half_bandwidth, level_keys, moment_values, pattern_peak, peak_values, smoothed
from .tapers import Rows

N_DRAWS = 200  # draws of an interval; half, each with its mirror image
_SEED = 20261124  # fixed, so that the same sound has the same interval
_NORMAL_95 = 1.959964  # 97.5th percentile of the normal distribution, as in every table of it
_DECIBEL = 10 / np.log(10)  # decibels a unit of the natural logarithm
_CHUNK = 4  # for the processor's cache; no result depends on it
_SMOOTHEST = 24  # most terms of the smoothed spectrum that draws are made about


def delta_halves(rows: Rows, setup: Setup, effective_s: Rows) -> dict[str, Rows]:
    r"""Half widths (t,) of the 95 % intervals of M1, SD and level differences, by the delta method.

    For a ratio :math:`\theta = \int g P / \int P` of a spectrum estimated from an effective time T,
    :math:`var(\theta) = \int (g - \theta)^2 P^2 df / (T (\int P df)^2)`. With g = f this is M1; SD has the influence
    :math:`((f - M1)^2 - SD^2) / (2 SD)`; the log power of a band has variance :math:`\int b^2 P^2 / (T (\int P)^2)`,
    with b the band's edges blurred over the estimator's bandwidth.
    The estimated :math:`P^2` is too large by 1 + 1/dof, with dof the effective number of averages, and corrected.

    Parameters
    ----------
    rows : array of float64, shape (t, m)
        Averaged power density of each sound.
    setup : Setup
        Method and rate; its weighting is power.
    effective_s : array of float64, shape (t,)
        Effective time listened to, from `Setup.effective_s`.
    """
    n_averages = effective_s * setup.correlation_hz
    squared = rows**2 / (effective_s * (1 + 1 / n_averages))[:, np.newaxis]
    values = moment_values(rows, setup)
    mean, spread = (values[key][:, np.newaxis] for key in MOMENT_KEYS[:2])
    weights = setup.moment_weights[0]
    total = np.sum(rows * weights, axis=1)
    distance = setup.frequency_hz - mean
    found = {}
    with np.errstate(divide="ignore", invalid="ignore"):
        for key, influence in (("centroid_hz", distance), ("sd_hz", (distance**2 - spread**2) / (2 * spread))):
            found[key] = _NORMAL_95 * np.sqrt(np.sum(influence**2 * squared * weights, axis=1)) / total
        if setup.level_weights is not None:
            blurred = smoothed(setup.level_weights, half_bandwidth(setup)) ** 2 / setup.step_hz
            share = weighted_sums(squared, blurred) / weighted_sums(rows, setup.level_weights) ** 2
            for key, (a, b) in level_keys(setup).items():
                found[key] = _NORMAL_95 * _DECIBEL * np.sqrt(share[:, a] + share[:, b])
    return found


def simulated_spans(rows: Rows, setup: Setup, effective_s: Rows) -> dict[str, Rows]:
    """How far below and above the value the 95 % interval reaches, (t, 2), for skewness, kurtosis and peaks.

    Each averaged spectrum is smoothed over the estimator's own bandwidth; spectra drawn about it are scaled chi-square
    values (Wilson & Hilferty 1931, from memory) with the estimator's degrees of freedom, correlated over its
    bandwidth. The spread of the drawn values about the value of the smoothed spectrum is what is returned. The same
    draws serve every sound, so a figure never depends on chance or company.

    Parameters
    ----------
    rows, setup, effective_s
        As for `delta_halves`.
    """
    parts = [
        _simulate(rows[first : first + _CHUNK], setup, effective_s[first : first + _CHUNK])
        for first in range(0, rows.shape[0], _CHUNK)
    ]
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}


def windowed_intervals(windows: Rows, setup: Setup, effective_s: Rows) -> tuple[dict[str, Rows], dict[str, Rows]]:
    """Half widths (t,) and spans (t, 2) of moments averaged over windows (t, w, m), each with a spectrum of its own.

    Variances of the windows add up, divided by the square of their number, and grow by as much as overlapping windows
    hear the same sound: w times the effective time of one window over that of all together.
    """
    n_sounds, n_windows, n_bins = windows.shape
    one_s = setup.effective_s((0,))
    flat, times_s = windows.reshape(-1, n_bins), np.full(n_sounds * n_windows, one_s)
    shared = np.sqrt(np.maximum(n_windows * one_s / effective_s, 1.0)) / n_windows
    halves = {
        key: shared * np.sqrt(np.sum(half.reshape(n_sounds, n_windows) ** 2, axis=1))
        for key, half in delta_halves(flat, setup, times_s).items()
        if key in MOMENT_KEYS
    }
    spans = {
        key: shared[:, np.newaxis] * np.sqrt(np.sum(span.reshape(n_sounds, n_windows, 2) ** 2, axis=1)) * (-1.0, 1.0)
        for key, span in simulated_spans(flat, setup, times_s).items()
        if key in MOMENT_KEYS
    }
    return halves, spans


def _simulate(rows: Rows, setup: Setup, effective_s: Rows) -> dict[str, Rows]:
    coarse, every = coarser(setup)
    smooth = smoothed(rows, half_bandwidth(setup))
    dof = 2 * effective_s * setup.correlation_hz
    thin = smooth[:, np.newaxis, ::every]
    drawn = cubed_draws(dof, thin.shape[2], coarse, setup)
    drawn *= thin
    stack = np.concatenate([thin, drawn], axis=1)
    flat = stack.reshape(-1, stack.shape[2])
    values = moment_values(flat, coarse) | peak_values(flat, coarse)
    columns = {key: values[key].reshape(stack.shape[:2]) for key in _SIMULATED if key in values}
    columns["peak_erb"] = _auditory_draws(smooth, setup, dof[:, np.newaxis])
    spans = spans_of(np.stack(list(columns.values())))
    return dict(zip(columns, spans, strict=True))


def cubed_draws(dof: Rows, n_bins: int, coarse: Setup, setup: Setup) -> Rows:
    """Factors (t, draws, n_bins) of mean 1 for spectra with some degrees of freedom (t,), after Wilson & Hilferty."""
    part = 2 / (9 * dof[:, np.newaxis, np.newaxis])
    draws = standard_draws(n_bins, setup.correlation_hz / coarse.step_hz) * np.sqrt(part)
    draws += 1 - part
    np.maximum(draws, 0.0, out=draws)
    drawn: Rows = draws * draws
    drawn *= draws
    return drawn


_SIMULATED = ("skewness", "excess_kurtosis", "peak_hz", "mid_peak_hz")


def spans_of(values: Rows) -> Rows:
    """Distance (..., 2) of the 2.5 % and 97.5 % points of the draws (..., 1 + n) from the first value.

    NaN where fewer than half of the draws, or not the first value, can be had.
    """
    drawn = np.sort(values[..., 1:], axis=-1)
    n_known = np.sum(np.isfinite(drawn), axis=-1, keepdims=True)
    at = np.maximum(n_known - 1, 0) * np.array([0.025, 0.975])
    below = np.floor(at).astype(np.intp)
    above = np.minimum(below + 1, drawn.shape[-1] - 1)
    low = np.take_along_axis(drawn, below, axis=-1)
    high = np.where(at > below, np.take_along_axis(drawn, above, axis=-1), low)
    point: Rows = low + (at - below) * (high - low) - values[..., :1]
    return np.where(2 * n_known >= drawn.shape[-1], point, np.nan)


@lru_cache(maxsize=64)
def coarser(setup: Setup) -> tuple[Setup, int]:
    """The setup with only as many bins as the estimator tells apart, about two a bandwidth, and the step in bins."""
    every = max(1, int(setup.correlation_hz / setup.step_hz / 2))
    frequency_hz = np.ascontiguousarray(setup.frequency_hz[::every])
    low, high = setup.method.band_hz
    band = (max(low, float(frequency_hz[0])), min(high, float(frequency_hz[-1])))
    mid = setup.mid_band and inside(frequency_hz, tuple(float(setup.frequency_hz[i]) for i in setup.mid_band))
    coarse = dataclasses.replace(
        setup,
        method=dataclasses.replace(setup.method, band_hz=band),
        frequency_hz=frequency_hz,
        step_hz=setup.step_hz * every,
        band=inside(frequency_hz, band),
        mid_band=mid,
        low_band=setup.low_band and inside(frequency_hz, tuple(float(setup.frequency_hz[i]) for i in setup.low_band)),
        moment_weights=quadrature(frequency_hz, band),
    )
    return coarse, every


def _auditory_draws(smooth: Rows, setup: Setup, dof: Rows) -> Rows:
    """Auditory peaks (t, 1 + n) of the smoothed spectra and of draws about their excitation patterns."""
    pattern = excitation(smooth, setup)[:, np.newaxis]
    noise = np.maximum(1 + excitation_draws(setup) * np.sqrt(2 / dof)[:, :, np.newaxis], 1e-3)
    stack = np.concatenate([pattern, pattern * noise], axis=1)
    return pattern_peak(stack.reshape(-1, stack.shape[2]), setup.erb_number).reshape(stack.shape[:2])


@lru_cache(maxsize=32)
def excitation_draws(setup: Setup) -> Rows:
    """The standard draws seen through the auditory filters, each filter's weights summing to one, (draws, c)."""
    normals = standard_draws(setup.frequency_hz.size, setup.correlation_hz / setup.step_hz)
    share = setup.excitation / np.sum(setup.excitation, axis=1)[:, np.newaxis]
    seen: Rows = np.einsum("rm,cm->rc", normals, share, optimize=False)
    return seen


@lru_cache(maxsize=64)
def standard_draws(n_bins: int, width: float) -> Rows:
    """Standard normal values (draws, n_bins), correlated over ``width`` bins, in pairs of opposite sign; read-only.

    Along the smoothest directions, which decide moments, the draws are made uncorrelated with unit variance exactly,
    so that few of them do for many.
    """
    kernel = _kernel(max(1.0, width))
    white = np.random.default_rng(_SEED).standard_normal((N_DRAWS // 2, n_bins + kernel.size - 1))
    _balance(white)
    half: Rows = np.zeros((white.shape[0], n_bins))
    for k, share in enumerate(kernel):
        half += share * white[:, k : k + n_bins]
    draws: Rows = np.concatenate([half, -half])
    draws.setflags(write=False)
    return draws


def _kernel(width: float) -> Rows:
    """Unit-energy weights, flat but for the last, whose squared sum is ``width``."""
    whole = int(width)
    inside = whole**2 - (width - 1) * (width - whole) * whole
    last = (whole - inside**0.5) / (width - 1) if width > whole else 0.0
    kernel: Rows = np.array([1.0] * whole + [last] * (last > 0))
    kernel /= np.sqrt(np.sum(kernel**2))
    return kernel


def _balance(white: Rows) -> None:
    """Make the draws' parts along the first cosines uncorrelated and of unit variance, in place."""
    n_rows, n_bins = white.shape
    kept: list[Rows] = []
    for order in range(min(_SMOOTHEST, n_bins // 4)):
        cosine = np.cos(np.pi * order * (np.arange(n_bins) + 0.5) / n_bins)
        cosine /= np.sqrt(np.sum(cosine**2))
        part = np.sum(white * cosine, axis=1)
        fair = part.copy()
        for earlier in kept:
            fair -= earlier * (np.sum(fair * earlier) / n_rows)
        fair /= np.sqrt(np.sum(fair**2) / n_rows)
        kept.append(fair)
        white += (fair - part)[:, np.newaxis] * cosine
