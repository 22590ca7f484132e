"""A stretch of a recording and a method in, the values that a picture of one sound shows out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .. import acoustics
from ..terms import Interval, Method, Recording


@dataclass(frozen=True, slots=True, eq=False)
class StripValues:
    """Values for a picture of one sound: ``level_db`` (frequencies, times) and a spectrum in the method's band."""

    time_s: npt.NDArray[np.float64]
    frequency_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float64]
    spectrum_hz: npt.NDArray[np.float64] | None = None
    spectrum_db: npt.NDArray[np.float64] | None = None


def strip_values(
    recording: Recording, view: Interval, sound: Interval | None, method: Method, *, top_hz: float
) -> StripValues:
    """Return what a picture of one sound shows: levels over time of ``view``, and the spectrum of ``sound`` if any."""
    time_s, frequency_hz, by_time = acoustics.spectrogram(recording, view, band_hz=(0.0, top_hz))
    if sound is None:
        return StripValues(time_s, frequency_hz, by_time.T)
    spectrum = acoustics.spectrum(recording, sound, method)
    low, high = method.band_hz
    inside = (spectrum.frequency_hz >= low) & (spectrum.frequency_hz <= high)
    level_db = 10.0 * np.log10(np.maximum(spectrum.power_density[inside], 1e-20))
    return StripValues(time_s, frequency_hz, by_time.T, spectrum.frequency_hz[inside], level_db)
