"""Power spectra of short stretches, and the effective bandwidth read from them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import hann
from ..levels.ranks import nth_highest
from ..terms import Interval, Recording
from .framing import powers, starts_in

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
SPECTRUM_WINDOW_S = 1024 / 44_100  # 1024 samples at 44.1 kHz, common practice, no source; as long at every rate
SMOOTHING_HZ, STRONG_SHARE = 100.0, 0.8  # smoothing of the spectrum, and the rank of frames that stands for it
SOUNDS_AT_ONCE = 20  # for memory; no result depends on it
BANDWIDTH_DROP_DB = 40.0  # what is further below the peak is not held
RIDGE_SMOOTHING_HZ, RIDGE_DB = 1_000.0, 6.0
"""A peak that stands so far above its smoothed surroundings is a line, and left out."""
CLIFF_DB, CLIFF_FLATNESS_DB = 25.0, 8.0  # a fall so deep, with a rest so flat, is a filter's and not a mouth's
LOWEST_CLIFF_HZ = 2_500.0  # no filter of a recorder lies lower


def stretch_spectra(recording: Recording, stretches: Sequence[Interval]) -> Floats:
    """Power (n, m) reached by the strongest fifth of the half-overlapped 23 ms Hann frames of each stretch.

    On a grid of about 11 Hz (``spectrum_grid``, which depends on the rate only), smoothed over 100 Hz. A stretch that
    is shorter than a frame has one, zeros after it.
    """
    rate = recording.sampling_rate_hz
    n_fft, size = grid_size(rate), window_size(rate)
    width = max(1, round(SMOOTHING_HZ / (rate / n_fft)))
    found = np.empty((len(stretches), n_fft // 2 + 1))
    for begin in range(0, len(stretches), SOUNDS_AT_ONCE):
        group = stretches[begin : begin + SOUNDS_AT_ONCE]
        starts = starts_in(recording, group, size)
        blocks = list(powers(recording, starts, hann(size), n_fft))
        power = np.concatenate(blocks or [np.empty((0, found.shape[1]), np.float32)])
        own = np.split(power, np.cumsum([len(each) for each in starts])[:-1])
        for place, (stretch, rows) in enumerate(zip(group, own, strict=True), start=begin):
            found[place] = _reached(rows if len(rows) else _padded(recording.cut(stretch), size, n_fft))
            found[place] = _smoothed(found[place], width)
    return found


def _padded(samples: npt.NDArray[np.float32], size: int, n_fft: int) -> npt.NDArray[np.float32]:
    """Power (1, m) of less than a frame, zeros after it."""
    from scipy import fft

    spectrum = fft.rfft(np.pad(samples, (0, size - samples.size)) * hann(size), n_fft)
    return np.asarray(spectrum.real**2 + spectrum.imag**2)[np.newaxis]


def _reached(power: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Power (m,) that a fifth of the frames (n, m) reach."""
    return nth_highest(power, len(power) - round(STRONG_SHARE * (len(power) - 1)))


def grid_size(rate: int) -> int:
    """Length of the transform: four windows."""
    return 4 * window_size(rate)


def window_size(rate: int) -> int:
    """Length of a window: 23 ms, a multiple of 8, which keeps the transform fast."""
    return 8 * max(1, round(SPECTRUM_WINDOW_S * rate / 8))


def spectrum_grid(rate: int) -> Floats:
    """Frequencies (m,) in Hz of ``stretch_spectra``."""
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
    peak = power.max()
    around = _smoothed(power, max(1, round(RIDGE_SMOOTHING_HZ / frequency_hz[1]))).max()
    if peak >= around * 10 ** (RIDGE_DB / 10):
        peak = around
    above = np.nonzero(power >= peak * 10 ** (-BANDWIDTH_DROP_DB / 10))[0]
    reach = float(frequency_hz[above[-1]])
    if reach < 0.97 * frequency_hz[-1]:
        return reach
    cliff = _cliff(power, frequency_hz)
    return reach if cliff is None else cliff


def _cliff(power: Floats, frequency_hz: Floats) -> float | None:
    """Frequency of the deepest fall within 500 Hz where it is a filter's, or None."""
    quarter = max(1, round(250 / frequency_hz[1]))
    centre = frequency_hz[quarter:-quarter]
    first = int(np.searchsorted(centre, LOWEST_CLIFF_HZ, "right"))
    last = int(np.searchsorted(centre, frequency_hz[-1] - 1_000))
    if last <= first:
        return None
    fall = power[first:last] / power[first + 2 * quarter : last + 2 * quarter]
    place = int(np.argmax(fall))
    rest = power[first + place + 2 * quarter : -quarter]
    if fall[place] < 10 ** (CLIFF_DB / 10) or rest.max() > rest.min() * 10 ** (CLIFF_FLATNESS_DB / 10):
        return None
    return float(centre[first + place])


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
