"""Spectral moments: exact integrals of a spectrum taken as straight lines between its points."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from ..errors import MethodError
from .tapers import Rows

if TYPE_CHECKING:
    from ..terms import Spectrum

_NODES = np.array([-(0.6**0.5), 0.0, 0.6**0.5])
"""Gauss-Legendre with three nodes, exact to the fifth order, as in every table of it."""
_NODE_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0  # Gauss-Legendre, three nodes on an interval of length one


def quadrature(frequency_hz: Rows, band_hz: tuple[float, float], n_orders: int = 5) -> Rows:
    r"""Weights w (n_orders, m) with :math:`\sum_i w_{ki} P_i = \int_{band} x^k P(f) df`.

    ``x = (f - c) / h`` with c the band's middle and h half its width. P is a straight line between its points, and the
    product is integrated by three Gauss nodes a segment, which is exact up to order 4; a band edge may lie between two
    points.

    Raises
    ------
    MethodError
        When the band reaches outside the frequencies given.

    Examples
    --------
    >>> w = quadrature(np.array([0.0, 1000.0, 2000.0]), (500.0, 1500.0))
    >>> float(np.sum(w[0] * 2.0))
    2000.0
    """
    low, high = band_hz
    if low < frequency_hz[0] or high > frequency_hz[-1]:
        raise MethodError(
            f"the band {low:g} to {high:g} Hz reaches outside the spectrum, which holds {frequency_hz[0]:g} to"
            f" {frequency_hz[-1]:g} Hz; choose a narrower band or a recording at a higher rate"
        )
    left = np.clip(frequency_hz[:-1], low, high)
    right = np.clip(frequency_hz[1:], low, high)
    node_hz = (left + right)[:, None] / 2 + (right - left)[:, None] / 2 * _NODES
    share = (node_hz - frequency_hz[:-1, None]) / np.diff(frequency_hz)[:, None]
    x = (node_hz - (low + high) / 2) / ((high - low) / 2)
    weights = np.zeros((n_orders, frequency_hz.size))
    for order in range(n_orders):
        node = (right - left)[:, None] * _NODE_WEIGHTS * x**order
        weights[order, :-1] += np.sum(node * (1 - share), axis=1)
        weights[order, 1:] += np.sum(node * share, axis=1)
    return weights


def weighted_sums(rows: Rows, weights: Rows) -> Rows:
    """Sums of each row (r, m) under each weight (k, m), shape (r, k), added in a fixed order without BLAS."""
    found: Rows = np.einsum("rm,km->rk", rows, weights, optimize=False)
    return found


def from_sums(sums: Rows, band_hz: tuple[float, float]) -> Rows:
    r"""Mean, SD, skewness and excess kurtosis (r, 4) from the sums of orders 0 to 4 (r, 5) of `quadrature`.

    :math:`M1 = \sum f P / \sum P`, :math:`SD^2 = \sum (f-M1)^2 P / \sum P`,
    :math:`M3 = \sum (f-M1)^3 P / (SD^3 \sum P)`, :math:`M4 = \sum (f-M1)^4 P / (SD^4 \sum P) - 3`. A row without
    power gives NaN.
    """
    low, high = band_hz
    half = (high - low) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        raw = sums[:, 1:] / np.where(sums[:, :1] > 0, sums[:, :1], np.nan)
        mean = raw[:, 0]
        variance = raw[:, 1] - mean**2
        third = raw[:, 2] - 3 * mean * raw[:, 1] + 2 * mean**3
        fourth = raw[:, 3] - 4 * mean * raw[:, 2] + 6 * mean**2 * raw[:, 1] - 3 * mean**4
        spread = np.sqrt(np.where(variance > 0, variance, np.nan))
        shape = [third / spread**3, fourth / spread**4 - 3]
    return np.stack([(low + high) / 2 + half * mean, half * spread, *shape], axis=1)


def power_and_mean(rows: Rows, weights: Rows, band_hz: tuple[float, float]) -> tuple[Rows, Rows]:
    """Power and spectral mean in Hz, each (r,), of rows (r, m) under the weights of `quadrature`; NaN without power."""
    power, first = weighted_sums(rows, weights[:2]).T
    low, high = band_hz
    with np.errstate(invalid="ignore", divide="ignore"):
        return power, (low + high) / 2 + (high - low) / 2 * (first / np.where(power > 0, power, np.nan))


def moments(
    spectrum: Spectrum, band_hz: tuple[float, float], weighting: Literal["power", "amplitude"] = "power"
) -> dict[str, float]:
    """Spectral mean, standard deviation (Hz), skewness and excess kurtosis of a spectrum over a band.

    Parameters
    ----------
    spectrum : Spectrum
        Power densities at rising frequencies.
    band_hz : tuple of float
        Lower and upper limit in Hz, both inside the spectrum.
    weighting : {"power", "amplitude"}
        What weighs each frequency: the power density or its square root.

    Returns
    -------
    dict of str to float
        Under the keys ``centroid_hz``, ``sd_hz``, ``skewness``, ``excess_kurtosis``; NaN without power in the band.

    Raises
    ------
    MethodError
        When the band reaches outside the spectrum.

    Notes
    -----
    Equations in `from_sums`; Forrest et al. (1988), JASA 84:115-123 (from memory).

    Examples
    --------
    A flat band from 1 to 15 kHz has its mean in the middle and a standard deviation of 14000 / sqrt(12) Hz.

    >>> from sibilant.terms import Spectrum
    >>> flat = Spectrum(np.linspace(0, 22050, 442), np.ones(442), "exact")
    >>> {key: round(value, 3) + 0.0 for key, value in moments(flat, (1000, 15000)).items()}
    {'centroid_hz': 8000.0, 'sd_hz': 4041.452, 'skewness': 0.0, 'excess_kurtosis': -1.2}
    """
    density = spectrum.power_density if weighting == "power" else np.sqrt(spectrum.power_density)
    sums = weighted_sums(density[np.newaxis], quadrature(spectrum.frequency_hz, band_hz))
    values = from_sums(sums, band_hz)[0]
    return dict(zip(MOMENT_KEYS, (float(value) for value in values), strict=True))


MOMENT_KEYS = ("centroid_hz", "sd_hz", "skewness", "excess_kurtosis")
