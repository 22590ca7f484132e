"""How many independent pieces an averaged spectrum rests on, where the sound rises, falls, flutters or glides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .setup import Setup, fast_length
from .tapers import Rows, summed_energy

if TYPE_CHECKING:
    import numpy.typing as npt


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """Where a spectrum was taken: frames ``grid`` (g, m) from ``starts`` (g,) of ``samples``, with ``shares`` (g,)."""

    samples: npt.NDArray[np.float32]
    starts: tuple[int, ...]
    shares: Rows
    grid: Rows


def variance_density(grid: Rows, shares: Rows, setup: Setup) -> Rows:
    r"""Variance density (m,) of an average of frames (g, m) taken with some shares (g,), per Hz.

    :math:`v(f) = \sum_{ab} s_a s_b R_{ab} P_a(f) P_b(f) / (1 + R_{ab} / W)`, with :math:`R_{ab}` what the tapers of
    two frames hear in common (per second) and W the width of a stretch of spectrum that fluctuates as one; the divisor
    takes out what an estimated :math:`P_a P_b` is too large by. The variance of a sum :math:`\int g P` is
    :math:`\int g^2 v`. For a steady sound v is :math:`P^2 / T` with T the effective time; a frame that holds more of
    the energy counts by its energy squared, and a sound that glides by the narrow spectra that it has at each moment.
    """
    shared = shares[:, np.newaxis] * grid
    total = np.zeros(grid.shape[1])
    for lag, common in enumerate(setup.overlaps_hz[: len(grid)]):
        part = np.sum(shared[: len(grid) - lag] * shared[lag:], axis=0)
        total += part * ((1.0 if lag == 0 else 2.0) * common / (1 + common / setup.correlation_hz))
    return total


def variance_densities(region: Region, setup: Setup) -> tuple[Rows, Rows]:
    """Variance densities (m,) of a region's averaged spectrum, from its frames and from its finest resolution.

    The frames see how the sound moves and blur it by the tapers' bandwidth; the finest resolution sees a narrow ridge
    as narrow as it is. Both are widened by flutter faster than a frame. A sum's variance is the larger of the two.
    """
    coarse = variance_density(region.grid, region.shares, setup)
    heard = summed_energy(setup.taper_key, tuple(s - region.starts[0] for s in region.starts), tuple(region.shares))
    samples = region.samples[region.starts[0] : region.starts[0] + heard.size]
    mean: Rows = np.sum(region.shares[:, np.newaxis] * region.grid, axis=0)
    factor = flutter(samples, heard, mean, coarse, setup)
    return factor * coarse, factor * _finest(samples, heard, setup)


def flutter(samples: npt.NDArray[np.float32], energy: Rows, mean: Rows, density: Rows, setup: Setup) -> float:
    r"""Factor (1 or more) by which flutter faster than a frame widens an interval's variance.

    With y the squared envelope of the band and e the tapers' summed energy (both (n,)),
    :math:`\sum e^2 y^2 / (2 (\sum e y)^2)` is one over the number of independent samples, corrected for what the
    squared sum is too large by; it is set
    against what ``density`` (m,), the variance density, gives for the averaged spectrum ``mean`` (m,).
    """
    weights = setup.moment_weights[0]
    power = float(np.sum(mean * weights))
    squares = float(np.sum(mean**2 * weights))
    envelope = _squared_envelope(samples, setup)
    heard = float(np.sum(energy * envelope))
    if not (power > 0 and squares > 0 and heard > 0):
        return 1.0
    seen = float(np.sum(density * weights)) / squares
    fourth = float(np.sum(energy**2 * envelope**2)) / 2 / heard**2 * setup.rate_hz
    return max(1.0, fourth * (1 + seen * squares / power**2) / seen)


def _squared_envelope(samples: npt.NDArray[np.float32], setup: Setup) -> Rows:
    """Squared magnitude of the analytic signal of the method's band, (n,)."""
    from scipy.fft import ifft, rfft

    n_fft = fast_length(samples.size)
    low, high = (int(edge * n_fft / setup.rate_hz) for edge in setup.method.band_hz)
    transform = np.zeros(n_fft, dtype=np.complex64)
    transform[low : high + 1] = rfft(samples, n_fft)[low : high + 1]
    analytic = ifft(transform, overwrite_x=True)[: samples.size]
    found: Rows = analytic.real.astype(np.float64) ** 2 + analytic.imag.astype(np.float64) ** 2
    return found


def _finest(samples: npt.NDArray[np.float32], energy: Rows, setup: Setup) -> Rows:
    r"""Half the squared periodogram of the region over its effective time, averaged into the setup's bins, (m,).

    A periodogram I has :math:`E[I^2] = 2 P^2`, whatever the resolution.
    """
    from scipy.fft import rfft

    fold = -(-samples.size // setup.n_fft)
    transform = rfft(samples * np.sqrt(energy).astype(np.float32), fold * setup.n_fft)
    squared = (transform.real.astype(np.float64) ** 2 + transform.imag.astype(np.float64) ** 2) ** 2
    running = np.concatenate([[0.0], np.cumsum(squared)])
    centre = np.arange(*setup.bins) * fold
    low, high = np.maximum(centre - fold // 2, 0), np.minimum(centre - fold // 2 + fold, squared.size)
    density: Rows = (running[high] - running[low]) / (high - low) * (2.0 / setup.rate_hz * setup.gain) ** 2
    return density / 2 * float(np.sum(energy**2)) * setup.rate_hz
