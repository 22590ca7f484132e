"""Whether a stretch of sound that has just been said can be used at all, told at once in one plain line."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from ..levels.ranks import percentile

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
DROPOUT_MS = 3.0  # as in the whole recording's check (samples, signs), as are the next two
FULL_SCALE = 0.999  # share of the largest that counts as full
CLIPPED_RUN = 3  # samples in a row at it
FRAME_MS = 20.0  # levels of the take, common practice, no source
LEAST_OVER_ROOM_DB = 12.0  # quieter than this over the room the word is asked for again
LEAST_PEAK_DB = -50.0  # and quieter than this of full scale
FLOOR_DB = -120.0  # silence is told as this
Samples = npt.NDArray[np.float32]


def spoilt(samples: Samples, sampling_rate_hz: int) -> str:
    """Return why a word must be said again, or nothing.

    Looked for: runs of exact zeros of 3 ms or more (sound that was lost on the way, which no programming interface
    reports), flat tops of three or more samples at full scale, and a loudest 60 ms that is under -50 dB of full scale
    or less than 12 dB over the room. The thresholds are our own.

    Parameters
    ----------
    samples : array (n,) of float32
        One channel.
    sampling_rate_hz : int
        Its rate.

    Examples
    --------
    >>> noise = 0.01 * np.random.default_rng(1).standard_normal(44100).astype(np.float32)
    >>> noise[20000:30000] *= 20
    >>> spoilt(noise, 44100)
    ''
    >>> noise[25000:25200] = 0
    >>> spoilt(noise, 44100)[:22]
    '5 ms of sound were los'
    """
    if not np.any(samples):
        return "no sound arrives: the microphone is muted or another one is meant; look at the system's sound settings"
    lost = longest_run(samples == 0)
    lost_ms = 1000.0 * lost / sampling_rate_hz
    if lost_ms >= DROPOUT_MS:
        return f"{lost_ms:.0f} ms of sound were lost on the way from the microphone; please say it again"
    if longest_run(np.abs(samples) >= FULL_SCALE * max(1.0, float(np.abs(samples).max()))) >= CLIPPED_RUN:
        return "too loud: the tops are cut off; move the microphone away or turn its level down, and say it again"
    loud_db, room_db = levels_db(samples, sampling_rate_hz)
    if loud_db < LEAST_PEAK_DB:
        return "too quiet for the microphone; come nearer or turn its level up, and say it again"
    if loud_db - room_db < LEAST_OVER_ROOM_DB:
        return "no word stands clear of the room's noise; say it again, or skip it with S"
    return ""


def longest_run(held: npt.NDArray[np.bool_]) -> int:
    """Return the length of the longest run of true values.

    Examples
    --------
    >>> longest_run(np.array([True, False, True, True]))
    2
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[0::2]).max(initial=0))


def levels_db(samples: Samples, sampling_rate_hz: int) -> tuple[float, float]:
    """Return the level of the loudest 60 ms and of the room (the quietest tenth of 20 ms frames), dB of full scale."""
    n_frame = max(1, round(FRAME_MS * sampling_rate_hz / 1000))
    n_frames = samples.size // n_frame
    if n_frames < 3:
        power = float(np.mean(np.square(samples, dtype=np.float64)))
        return _db(power), FLOOR_DB
    frames = samples[: n_frames * n_frame].reshape(n_frames, n_frame).astype(np.float64)
    power_of = np.mean(np.square(frames - frames.mean(axis=1, keepdims=True)), axis=1)
    loud = np.convolve(power_of, np.full(3, 1 / 3), "valid").max()
    return _db(float(loud)), _db(percentile(power_of, 10))


def _db(power: float) -> float:
    return max(FLOOR_DB, 10.0 * math.log10(max(power, 1e-12)))
