"""How much of a sibilant is voiced, by the periodicity of its low band."""

from __future__ import annotations

import warnings

import numpy as np

from ..terms import Interval, Recording
from .tapers import Rows

LOW_RATE_HZ = 4000
"""The sound is brought down to this rate, so that hiss does not hide the voice below it."""
BLOCK = 40
"""Samples at the low rate that are a whole number of samples at every usual rate."""
CONTEXT_S = 0.08
STEP_S = 0.005
FLOOR_HZ = 75.0
CEILING_HZ = 600.0


def voiced_share(recording: Recording, interval: Interval) -> float | None:
    """Share of the stretch during which the sound below 2 kHz is periodic, 0 to 1, or None for silence.

    Autocorrelation method of Boersma (1993), through parselmouth, on the stretch and 80 ms either side, brought down
    to 4 kHz; a frame is voiced where a period of 75 to 600 Hz is found and not silent against the loudest frame.
    """
    import parselmouth

    low, begin_s = _low_band(recording, interval)
    if low.size < 4 * LOW_RATE_HZ / FLOOR_HZ or not np.any(low):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", category=DeprecationWarning)
        pitch = parselmouth.Sound(low, LOW_RATE_HZ, begin_s).to_pitch_ac(
            time_step=STEP_S, pitch_floor=FLOOR_HZ, pitch_ceiling=CEILING_HZ, silence_threshold=0.05
        )
    times = pitch.xs()
    inside = (times >= interval.onset_s) & (times <= interval.offset_s)
    if not inside.any():
        return None
    return float(np.mean(pitch.selected_array["frequency"][inside] > 0))


def _low_band(recording: Recording, interval: Interval) -> tuple[Rows, float]:
    """The stretch with its context at the low rate, by cutting its transform, and the time of its first sample."""
    from scipy.fft import irfft, rfft

    from .setup import fast_length

    rate = recording.sampling_rate_hz
    begin = max(0, round((interval.onset_s - CONTEXT_S) * rate))
    end = min(recording.samples.size, round((interval.offset_s + CONTEXT_S) * rate))
    n_out = fast_length(int((end - begin) * LOW_RATE_HZ / rate) // BLOCK + 1) * BLOCK
    n_in = round(n_out * rate / LOW_RATE_HZ)
    transform = rfft(recording.samples[begin:end].astype(np.float64), n_in)[: n_out // 2 + 1]
    low: Rows = irfft(transform, n_out) * (n_out / n_in)
    return low[: int((end - begin) * LOW_RATE_HZ / rate)], begin / rate
