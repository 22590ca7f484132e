"""The ear's frequency scale and its filters: ERB numbers and the excitation pattern of a gammatone bank."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .tapers import Rows

if TYPE_CHECKING:
    import numpy.typing as npt

ERB_STEP = 0.25  # four filters an ERB (common practice, no source)
GAMMATONE_ORDER = 4  # the usual order of the gammatone for hearing
GAMMATONE_WIDTH = 1.019
"""Bandwidth of a fourth-order gammatone filter in ERB (Patterson et al. 1992, from memory)."""


def erb_number(frequency_hz: npt.ArrayLike) -> Rows:
    r"""ERB number (Cam) of a frequency: :math:`21.4 \log_{10}(1 + 4.37 f / 1000)`.

    Glasberg & Moore (1990), Hearing Research 47:103-138 (from memory).

    Examples
    --------
    >>> float(erb_number(1000.0).round(3))
    15.621
    """
    return 21.4 * np.log10(1 + 4.37e-3 * np.asarray(frequency_hz, dtype=np.float64))


def frequency_of_erb_number(number: npt.ArrayLike) -> Rows:
    """Frequency in Hz of an ERB number, the inverse of `erb_number`."""
    return (10 ** (np.asarray(number, dtype=np.float64) / 21.4) - 1) / 4.37e-3


def erb_hz(frequency_hz: npt.ArrayLike) -> Rows:
    r"""Equivalent rectangular bandwidth in Hz: :math:`24.7 (1 + 4.37 f / 1000)`.

    Glasberg & Moore (1990) (from memory).

    Examples
    --------
    >>> float(erb_hz(1000.0).round(3))
    132.639
    """
    return 24.7 * (1 + 4.37e-3 * np.asarray(frequency_hz, dtype=np.float64))


def gammatone_power(frequency_hz: npt.ArrayLike, centre_hz: npt.ArrayLike) -> Rows:
    r"""Power gain of a gammatone filter, :math:`(1 + ((f - f_c) / b)^2)^{-4}` with :math:`b = 1.019\,ERB(f_c)`.

    The magnitude of a fourth-order gammatone near its centre (Patterson et al. 1992, from memory). Shapes broadcast.
    """
    centre = np.asarray(centre_hz, dtype=np.float64)
    distance = (np.asarray(frequency_hz, dtype=np.float64) - centre) / (GAMMATONE_WIDTH * erb_hz(centre))
    return (1 + distance**2) ** -GAMMATONE_ORDER


def excitation_weights(frequency_hz: Rows, band_hz: tuple[float, float]) -> tuple[Rows, Rows]:
    """ERB numbers (c,) a quarter apart through the band, and the filters' gains (c, m), zero outside the band.

    The excitation of a filter is its gain summed against the power density.
    """
    low, high = erb_number(np.array(band_hz))
    numbers = np.arange(np.ceil(low / ERB_STEP), np.floor(high / ERB_STEP) + 1) * ERB_STEP
    centres = frequency_of_erb_number(numbers)[:, np.newaxis]
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    return numbers, gammatone_power(frequency_hz[np.newaxis], centres) * inside
