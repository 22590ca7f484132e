"""The spectrum of one stretch under a method, and levels over time and frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .. import acoustics, methods
from ..errors import UsageError
from ..terms import Interval, Recording, Spectrum
from .sound import SoundLike, recording_of

Values = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Spectrogram:
    """Levels for a picture: ``time_s`` (t,), ``frequency_hz`` (f,), ``level_db`` (t, f) re full scale squared per Hz.

    Nothing is measured from it.

    Examples
    --------
    >>> import numpy as np
    >>> Spectrogram(np.array([0.0, 0.01]), np.array([0.0, 4000.0]), np.zeros((2, 2)))
    Spectrogram(0.00 to 0.01 s, 0 to 4000 Hz, level_db (2, 2))
    """

    time_s: Values
    frequency_hz: Values
    level_db: Values

    def __repr__(self) -> str:
        span = f"{self.time_s[0]:.2f} to {self.time_s[-1]:.2f} s, {self.frequency_hz[0]:.0f} to"
        return f"Spectrogram({span} {self.frequency_hz[-1]:.0f} Hz, level_db {self.level_db.shape})"


def spectrum(
    sound: SoundLike,
    onset_s: float,
    offset_s: float,
    *,
    method: str = "house-15k",
    sampling_rate_hz: int | None = None,
    channel: int | None = None,
) -> Spectrum:
    """Average power spectrum of a stretch, as a method takes it.

    Parameters
    ----------
    sound : path, array or Recording
        As for ``measure``.
    onset_s, offset_s : float
        The stretch, in seconds from the start of the recording.
    method : str
        Decides windows, tapers and pre-emphasis (see ``list_methods``).
    sampling_rate_hz : int, optional
        The rate of an array, in Hz.
    channel : int, optional
        Which channel of a file that has several, from 1.

    Returns
    -------
    Spectrum
        ``frequency_hz`` (m,) up to half the sampling rate, ``power_density`` (m,) in full scale squared per Hz.

    Raises
    ------
    UsageError
        When the stretch does not lie in the recording.
    InputError
        When the sound can't be read, or no method has that name.

    Notes
    -----
    docs/methods.md holds the estimator (multitaper, Welch or one window, by the method) with its source.

    Examples
    --------
    White noise has the same density everywhere, its power spread over half the rate: here 0.01 over 22,050 Hz.

    >>> import numpy as np
    >>> noise = 0.1 * np.random.default_rng(1).standard_normal(44100)
    >>> flat = spectrum(noise, 0.2, 0.8, sampling_rate_hz=44100)
    >>> round(float(np.mean(flat.power_density)) * 22050, 3)
    0.01
    """
    recording = recording_of(sound, sampling_rate_hz, channel)
    return acoustics.spectrum(recording, _inside(recording, onset_s, offset_s), methods.get_method(method))


def spectrogram(
    sound: SoundLike,
    onset_s: float = 0.0,
    offset_s: float | None = None,
    *,
    top_hz: float | None = None,
    sampling_rate_hz: int | None = None,
    channel: int | None = None,
) -> Spectrogram:
    """Levels over time and frequency of a stretch, for a picture.

    Parameters
    ----------
    sound : path, array or Recording
        As for ``measure``.
    onset_s : float
        Where the stretch begins, in seconds.
    offset_s : float, optional
        Where it ends; the end of the recording without it.
    top_hz : float, optional
        Highest frequency, in Hz; half the sampling rate without it.
    sampling_rate_hz : int, optional
        The rate of an array, in Hz.
    channel : int, optional
        Which channel of a file that has several, from 1.

    Returns
    -------
    Spectrogram
        ``time_s`` (t,), ``frequency_hz`` (f,), ``level_db`` (t, f).

    Raises
    ------
    UsageError
        When the stretch does not lie in the recording.
    InputError
        When the sound can't be read, or the stretch is too short.

    Notes
    -----
    For looking at only (docs/charts.md); figures come from ``spectrum`` and ``measure``.

    Examples
    --------
    >>> import sibilant as sib
    >>> shown = sib.spectrogram(sib.reference_sounds() / "ktuberling-stick.ogg", top_hz=8000)
    >>> shown.level_db.shape == (shown.time_s.size, shown.frequency_hz.size), shown.frequency_hz[-1] <= 8000
    (True, np.True_)
    """
    recording = recording_of(sound, sampling_rate_hz, channel)
    stretch = _inside(recording, onset_s, recording.duration_s if offset_s is None else offset_s)
    top = min(recording.sampling_rate_hz / 2, top_hz or np.inf)
    return Spectrogram(*acoustics.spectrogram(recording, stretch, (0.0, float(top))))


def _inside(recording: Recording, onset_s: float, offset_s: float) -> Interval:
    if not 0 <= onset_s < offset_s <= recording.duration_s + 0.001:
        raise UsageError(
            f"{onset_s:g} to {offset_s:g} s is no stretch of a recording of {recording.duration_s:.3f} s; give an onset"
            " before an offset, both inside"
        )
    return Interval(onset_s, offset_s)
