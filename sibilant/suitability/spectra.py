"""Power spectra of short stretches, and the effective bandwidth read from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import hann
from ..levels.ranks import nth_highest

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
SPECTRUM_WINDOW_S = 1024 / 44_100  # 1024 samples at 44.1 kHz, common practice, no source; as long at every rate
SMOOTHING_HZ, STRONG_SHARE = 100.0, 0.8  # smoothing of the spectrum, and the rank of frames that stands for it
BANDWIDTH_DROP_DB = 40.0  # what is further below the peak is not held
RIDGE_SMOOTHING_HZ, RIDGE_DB = 1_000.0, 6.0
"""A peak that stands so far above its smoothed surroundings is a line, and left out."""
CLIFF_DB, CLIFF_FLATNESS_DB = 25.0, 8.0  # a fall so deep, with a rest so flat, is a filter's and not a mouth's
LOWEST_CLIFF_HZ = 2_500.0  # no filter of a recorder lies lower


def stretch_spectrum(samples: npt.NDArray[np.float32], rate: int) -> Floats:
    """Power (m,) reached by the strongest fifth of the half-overlapped 23 ms Hann frames of a stretch.

    On a grid of about 11 Hz (``spectrum_grid``, which depends on the rate only), smoothed over 100 Hz.
    """
    from scipy import fft

    n_fft, size = grid_size(rate), window_size(rate)
    if samples.size < size:
        samples = np.pad(samples, (0, size - samples.size))
    framed = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
    spectrum = fft.rfft(framed * hann(size), n_fft, axis=1)
    power = spectrum.real**2 + spectrum.imag**2
    reached = nth_highest(power, len(power) - round(STRONG_SHARE * (len(power) - 1))).astype(np.float64)
    return _smoothed(reached, max(1, round(SMOOTHING_HZ / (rate / n_fft))))


def grid_size(rate: int) -> int:
    """Length of the transform: four windows."""
    return 4 * window_size(rate)


def window_size(rate: int) -> int:
    """Length of a window: 23 ms, a multiple of 8, which keeps the transform fast."""
    return 8 * max(1, round(SPECTRUM_WINDOW_S * rate / 8))


def spectrum_grid(rate: int) -> Floats:
    """Frequencies (m,) in Hz of ``stretch_spectrum``."""
    grid: Floats = np.asarray(np.fft.rfftfreq(grid_size(rate), 1 / rate), dtype=np.float64)
    return grid


def _smoothed(power: Floats, width: int) -> Floats:
    """Running mean over ``width`` bins (made odd), the ends held."""
    half = width // 2
    total = np.empty(power.size + 2 * half + 2)
    total[: half + 1], total[half + 1 : -half - 1], total[-half - 1 :] = power[0], power, power[-1]
    np.cumsum(total, out=total)
    mean: Floats = (total[2 * half + 1 :] - total[: -(2 * half + 1)])[: power.size] / (2 * half + 1)
    return np.maximum(mean, 1e-30)


def bandwidth_of(power: Floats, frequency_hz: Floats) -> float:
    """Return the highest frequency in Hz at which a sound is within 40 dB of its own peak.

    Where the peak stands 6 dB and more over its own surroundings of 1 kHz, those count in its place, so that the narrow
    ridge of a whistle does not decide.

    Where noise keeps everything within 40 dB, a cliff is looked for as well: a fall of 25 dB within 500 Hz after which
    the level stays flat up to the Nyquist frequency.
    """
    level = 10 * np.log10(power)
    around = 10 * np.log10(_smoothed(power, max(1, round(RIDGE_SMOOTHING_HZ / frequency_hz[1]))).max())
    peak = around if level.max() - around >= RIDGE_DB else level.max()
    above = np.nonzero(level >= peak - BANDWIDTH_DROP_DB)[0]
    reach = float(frequency_hz[above[-1]])
    if reach < 0.97 * frequency_hz[-1]:
        return reach
    cliff = _cliff(level, frequency_hz)
    return reach if cliff is None else cliff


def _cliff(level: Floats, frequency_hz: Floats) -> float | None:
    step = frequency_hz[1]
    quarter = max(1, round(250 / step))
    fall = level[: -2 * quarter] - level[2 * quarter :]
    centre = frequency_hz[quarter:-quarter]
    inside = (centre > LOWEST_CLIFF_HZ) & (centre < frequency_hz[-1] - 1_000)
    if not inside.any():
        return None
    place = int(np.argmax(np.where(inside, fall, -np.inf)))
    rest = level[place + 2 * quarter : -quarter]
    if fall[place] < CLIFF_DB or np.ptp(rest) > CLIFF_FLATNESS_DB:
        return None
    return float(centre[place])


def pooled_bandwidth(bandwidths_hz: Sequence[float]) -> float | None:
    """Bandwidth of the recording: the ninth decile of its sounds', so that sounds low by nature don't decide.

    Examples
    --------
    >>> pooled_bandwidth([9_000.0, 16_000.0, 16_000.0])
    16000.0
    """
    if not bandwidths_hz:
        return None
    return float(np.percentile(bandwidths_hz, 90, method="nearest"))
