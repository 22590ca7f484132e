"""Where a frication begins and ends: the boundary criterion of ``docs/boundaries.md`` at a resolution below 1 ms."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..levels.fine import FineLevels
from ..levels.ranks import percentile
from ..terms import Edge, Interval
from ..terms.vocabulary import AFFRICATES, VOICED
from .release import after_release
from .silence import silence_edge
from .track import CORE_DROP_DB, Beyond, Found, Track, against_voice, crossing, smoothed, track, voiced_level
from .voicing import gap_before_voice, into_voice, out_of_voice, voice_start

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
BASE_MS = {"silence": 7.0, "voiced": 6.0, "release": 7.0, "frication": 10.0, "edge_of_recording": 7.0}
"""Half-width of an edge by what is beside it: holds three in four hand marks (docs/boundaries.md)."""
AT_ONCE_MS = 10.0  # a voice that begins so soon after the edge begins at it
VOICED_REACH_DB = 24.0  # what is quieter than this below the loudest voice is no voice
VOICE_OVER_FLOOR_DB = 7.0  # and what is nearer than this to the floor
VOICED_FRICTION_DB = 16.0  # level below the voice at which friction beside a voiceless phone ends
VOICED_PHONE_FRICTION_DB = 25.0  # the same beside a voiced one
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})


@dataclass(frozen=True, slots=True)
class Bounds:
    """The edges of one frication with its core, plateau (dB), and the band that was followed."""

    onset: Edge
    offset: Edge
    core: Interval
    plateau_db: float
    band_hz: tuple[float, float]


def bounds_of(fine: FineLevels, seed: slice, limits: slice, beyond: Beyond) -> Bounds:
    """Bound the frication that fills the frames ``seed``, looking no further than ``limits``."""
    way = _settled(track(fine, seed), limits)
    loudest = voiced_level(way)
    onset = onset_edge(fine, way, limits.start, beyond, loudest)
    offset = offset_edge(fine, way, min(limits.stop, fine.n_frames) - 1, beyond, loudest)
    if offset.frame < onset.frame:
        onset = Found(float(way.first), onset.beside, onset.floor_limited)
        offset = Found(float(max(way.last, way.first)), offset.beside, offset.floor_limited)
    begin, end = fine.time_of(onset.frame), fine.time_of(offset.frame)
    return Bounds(
        _edge(way, onset, begin), _edge(way, offset, end), _core(fine, way, begin, end), way.plateau_db, way.band_hz
    )


def _settled(way: Track, limits: slice) -> Track:
    """Take the plateau over the whole token, ramps included, once these are known roughly."""
    begin = int(silence_edge(way, -1, max(limits.start, way.first - 60)).frame)
    end = int(silence_edge(way, 1, min(limits.stop, way.high.size, way.last + 60) - 1).frame)
    return replace(way, plateau_db=percentile(way.high[begin : end + 1], 75))


def onset_edge(fine: FineLevels, way: Track, limit: int, beyond: Beyond, loudest_db: float) -> Found:
    """Onset: out of silence, out of a voiced sound, or where a release gives way to steady frication."""
    silence = silence_edge(way, -1, limit)
    begin = max(limit, min(int(silence.frame), way.first) - 15, way.first - 80)
    before = slice(begin, way.first + 1)
    least = max(loudest_db - VOICED_REACH_DB, way.low_floor_db + VOICE_OVER_FLOOR_DB)
    voiced = (way.low[before] > least) & (way.low[before] > way.hiss[before])
    if voiced.sum() >= 5:
        near = against_voice(fine, way, slice(max(limit, way.first - 70), max(way.first - 12, limit + 1)))
        found = out_of_voice(near, max(limit, near.first - 80), silence, beyond)
    else:
        found = silence
    released = beyond.previous_phone in STOPS or beyond.phone in AFFRICATES
    return after_release(fine, way, found) if released else found


def offset_edge(fine: FineLevels, way: Track, limit: int, beyond: Beyond, loudest_db: float) -> Found:
    """Offset: into silence, or where voicing begins, or where a voiced frication sinks into the voice."""
    silence = silence_edge(way, 1, limit)
    stop = min(limit, max(way.last, int(silence.frame)) + 40)
    voice = float(way.steady[way.last : stop + 1].max())
    if voice < max(loudest_db - VOICED_REACH_DB, way.low_floor_db + VOICE_OVER_FLOOR_DB):
        return silence
    noise = percentile(way.low[way.first : way.last + 1], 40)
    reach = VOICED_PHONE_FRICTION_DB if beyond.phone in VOICED else VOICED_FRICTION_DB
    if noise > voice - reach:
        near = against_voice(fine, way, slice(min(way.last + 10, stop), stop + 1))
        return into_voice(near, stop, silence)
    start = voice_start(way, stop, noise, voice)
    if start is None or silence.frame < start - 12:
        return silence
    first = min((Found(start, "voiced"), silence, gap_before_voice(way, start)), key=lambda found: found.frame)
    return Found(first.frame, "voiced") if start - first.frame < AT_ONCE_MS else first


def _core(fine: FineLevels, way: Track, begin_s: float, end_s: float) -> Interval:
    threshold = way.plateau_db - CORE_DROP_DB
    begin = min(max(fine.time_of(crossing(way.high, way.first, -1, threshold, sustained=1)), begin_s), end_s)
    end = min(max(fine.time_of(crossing(way.high, way.last, 1, threshold, sustained=1)), begin), end_s)
    return Interval(begin, end)


def _edge(way: Track, found: Found, time_s: float) -> Edge:
    """Half-width that holds about three in four hand marks: a base by what is beside, and the time 4 dB take there."""
    here = min(max(round(found.frame), 0), way.high.size - 1)
    slope = 0.0
    for line in (way.high, way.low) if found.beside == "voiced" else (way.high,):
        around = smoothed(line, 3, slice(max(0, here - 6), here + 7))
        slope = max(slope, float(np.abs(np.diff(around)).max(initial=0.0)))
    extent = min(max(BASE_MS[found.beside] + 4.0 / max(slope, 0.1), 4.0), 40.0)
    uncertainty = extent * (1.5 if found.floor_limited else 1.0)
    confidence = min(max(1.0 - uncertainty / 60.0, 0.05), 0.99)
    return Edge(time_s, found.beside, uncertainty, confidence, found.floor_limited)
