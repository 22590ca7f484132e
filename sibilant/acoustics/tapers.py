"""Tapers of unit energy, and how much time a set of tapered frames effectively listens to."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt

from ..errors import MethodError

if TYPE_CHECKING:
    from ..terms import Method

Rows: TypeAlias = npt.NDArray[np.float64]
"""Real numbers in double precision."""
TaperKey: TypeAlias = tuple[str, int, int, float]
"""What `taper_set` is asked for: kind, samples, tapers, time-bandwidth."""


def dpss(n_samples: int, time_bandwidth: float, n_tapers: int) -> Rows:
    r"""Discrete prolate spheroidal sequences, most concentrated first, shape (n_tapers, n_samples).

    They are the eigenvectors of the symmetric tridiagonal matrix with diagonal
    :math:`((N-1)/2 - t)^2 \cos(2 \pi W)` and off-diagonal :math:`t (N-t) / 2`, where ``W = time_bandwidth / N``
    (Slepian 1978, Bell System Technical Journal 57:1371-1430, from memory). Each has unit energy; even ones have a
    positive mean and odd ones start with a positive lobe.

    Parameters
    ----------
    n_samples : int
        Length N of each taper.
    time_bandwidth : float
        N W, half the bandwidth in units of 1/N.
    n_tapers : int
        How many tapers, at most N.

    Raises
    ------
    MethodError
        When there are more tapers than samples, or the band is wider than the sampling rate.

    Examples
    --------
    >>> tapers = dpss(200, 4.0, 7)
    >>> tapers.shape, float(np.sum(tapers[0] ** 2).round(6))
    ((7, 200), 1.0)
    """
    from scipy.linalg import eigh_tridiagonal

    if not 0 < n_tapers <= n_samples or not 0 < time_bandwidth < n_samples / 2:
        raise MethodError(
            f"{n_tapers} tapers of time-bandwidth {time_bandwidth:g} need a longer window than {n_samples} samples"
        )
    time = np.arange(n_samples, dtype=np.float64)
    diagonal = ((n_samples - 1) / 2 - time) ** 2 * math.cos(2 * math.pi * time_bandwidth / n_samples)
    beside = time[1:] * (n_samples - time[1:]) / 2
    _, vectors = eigh_tridiagonal(diagonal, beside, select="i", select_range=(n_samples - n_tapers, n_samples - 1))
    tapers: Rows = np.ascontiguousarray(vectors.T[::-1])
    for order, taper in enumerate(tapers):
        sign = (
            taper.sum() if order % 2 == 0 else taper[np.argmax(np.abs(taper[: n_samples // 2]) > 0.3 / n_samples**0.5)]
        )
        if sign < 0:
            taper *= -1
    return tapers


@lru_cache(maxsize=128)
def taper_set(kind: str, n_samples: int, n_tapers: int, time_bandwidth: float) -> npt.NDArray[np.float32]:
    """Tapers of unit energy as read-only float32, shape (k, n_samples); k is 1 for all kinds but ``dpss``.

    Raises
    ------
    MethodError
        When the kind is none of ``dpss``, ``hamming``, ``hann``, ``rectangular``.
    """
    if kind == "dpss":
        tapers = dpss(n_samples, time_bandwidth, n_tapers)
    else:
        tapers = _cosine(kind, n_samples)[np.newaxis]
    energy = np.sum(tapers**2, axis=1)[:, np.newaxis]
    scaled: npt.NDArray[np.float32] = (tapers / np.sqrt(energy)).astype(np.float32)
    scaled.setflags(write=False)
    return scaled


def tapers_of(method: Method, n_samples: int) -> npt.NDArray[np.float32]:
    """The tapers a method uses on a window of ``n_samples``."""
    return taper_set(method.taper, n_samples, method.n_tapers, method.time_bandwidth)


def _cosine(kind: str, n_samples: int) -> Rows:
    pedestal = {"hamming": 0.54, "hann": 0.5, "rectangular": 1.0}.get(kind)
    if pedestal is None:
        raise MethodError(f"no taper is called {kind!r}; known tapers: dpss, hamming, hann, rectangular")
    phase = 2 * np.pi * np.arange(n_samples) / max(1, n_samples - 1)
    return pedestal - (1 - pedestal) * np.cos(phase)


@lru_cache(maxsize=128)
def mean_energy(tapers_key: TaperKey) -> Rows:
    """Energy (n,) with which one frame hears each of its samples, the mean of its tapers'; its sum is 1; read-only."""
    tapers = taper_set(*tapers_key).astype(np.float64)
    energy: Rows = np.sum(tapers**2, axis=0) / tapers.shape[0]
    energy.setflags(write=False)
    return energy


@lru_cache(maxsize=512)
def effective_samples(tapers_key: TaperKey, offsets: tuple[int, ...]) -> float:
    r"""Effective number of samples that frames at these offsets listen to.

    With the summed taper energy :math:`e(t) = \sum_f \sum_k h_k^2(t - t_f) / (K F)`, whose sum is 1, it is
    :math:`N_{eff} = 1 / \sum_t e(t)^2`: the length of a rectangle that averages noise as well.

    Parameters
    ----------
    tapers_key : tuple
        The arguments of `taper_set`.
    offsets : tuple of int
        First sample of each frame, rising from 0.
    """
    energy = mean_energy(tapers_key)
    n = energy.size
    total = np.zeros(offsets[-1] + n)
    for offset in offsets:
        total[offset : offset + n] += energy / len(offsets)
    return float(1.0 / np.sum(total**2))


@lru_cache(maxsize=128)
def shared_energy(tapers_key: TaperKey, hop: int) -> tuple[float, ...]:
    r"""What frames 0, 1, 2 ... hops apart hear in common, :math:`\sum_t e(t) e(t + k h)`, while it is not nothing.

    ``e`` is the tapers' mean energy, whose sum is 1; the first value is one over the effective samples of a frame.

    Parameters
    ----------
    tapers_key : tuple
        The arguments of `taper_set`.
    hop : int
        Samples from one frame to the next.
    """
    energy = mean_energy(tapers_key)
    lags = range(0, energy.size, hop)
    return tuple(float(np.sum(energy[: energy.size - lag] * energy[lag:])) for lag in lags)


@lru_cache(maxsize=128)
def summed_energy(tapers_key: TaperKey, offsets: tuple[int, ...], shares: tuple[float, ...]) -> Rows:
    """Energy (n,) with which frames at some offsets, taken with some shares, hear each sample; sums to 1, read-only."""
    energy = mean_energy(tapers_key)
    total = np.zeros(max(offsets) + energy.size)
    for offset, share in zip(offsets, shares, strict=True):
        total[offset : offset + energy.size] += energy * share
    total.setflags(write=False)
    return total


@lru_cache(maxsize=128)
def blur_squared(tapers_key: TaperKey) -> float:
    r"""Second moment of the tapers' mean spectral window within twice its half width, in (cycles a sample)².

    What the estimator adds to the squared width of a hump.
    """
    tapers = taper_set(*tapers_key).astype(np.float64)
    n_fft = 16 * tapers.shape[1]
    window = np.sum(np.abs(np.fft.fft(tapers, n_fft, axis=1)) ** 2, axis=0)
    frequency = np.fft.fftfreq(n_fft)
    near = np.abs(frequency) <= 2 * tapers_key[3] / tapers.shape[1]
    return float(np.sum(window[near] * frequency[near] ** 2) / np.sum(window[near]))
