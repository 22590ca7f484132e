"""Measures in time: duration, core, rise, level against the vowel, share of the word."""

from __future__ import annotations

import math

import numpy as np

from ..levels.ranks import percentile
from ..terms import Interval, Recording, SibilantInterval
from .tapers import Rows

SMOOTHING_S = 0.004  # as the boundary criterion smooths (docs/boundaries.md)
ENVELOPE_STEP_S = 0.00025  # finer than a rise can be
PLATEAU_PERCENTILE = 75.0  # the criterion's plateau (docs/boundaries.md)
RISE_DB = 3.0  # the rise ends so near the plateau (docs/measures.md)
ENVELOPE_FROM_HZ = 2000.0
"""Above the vowel's strong harmonics, below the energy of every sibilant type."""
VOWEL_REACH_S = 0.3  # the vowel is looked for so far on either side
VOWEL_WINDOW_S = 0.03  # its loudest stretch of this length
VOWEL_BLOCKS = 6  # moved in steps of a sixth
VOWEL_MEAN_S = 0.00025  # on means over this
LEAST_POWER = 1e-6  # what is quieter is no vowel


def duration_values(sound: SibilantInterval, word: Interval | None) -> dict[str, float]:
    """Duration, core duration and, where the word is known, the sibilant over the rest of it."""
    interval = sound.interval
    core = (
        Interval(
            min(max(sound.core.onset_s, interval.onset_s), interval.offset_s),
            max(min(sound.core.offset_s, interval.offset_s), interval.onset_s),
        )
        if sound.core.overlap_s(interval) > 0
        else None
    )
    values = {"duration_ms": interval.duration_ms}
    if core is not None:
        values["core_duration_ms"] = core.duration_ms
    if word is not None and word.overlap_s(interval) > 0.5 * interval.duration_s:
        rest_s = word.duration_s - word.overlap_s(interval)
        if rest_s > 0.02:
            values["relative_duration"] = interval.duration_s / rest_s
    return values


def rise_ms(recording: Recording, interval: Interval) -> float | None:
    """Time from the onset to where the level above 2 kHz first comes within 3 dB of its plateau, or None.

    The plateau is the 75th percentile of the level, smoothed over 4 ms, inside the fricative.
    """
    level, step_s = envelope_db(recording, interval)
    if level.size < 2:
        return None
    reached = np.flatnonzero(level >= percentile(level, PLATEAU_PERCENTILE) - RISE_DB)
    return float(1000 * reached[0] * step_s)


def envelope_db(recording: Recording, interval: Interval) -> tuple[Rows, float]:
    """Level of the sound above 2 kHz, smoothed over 4 ms, about every 0.25 ms of the stretch, and the step in s."""
    from scipy.fft import irfft, rfft

    from .setup import fast_length

    rate = recording.sampling_rate_hz
    pad = round(0.01 * rate)
    first, last = round(interval.onset_s * rate), round(interval.offset_s * rate)
    begin, end = max(0, first - pad), min(recording.samples.size, last + pad)
    cut = recording.samples[begin:end]
    if last <= first or cut.size < 2:
        return np.zeros(0), ENVELOPE_STEP_S
    n_fft = fast_length(cut.size + pad)
    transform = rfft(cut, n_fft)
    transform[: math.ceil(ENVELOPE_FROM_HZ * n_fft / rate)] = 0
    power = irfft(transform, n_fft)[: cut.size].astype(np.float64) ** 2
    width = max(1, round(SMOOTHING_S * rate))
    half = width // 2
    running = np.concatenate([[0.0], np.cumsum(power)])
    step = max(1, round(ENVELOPE_STEP_S * rate))
    index = np.arange(first - begin, min(last, end) - begin, step)
    low, high = np.maximum(index - half, 0), np.minimum(index + width - half, power.size)
    smooth = (running[high] - running[low]) / (high - low)
    level: Rows = 10 * np.log10(np.maximum(smooth, 1e-15))
    return level, step / rate


def level_re_vowel_db(recording: Recording, interval: Interval, word: Interval | None) -> float | None:
    """Mean level of the middle half of the sibilant less that of the nearest vowel, in dB, or None.

    The vowel is the 30 ms outside the sibilant with the most sound at low frequencies, within 300 ms of it and inside
    the word where that is known; another sibilant near by has little there and is not taken for it. None where there
    is no such stretch, or where it is weaker than -60 dB re full scale.
    """
    low, high = interval.onset_s - VOWEL_REACH_S, interval.offset_s + VOWEL_REACH_S
    if word is not None:
        low, high = max(low, word.onset_s), min(high, word.offset_s)
    vowel = _vowel_power(recording, interval, low, high)
    quarter = interval.duration_s / 4
    hiss = recording.cut(Interval(interval.onset_s + quarter, interval.offset_s - quarter)).astype(np.float64)
    if vowel < LEAST_POWER or hiss.size == 0:
        return None
    own = float(np.sum(hiss * hiss)) / hiss.size
    return float(10 * np.log10(own / vowel)) if own > 0 else None


def _vowel_power(recording: Recording, interval: Interval, low_s: float, high_s: float) -> float:
    """Mean power of the vowel between two times, 0 without one.

    It is looked for in blocks of 5 ms by the power of means over 0.25 ms, which hold back what lies above 2 kHz.
    """
    rate = recording.sampling_rate_hz
    n_mean = max(1, round(VOWEL_MEAN_S * rate))
    per_block = max(1, round(VOWEL_WINDOW_S / VOWEL_BLOCKS / VOWEL_MEAN_S))
    begin, end = max(0, round(low_s * rate)), min(recording.samples.size, round(high_s * rate))
    n_blocks = (end - begin) // (n_mean * per_block)
    if n_blocks < VOWEL_BLOCKS:
        return 0.0
    cut = recording.samples[begin : begin + n_blocks * n_mean * per_block].astype(np.float64)
    voice = np.einsum("bn->b", cut.reshape(-1, n_mean), optimize=False) / n_mean
    power = _running_power(cut, n_mean * per_block)
    low_power = _running_power(voice, per_block)
    starts_s = (begin + n_mean * per_block * np.arange(power.size)) / rate
    stops_s = starts_s + VOWEL_BLOCKS * n_mean * per_block / rate
    low_power[(stops_s > interval.onset_s) & (starts_s < interval.offset_s)] = -1.0
    best = int(np.argmax(low_power))
    return float(power[best]) if low_power[best] >= 0 else 0.0


def _running_power(samples: Rows, n_block: int) -> Rows:
    """Mean power over six blocks of ``n_block`` samples, from each block on."""
    parts = samples.reshape(-1, n_block)
    blocks = np.einsum("bn,bn->b", parts, parts, optimize=False) / n_block
    n_places = blocks.size - VOWEL_BLOCKS + 1
    total: Rows = blocks[:n_places] + blocks[1 : n_places + 1]
    for k in range(2, VOWEL_BLOCKS):
        total += blocks[k : k + n_places]
    total /= VOWEL_BLOCKS
    return total
