"""Where a frication begins and ends: the boundary criterion of ``docs/boundaries.md`` at a resolution below 1 ms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..terms import Edge, Interval
from ..terms.sound import Beside
from .frames import FineLevels, Floats, to_db

SILENCE_DROP_DB = 30.0
ABOVE_FLOOR_DB = 6.0
CORE_DROP_DB = 15.0
OUT_OF_VOICE_DB = 4.0
LOW_BAND_HZ = (150.0, 950.0)
BAND_DEPTH_DB = 18.0
LOWEST_BAND_HZ = 1200.0
NARROWEST_BAND_HZ = 2000.0


@dataclass(frozen=True, slots=True)
class Bounds:
    """The edges of one frication with its plateau (dB), the local floors and the band that was followed."""

    onset: Edge
    offset: Edge
    core: Interval
    plateau_db: float
    floor_db: float
    band_hz: tuple[float, float]
    voiced: bool


@dataclass(frozen=True, slots=True)
class Track:
    """Levels every millisecond: ``high`` in the frication's band, ``low`` at 150 to 950 Hz, with their landmarks."""

    high: Floats
    low: Floats
    plateau_db: float
    first: int
    last: int
    band_hz: tuple[float, float]


def followed_band(fine: FineLevels, seed: slice) -> tuple[float, float]:
    """Band in which a frication stands out: around its strongest part, down to 18 dB below, 2 kHz wide or more."""
    top = 0.95 * float(fine.frequency_hz[-1])
    usable = fine.bins_of(min(LOWEST_BAND_HZ, top / 2), min(top, 15000.0))
    level = fine.power[seed, usable].mean(axis=0)
    rest = np.percentile(fine.power[:, usable], 10, axis=0)
    spectrum = to_db(np.maximum(level - rest, 0.05 * level))
    spectrum = np.convolve(np.pad(spectrum, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
    peak = int(np.argmax(spectrum))
    inside = spectrum > spectrum[peak] - BAND_DEPTH_DB
    first, last = peak, peak
    while first > 0 and inside[first - 1]:
        first -= 1
    while last < inside.size - 1 and inside[last + 1]:
        last += 1
    frequency = fine.frequency_hz[usable]
    low, high = float(frequency[first]), float(frequency[last])
    if high - low < NARROWEST_BAND_HZ:
        middle = (low + high) / 2
        low, high = max(float(frequency[0]), middle - 1000.0), min(float(frequency[-1]), middle + 1000.0)
    return low, high


def track(fine: FineLevels, seed: slice) -> Track:
    """Follow a frication: its band, its plateau (75th percentile above -15 dB) and the reach of its core."""
    band = followed_band(fine, seed)
    high, low = fine.level_db(*band), fine.level_db(*LOW_BAND_HZ)
    first, last = seed.start, seed.stop - 1
    plateau = float(np.percentile(high[seed], 75))
    for _ in range(3):
        strong = np.flatnonzero(high[first : last + 1] > plateau - CORE_DROP_DB) + first
        first, last = int(strong[0]), int(strong[-1])
        plateau = float(np.percentile(high[first : last + 1], 75))
    return Track(high, low, plateau, first, last, band)


VOICED_REACH_DB = 26.0
VOICED_FRICTION_DB = 14.0
VOICE_OUT_OF_NOISE_DB = 8.0
VOICE_START_DB = 17.0
FOOT_MS = 4
FOOT_SLOPE_DB = 1.0
PITCH_SMOOTHING = 8
VOICE_END_DB = 15.0
SUSTAINED_MS = 4
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})


def smoothed(level_db: Floats, width: int) -> Floats:
    """Moving average of the power over ``width`` frames, back in dB: (n,)."""
    power = np.power(10.0, level_db.astype(np.float64) / 10.0)
    left = width // 2
    total = np.cumsum(np.concatenate([[0.0], np.pad(power, (left, width - 1 - left), mode="edge")]))
    return to_db((total[width:] - total[:-width]) / width)


def crossing(level_db: Floats, start: int, step: int, threshold_db: float, *, sustained: int = SUSTAINED_MS) -> float:
    """Fractional frame where a level, followed from ``start`` outwards, first falls below a threshold and stays there.

    ``step`` is -1 or 1; with no crossing, the last frame reached.
    """
    line = level_db[start::step] if step > 0 else level_db[start::-1]
    below = line < threshold_db
    count = np.cumsum(below)
    reach = min(sustained, line.size)
    full = np.concatenate([count[reach - 1 : reach], count[reach:] - count[:-reach]]) == reach
    hits = np.flatnonzero(full)
    if hits.size == 0:
        return float(start + step * (line.size - 1))
    k = int(hits[0])
    if k == 0:
        return float(start)
    above, under = float(line[k - 1]), float(line[k])
    return start + step * (k - 1 + (above - threshold_db) / max(above - under, 1e-6))


@dataclass(frozen=True, slots=True)
class Found:
    """One edge in frames, before it is given as an ``Edge``."""

    frame: float
    beside: Beside
    threshold_db: float
    floor_limited: bool = False


def floor_beside(way: Track, start: int, step: int, reach: int) -> float:
    """Lowest 15 ms mean of the frication band within ``reach`` frames outwards."""
    stop = start + step * reach
    piece = way.high[max(0, min(start, stop)) : max(start, stop) + 1]
    width = min(15, piece.size)
    power = np.convolve(np.power(10.0, piece.astype(np.float64) / 10.0), np.full(width, 1 / width), mode="valid")
    return float(to_db(power.min()))


def silence_edge(way: Track, step: int, limit: int) -> Found:
    """Edge beside silence: 30 dB below the plateau, or 6 dB above the local floor where that is higher."""
    start = way.first if step < 0 else way.last
    reach = abs(limit - start)
    floor = floor_beside(way, start, step, max(reach, 1))
    low, high = way.plateau_db - SILENCE_DROP_DB, floor + ABOVE_FLOOR_DB
    threshold = min(max(low, high), way.plateau_db - 3.0)
    line = way.high[: limit + 1] if step > 0 else way.high[limit:]
    shift = 0 if step > 0 else limit
    frame = crossing(line, start - shift, step, threshold) + shift
    return Found(frame, "silence", threshold, floor_limited=high > low)


def voiced_level(way: Track) -> float:
    """Level of the loudest voice in the stretch, at 150 to 950 Hz."""
    return float(np.percentile(smoothed(way.low, 10), 97))


def onset_edge(way: Track, limit: int, previous_phone: str, loudest_db: float) -> Found:
    """Onset: out of silence, out of a voiced sound, or where a release gives way to steady frication."""
    silence = silence_edge(way, -1, limit)
    begin = max(limit, min(int(silence.frame), way.first) - 15, way.first - 80)
    before = slice(begin, way.first + 1)
    voiced = (way.low[before] > loudest_db - VOICED_REACH_DB) & (way.low[before] > way.high[before])
    if voiced.sum() >= 5:
        return _out_of_voice(way, max(limit, way.first - 60), silence)
    if previous_phone in STOPS:
        return _after_release(way, silence)
    return silence


def _out_of_voice(way: Track, begin: int, silence: Found) -> Found:
    steady = smoothed(way.high, 10)
    own = float(steady[begin : way.first + 1].min())
    threshold = min(max(own + OUT_OF_VOICE_DB, way.plateau_db - SILENCE_DROP_DB), way.plateau_db - 3.0)
    rise = crossing(way.high, way.first, -1, threshold, sustained=1)
    frame = max(rise, silence.frame)
    return Found(frame, "voiced", threshold)


def _after_release(way: Track, silence: Found) -> Found:
    start = int(np.ceil(silence.frame))
    piece = smoothed(way.high, 3)[start : start + 60]
    if piece.size < 8:
        return silence
    burst = int(np.argmax(piece[:12]))
    after = piece[burst : burst + 25]
    dip = burst + int(np.argmin(after)) if after.size else burst
    if piece[burst] - piece[dip] > 3.0:
        return Found(start + dip, "release", float(piece[dip]))
    climb = np.flatnonzero(piece[burst:] > piece[burst] + 3.0)
    if climb.size and climb[0] < 40:
        return Found(start + burst + float(climb[0]), "release", float(piece[burst]) + 3.0)
    return silence


def offset_edge(way: Track, limit: int, loudest_db: float) -> Found:
    """Offset: into silence, or where voicing begins, or where a voiced frication sinks into the voice."""
    silence = silence_edge(way, 1, limit)
    middle = way.first + round(0.4 * (way.last - way.first))
    stop = min(limit, way.last + 80)
    voice = float(smoothed(way.low, 10)[way.last : stop + 1].max())
    if voice < loudest_db - VOICED_REACH_DB:
        return silence
    noise = float(np.percentile(way.low[way.first : way.last + 1], 60))
    if noise > voice - VOICED_FRICTION_DB:
        return _into_voice(way, stop, silence)
    threshold = max(noise + VOICE_OUT_OF_NOISE_DB, voice - VOICE_START_DB)
    top = way.last + int(np.argmax(way.low[way.last : stop + 1]))
    reversed_low = way.low[middle : top + 1]
    frame = middle + crossing(reversed_low, reversed_low.size - 1, -1, threshold, sustained=12)
    frame = _foot(way.low, frame, noise)
    if silence.frame < frame - 12:
        return silence
    return Found(min(frame, silence.frame), "voiced", threshold)


def _foot(low: Floats, frame: float, noise_db: float) -> float:
    """Foot of the steep rise that crosses a threshold at ``frame``: where the first pulse begins."""
    k = int(frame)
    while k > 0 and frame - k < FOOT_MS and low[k] > noise_db + 3.0 and low[k] - low[k - 1] > FOOT_SLOPE_DB:
        k -= 1
    return min(frame, float(k + 1)) if k < int(frame) else frame


def _into_voice(way: Track, stop: int, silence: Found) -> Found:
    steady = smoothed(way.high, PITCH_SMOOTHING)
    own = float(steady[way.last : min(stop, way.last + 50) + 1].min())
    threshold = min(max(own + OUT_OF_VOICE_DB, way.plateau_db - SILENCE_DROP_DB), way.plateau_db - 3.0)
    frame = crossing(steady, way.last, 1, threshold, sustained=1)
    return Found(min(frame, silence.frame), "voiced", threshold)


def bounds_of(fine: FineLevels, seed: slice, limits: slice, *, previous_phone: str = "") -> Bounds:
    """Bound the frication that fills the frames ``seed``, looking no further than ``limits``."""
    way = track(fine, seed)
    loudest = voiced_level(way)
    last_frame = min(limits.stop, fine.n_frames) - 1
    onset = onset_edge(way, limits.start, previous_phone, loudest)
    offset = offset_edge(way, last_frame, loudest)
    core = slice(max(way.first, int(np.floor(onset.frame))), min(way.last, int(np.ceil(offset.frame))))
    begin, end = fine.time_of(onset.frame), max(fine.time_of(offset.frame), fine.time_of(onset.frame))
    core_on = crossing(way.high, max(core.start, way.first), -1, way.plateau_db - CORE_DROP_DB, sustained=1)
    core_off = crossing(way.high, min(core.stop, way.last), 1, way.plateau_db - CORE_DROP_DB, sustained=1)
    core_begin = min(max(fine.time_of(core_on), begin), end)
    core_end = min(max(fine.time_of(core_off), core_begin), end)
    voiced = float(np.percentile(way.low[way.first : way.last + 1], 60)) > loudest - VOICED_FRICTION_DB - 6.0
    return Bounds(
        _edge(fine, way, onset, -1, begin),
        _edge(fine, way, offset, 1, end),
        Interval(core_begin, core_end),
        way.plateau_db,
        min(floor_beside(way, way.first, -1, 150), floor_beside(way, way.last, 1, 150)),
        way.band_hz,
        voiced,
    )


def _edge(fine: FineLevels, way: Track, found: Found, step: int, time_s: float) -> Edge:
    line = way.low if found.beside == "voiced" and step > 0 else way.high
    here = int(np.clip(round(found.frame), 0, line.size - 1))
    around = smoothed(line, 3)[max(0, here - 6) : here + 7]
    slope = float(np.abs(np.diff(around)).max(initial=0.0)) if around.size > 2 else 0.0
    uncertainty = float(np.clip(2.0 + 3.0 / max(slope, 0.1), 2.0, 40.0))
    confidence = float(np.clip(1.0 - uncertainty / 40.0 - 0.15 * found.floor_limited, 0.05, 0.99))
    return Edge(time_s, found.beside, uncertainty, confidence, found.floor_limited)
