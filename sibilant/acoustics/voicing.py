"""How much of a sibilant is voiced, by the periodicity of its low band."""

from __future__ import annotations

import warnings

import numpy as np
import numpy.typing as npt

from ..levels.ranks import median
from ..terms import Interval, Recording
from .tapers import Rows

LOW_RATE_HZ = 2000
"""The sound is brought down to this rate, so that hiss does not hide the voice below it."""
BLOCK = 40
"""Samples at the low rate that are a whole number of samples at every usual rate."""
CONTEXT_S = 0.1  # read with so much on either side, which the pitch needs
STEP_S = 0.005  # step of the pitch
FLOOR_HZ = 60.0  # voices of men to small children, as in the recording check
CEILING_HZ = 600.0  # children calling
SILENCE = 0.1
"""A frame whose peak lies 20 dB below the loudest one's is not voiced: reverberation of a vowel is not voice."""
VOICING = 0.55
"""Least autocorrelation peak; noise of a narrow band reaches Boersma's usual 0.45."""
PITCH_RATIO = 1.5
"""Voice in a sibilant has the pitch of the voice beside it, by this factor either way."""
NEEDED_BESIDE = 4  # voiced frames beside the sound that its own voice is told by


def voiced_share(recording: Recording, interval: Interval) -> float | None:
    """Share of the stretch during which the sound below 1 kHz is periodic, 0 to 1, or None for silence.

    Autocorrelation method of Boersma (1993), through parselmouth, on the stretch and 100 ms either side, brought down
    to a rate of 2 kHz. A frame every 5 ms is voiced where a period of 60 to 600 Hz is found, the frame is at most 20 dB
    weaker than the loudest, and, where there is voice beside the stretch, the pitch lies within a factor of 1.5 of its
    median.
    """
    import parselmouth

    low, begin_s = _low_band(recording, interval)
    if low.size < 4 * LOW_RATE_HZ / FLOOR_HZ or not np.any(low):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", category=DeprecationWarning)
        pitch = parselmouth.Sound(low, LOW_RATE_HZ, begin_s).to_pitch_ac(
            time_step=STEP_S,
            pitch_floor=FLOOR_HZ,
            pitch_ceiling=CEILING_HZ,
            silence_threshold=SILENCE,
            voicing_threshold=VOICING,
        )
    times = pitch.xs()
    inside = (times >= interval.onset_s) & (times <= interval.offset_s)
    if not inside.any():
        return None
    return float(np.mean(_voiced(pitch.selected_array["frequency"], inside)))


def _voiced(frequency_hz: Rows, inside: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Which frames inside the stretch are voiced at a pitch like that beside it."""
    own, beside = frequency_hz[inside], frequency_hz[~inside]
    beside = beside[beside > 0]
    if beside.size < NEEDED_BESIDE:
        return np.asarray(own > 0)
    usual = median(beside)
    return np.asarray((own > usual / PITCH_RATIO) & (own < usual * PITCH_RATIO))


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
