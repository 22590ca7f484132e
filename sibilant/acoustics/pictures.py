"""Levels over time and frequency, for pictures only: nothing is measured from them."""

from __future__ import annotations

import numpy as np

from ..errors import MethodError
from ..terms import Interval, Recording
from .tapers import Rows, taper_set

FLOOR_DB = -160.0  # silence is drawn as this


def spectrogram(
    recording: Recording,
    interval: Interval | None = None,
    band_hz: tuple[float, float] | None = None,
    *,
    window_ms: float = 8.0,
    n_times: int = 400,
) -> tuple[Rows, Rows, Rows]:
    """Power spectral density in dB over time and frequency.

    Parameters
    ----------
    recording : Recording
        The sound.
    interval : Interval, optional
        The stretch to show; the whole recording without it.
    band_hz : tuple of float, optional
        Lowest and highest frequency, up to half the sampling rate.
    window_ms : float
        Length of the Hann window; 8 ms shows onsets, 25 ms harmonics.
    n_times : int
        About how many columns; never closer than a sample.

    Returns
    -------
    times_s, frequency_hz, level_db
        Shapes (t,), (f,), (t, f); level in dB re full scale squared per Hz, not below -160.

    Raises
    ------
    MethodError
        When the stretch holds less than one window, or the band no frequency.

    Examples
    --------
    >>> from sibilant.terms import Source
    >>> noise = np.random.default_rng(1).standard_normal(4410).astype(np.float32) / 8
    >>> times_s, frequency_hz, level_db = spectrogram(Recording(noise, 44100, Source("buffer", "")), n_times=50)
    >>> level_db.shape == (times_s.size, frequency_hz.size)
    True
    """
    from scipy.fft import next_fast_len, rfft

    rate = recording.sampling_rate_hz
    stretch = interval or Interval(0.0, recording.duration_s)
    samples = recording.cut(stretch)
    n_window = max(8, round(window_ms * rate / 1000))
    if samples.size < n_window:
        raise MethodError(
            f"a picture with a window of {window_ms:g} ms needs a longer stretch than {1000 * samples.size / rate:.1f}"
            " ms; choose a shorter window"
        )
    hop = max(1, (samples.size - n_window) // max(1, n_times - 1))
    starts = np.arange(0, samples.size - n_window + 1, hop)
    n_fft = int(next_fast_len(2 * n_window))
    taper = taper_set("hann", n_window, 1, 1.0)[0]
    frames = np.lib.stride_tricks.sliding_window_view(samples, n_window)[starts] * taper
    power = np.abs(rfft(frames, n=n_fft, axis=-1)).astype(np.float64) ** 2 * (2 / rate)
    frequency_hz: Rows = np.arange(n_fft // 2 + 1, dtype=np.float64) * (rate / n_fft)
    low, high = band_hz or (0.0, rate / 2)
    kept = (frequency_hz >= low) & (frequency_hz <= high)
    if not kept.any():
        raise MethodError(f"no frequency lies between {low:g} and {high:g} Hz at {rate} Hz sampling; widen the band")
    first = max(0, round(stretch.onset_s * rate))
    times_s = (first + starts + n_window / 2) / rate
    level_db: Rows = 10 * np.log10(np.maximum(power[:, kept], 10 ** (FLOOR_DB / 10)))
    return times_s, frequency_hz[kept], level_db
