"""How many independent pieces an averaged spectrum rests on, where the sound rises, falls, flutters or glides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .setup import Setup, fast_length
from .tapers import Rows, summed_energy

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """Where a spectrum was taken: frames ``grid`` (g, m) from ``starts`` (g,) of ``samples``, with ``shares`` (g,)."""

    samples: npt.NDArray[np.float32]
    starts: tuple[int, ...]
    shares: Rows
    grid: Rows


def variance_density(grid: Rows, shares: Rows, setup: Setup) -> Rows:
    r"""Variance density (..., m) of an average of frames (..., g, m) taken with some shares (g,), per Hz.

    :math:`v(f) = \sum_{ab} s_a s_b R_{ab} P_a(f) P_b(f) / (1 + R_{ab} / W)`, with :math:`R_{ab}` what the tapers of
    two frames hear in common (per second) and W the width of a stretch of spectrum that fluctuates as one; the divisor
    takes out what an estimated :math:`P_a P_b` is too large by. The variance of a sum :math:`\int g P` is
    :math:`\int g^2 v`. For a steady sound v is :math:`P^2 / T` with T the effective time; a frame that holds more of
    the energy counts by its energy squared, and a sound that glides by the narrow spectra that it has at each moment.
    """
    n_frames = shares.size
    shared = shares[:, np.newaxis] * grid
    total = np.zeros_like(grid[..., 0, :])
    for lag, common in enumerate(setup.overlaps_hz[:n_frames]):
        part = np.sum(shared[..., : n_frames - lag, :] * shared[..., lag:, :], axis=-2)
        total += part * ((1.0 if lag == 0 else 2.0) * common / (1 + common / setup.correlation_hz))
    return total


def variance_densities(regions: Sequence[Region], setup: Setup) -> list[tuple[Rows, Rows]]:
    """Variance densities (m,) of each region's averaged spectrum, from its frames and from its finest resolution.

    The frames see how the sound moves and blur it by the tapers' bandwidth; the finest resolution sees a narrow ridge
    as narrow as it is. Both are widened by flutter faster than a frame. A sum's variance is the larger of the two.
    Regions whose frames lie alike are worked on together.
    """
    alike: dict[tuple[tuple[int, ...], tuple[float, ...]], list[int]] = {}
    for place, region in enumerate(regions):
        offsets = tuple(start - region.starts[0] for start in region.starts)
        alike.setdefault((offsets, tuple(region.shares.tolist())), []).append(place)
    found: dict[int, tuple[Rows, Rows]] = {}
    for (offsets, shares), places in alike.items():
        heard = summed_energy(setup.taper_key, offsets, shares)
        pairs = _densities([regions[place] for place in places], heard, setup)
        found.update(zip(places, pairs, strict=True))
    return [found[place] for place in range(len(regions))]


def _densities(regions: Sequence[Region], heard: Rows, setup: Setup) -> list[tuple[Rows, Rows]]:
    """Both densities of each of s regions whose frames lie alike, and so hear their n samples with one energy (n,)."""
    shares = regions[0].shares
    samples = np.stack([region.samples[region.starts[0] : region.starts[0] + heard.size] for region in regions])
    grid = np.stack([region.grid for region in regions])
    coarse = variance_density(grid, shares, setup)
    factor = flutter(samples, heard, np.sum(shares[:, np.newaxis] * grid, axis=1), coarse, setup)[:, np.newaxis]
    return list(zip(factor * coarse, factor * _finest(samples, heard, setup), strict=True))


def flutter(samples: npt.NDArray[np.float32], energy: Rows, mean: Rows, density: Rows, setup: Setup) -> Rows:
    r"""Factors (s,), each 1 or more, by which flutter faster than a frame widens the variances of s intervals.

    With y the squared envelope of the band (s, n) and e the tapers' summed energy (n,),
    :math:`\sum e^2 y^2 / (2 (\sum e y)^2)` is one over the number of independent samples, corrected for what the
    squared sum is too large by; it is set
    against what ``density`` (s, m), the variance density, gives for the averaged spectrum ``mean`` (s, m).
    """
    weights = setup.moment_weights[0]
    power = np.sum(mean * weights, axis=1)
    squares = np.sum(mean**2 * weights, axis=1)
    envelope = _squared_envelope(samples, setup)
    heard = np.sum(energy * envelope, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.sum(density * weights, axis=1) / squares
        fourth = np.sum(energy**2 * envelope**2, axis=1) / 2 / heard**2 * setup.rate_hz
        factor = np.fmax(1.0, fourth * (1 + seen * squares / power**2) / seen)
    return np.where((power > 0) & (squares > 0) & (heard > 0), factor, 1.0)


def _squared_envelope(samples: npt.NDArray[np.float32], setup: Setup) -> Rows:
    """Squared magnitude of the analytic signal of the method's band, (s, n)."""
    from scipy.fft import ifft, rfft

    n_sounds, n_samples = samples.shape
    n_fft = fast_length(n_samples)
    low, high = (int(edge * n_fft / setup.rate_hz) for edge in setup.method.band_hz)
    transform = np.zeros((n_sounds, n_fft), dtype=np.complex64)
    transform[:, low : high + 1] = rfft(samples, n_fft)[:, low : high + 1]
    analytic = ifft(transform, overwrite_x=True)[:, :n_samples]
    found: Rows = analytic.real.astype(np.float64) ** 2 + analytic.imag.astype(np.float64) ** 2
    return found


def _finest(samples: npt.NDArray[np.float32], energy: Rows, setup: Setup) -> Rows:
    r"""Half the squared periodogram of each region over its effective time, averaged into the setup's bins, (s, m).

    A periodogram I has :math:`E[I^2] = 2 P^2`, whatever the resolution.
    """
    from scipy.fft import rfft

    fold = -(-energy.size // setup.n_fft)
    transform = rfft(samples * np.sqrt(energy).astype(np.float32), fold * setup.n_fft)
    squared = (transform.real.astype(np.float64) ** 2 + transform.imag.astype(np.float64) ** 2) ** 2
    running = np.zeros((squared.shape[0], squared.shape[1] + 1))
    np.cumsum(squared, axis=1, out=running[:, 1:])
    centre = np.arange(*setup.bins) * fold
    low, high = np.maximum(centre - fold // 2, 0), np.minimum(centre - fold // 2 + fold, squared.shape[1])
    width = (high - low).astype(np.float64)
    density: Rows = (running[:, high] - running[:, low]) / width * (2.0 / setup.rate_hz * setup.gain) ** 2
    return density / 2 * float(np.sum(energy**2)) * setup.rate_hz
