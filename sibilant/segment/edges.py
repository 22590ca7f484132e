"""Where a frication begins and ends: the boundary criterion of ``docs/boundaries.md`` at a resolution below 1 ms."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..terms import Edge, Interval
from ..terms.sound import Beside
from .frames import FineLevels, Floats
from .track import CORE_DROP_DB, Track, against_voice, crossing, floor_beside, smoothed, track, voiced_level

SILENCE_DROP_DB = 30.0
ABOVE_FLOOR_DB = 6.0
OUT_OF_VOICE_DB = 4.0
SHALLOWEST_DB = 3.0
INTO_VOICE_DB = 20.0
INTO_VOICE_SHARE = 0.5
FLOOR_REACH_MS = 200
VOICED_REACH_DB = 24.0
VOICE_OVER_FLOOR_DB = 7.0
VOICED_FRICTION_DB = 16.0
VOICED_PHONE_FRICTION_DB = 25.0
VOICE_OUT_OF_NOISE_DB = 8.0
VOICE_START_DB = 17.0
VOICE_SUSTAINED_MS = 20
FOOT_MS = 4
FOOT_SLOPE_DB = 1.0
PITCH_SMOOTHING_MS = 10
LAST_PULSE_DB = 16.0
LAST_PULSE_DROP_DB = 8.0
LAST_PULSE_REST_MS = 24
TAIL_SLOPES_DB = (0.04, 0.32)
TAIL_FALLEN_DB = 5.0
TAIL_BEND = 1.1
TAIL_LEAST_MS = 45
TAIL_MOST_MS = 160
BURST_RISE_DB = 12.0
BURST_MS = 6
LONGEST_BURST_MS = 30
BURST_BAND_HZ = (500.0, 3000.0)
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})
AFFRICATES = frozenset({"CH", "JH"})
VOICED_PHONES = frozenset({"Z", "ZH", "JH"})


@dataclass(frozen=True, slots=True)
class Beyond:
    """What stands beside a sound as the prompt has it: its own phone and its neighbours (empty: unknown, or none)."""

    phone: str = ""
    previous_phone: str = ""
    next_phone: str = ""


@dataclass(frozen=True, slots=True)
class Bounds:
    """The edges of one frication with its core, plateau (dB), and the band that was followed."""

    onset: Edge
    offset: Edge
    core: Interval
    plateau_db: float
    band_hz: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Found:
    """One edge in (fractional) frames, before it is given as an ``Edge``."""

    frame: float
    beside: Beside
    floor_limited: bool = False


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
    return replace(way, plateau_db=float(np.percentile(way.high[begin : end + 1], 75)))


def onset_edge(fine: FineLevels, way: Track, limit: int, beyond: Beyond, loudest_db: float) -> Found:
    """Onset: out of silence, out of a voiced sound, or where a release gives way to steady frication."""
    silence = silence_edge(way, -1, limit)
    begin = max(limit, min(int(silence.frame), way.first) - 15, way.first - 80)
    before = slice(begin, way.first + 1)
    least = max(loudest_db - VOICED_REACH_DB, way.low_floor_db + VOICE_OVER_FLOOR_DB)
    voiced = (way.low[before] > least) & (way.low[before] > way.hiss[before])
    if voiced.sum() >= 5:
        near = against_voice(fine, way, slice(max(limit, way.first - 70), max(way.first - 12, limit + 1)))
        found = _out_of_voice(near, max(limit, near.first - 80), silence, beyond)
    else:
        found = silence
    released = beyond.previous_phone in STOPS or beyond.phone in AFFRICATES
    return _after_release(fine, way, found) if released else found


def offset_edge(fine: FineLevels, way: Track, limit: int, beyond: Beyond, loudest_db: float) -> Found:
    """Offset: into silence, or where voicing begins, or where a voiced frication sinks into the voice."""
    silence = silence_edge(way, 1, limit)
    stop = min(limit, max(way.last, int(silence.frame)) + 40)
    steady = smoothed(way.low, PITCH_SMOOTHING_MS)
    voice = float(steady[way.last : stop + 1].max())
    if voice < max(loudest_db - VOICED_REACH_DB, way.low_floor_db + VOICE_OVER_FLOOR_DB):
        return silence
    noise = float(np.percentile(way.low[way.first : way.last + 1], 40))
    reach = VOICED_PHONE_FRICTION_DB if beyond.phone in VOICED_PHONES else VOICED_FRICTION_DB
    if noise > voice - reach:
        near = against_voice(fine, way, slice(min(way.last + 10, stop), stop + 1))
        return _into_voice(near, stop, silence)
    start = voice_start(way, steady, stop, noise, voice)
    if start is None or silence.frame < start - 12:
        return silence
    gap = _gap(way, start)
    return min((Found(start, "voiced"), silence, gap), key=lambda found: found.frame)


def silence_edge(way: Track, step: int, limit: int) -> Found:
    """Edge beside silence: 30 dB below the plateau, or 6 dB above the local floor where that is higher.

    A reverberant tail counts as the floor from the knee on at which the fall becomes slow.
    """
    start = way.first if step < 0 else way.last
    floor = floor_beside(way, start, step, min(FLOOR_REACH_MS, max(abs(limit - start), 1)))
    low, high = way.plateau_db - SILENCE_DROP_DB, floor + ABOVE_FLOOR_DB
    threshold = min(max(low, high), way.plateau_db - SHALLOWEST_DB)
    line = way.high[: limit + 1] if step > 0 else way.high[limit:]
    shift = 0 if step > 0 else limit
    frame = crossing(line, start - shift, step, threshold) + shift
    if step > 0:
        knee = tail_knee(way, int(frame))
        if knee is not None:
            return Found(knee, "silence", floor_limited=True)
    return Found(frame, "silence", floor_limited=high > low)


def tail_knee(way: Track, edge: int) -> float | None:
    """Frame where a fast fall gives way to the slow one of a reverberant tail, before ``edge``; None without a tail.

    Two straight lines in dB are fitted to the fall from 4 dB below the plateau on; the knee is where they meet.
    """
    level = smoothed(way.high, 5)
    middle = (way.first + way.last) // 2
    strong = np.flatnonzero(level[middle : edge + 1] > way.plateau_db - 4.0)
    top = middle + int(strong[-1]) if strong.size else edge
    if edge - top < TAIL_LEAST_MS:
        return None
    line = level[top : min(edge + 10, top + TAIL_MOST_MS) + 1].astype(np.float64)
    knee, fast, slow = _two_lines(line)
    fallen = way.plateau_db - float(line[min(int(knee), line.size - 1)])
    is_tail = TAIL_SLOPES_DB[0] < slow < TAIL_SLOPES_DB[1] and fast > TAIL_BEND * slow and fallen > TAIL_FALLEN_DB
    return top + knee if is_tail and 0 < knee < edge - top - 25 else None


def _two_lines(line: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    """Best pair of straight lines: where they meet, and how fast each falls (dB per frame)."""
    n = line.size
    t = np.arange(n, dtype=np.float64)
    sums = [np.cumsum(v) for v in (np.ones(n), t, line, t * t, t * line, line * line)]
    cut = np.arange(5, n - 15)

    def fit(parts: list[npt.NDArray[np.float64]]) -> tuple[npt.NDArray[np.float64], ...]:
        m, st, sy, stt, sty, syy = parts
        slope = (m * sty - st * sy) / (m * stt - st * st)
        base = (sy - slope * st) / m
        return slope, base, syy - base * sy - slope * sty

    slope_a, base_a, rest_a = fit([s[cut - 1] for s in sums])
    slope_b, base_b, rest_b = fit([s[-1] - s[cut - 1] for s in sums])
    k = int(np.argmin(rest_a + rest_b))
    gap = float(slope_a[k] - slope_b[k])
    meet = float((base_b[k] - base_a[k]) / gap) if abs(gap) > 1e-6 else float(cut[k])
    return float(np.clip(meet, cut[k] - 5.0, cut[k] + 5.0)), -float(slope_a[k]), -float(slope_b[k])


def voice_start(way: Track, steady: Floats, stop: int, noise_db: float, voice_db: float) -> float | None:
    """Frame of the first pulse after (or late in) a voiceless frication; None where no voice is sustained."""
    middle = way.first + round(0.4 * (way.last - way.first))
    top = way.last + int(np.argmax(steady[way.last : stop + 1]))
    threshold = max(noise_db + VOICE_OUT_OF_NOISE_DB, voice_db - VOICE_START_DB)
    piece = way.low[middle : top + 1]
    frame = middle + crossing(piece, piece.size - 1, -1, threshold, sustained=12)
    after = steady[int(frame) + 5 : int(frame) + 5 + VOICE_SUSTAINED_MS]
    if after.size and float(after.min()) < threshold - 3.0:
        return None
    return _foot(way.low, frame, noise_db)


def _foot(low: Floats, frame: float, noise_db: float) -> float:
    """Foot of the steep rise that crosses a threshold at ``frame``: where the first pulse begins."""
    k = int(frame)
    while k > 0 and frame - k < FOOT_MS and low[k] > noise_db + 3.0 and low[k] - low[k - 1] > FOOT_SLOPE_DB:
        k -= 1
    return min(frame, float(k + 1)) if k < int(frame) else frame


def _gap(way: Track, start: float) -> Found:
    """Where the frication sinks into a gap of its own before the voice, if it does."""
    level = smoothed(way.high, 5)
    piece = level[way.last : int(start) + 1]
    if piece.size < 6 or float(piece.min()) > way.plateau_db - 22.0:
        return Found(start, "voiced")
    threshold = max(way.plateau_db - SILENCE_DROP_DB, float(piece.min()) + ABOVE_FLOOR_DB)
    return Found(crossing(way.high, way.last, 1, threshold), "silence", floor_limited=True)


def _into_voice(way: Track, stop: int, silence: Found) -> Found:
    steady = smoothed(way.high, PITCH_SMOOTHING_MS)
    own = float(steady[way.last : min(stop, way.last + 50) + 1].min())
    sink = min(INTO_VOICE_DB, INTO_VOICE_SHARE * max(way.plateau_db - own, 0.0))
    threshold = min(max(own + sink, way.plateau_db - SILENCE_DROP_DB), way.plateau_db - SHALLOWEST_DB)
    frame = crossing(steady, way.last, 1, threshold, sustained=1)
    return Found(min(frame, silence.frame), "voiced")


def _out_of(own_db: float, plateau_db: float) -> float:
    rise = min(OUT_OF_VOICE_DB, 0.4 * max(plateau_db - own_db, 0.0))
    return min(max(own_db + rise, plateau_db - SILENCE_DROP_DB), plateau_db - SHALLOWEST_DB)


def _out_of_voice(way: Track, begin: int, silence: Found, beyond: Beyond) -> Found:
    steady = smoothed(way.high, PITCH_SMOOTHING_MS)
    own = _trough(steady, begin, way.first)
    level = smoothed(way.high, 5)[begin : way.first + 1]
    rise = begin + crossing(level, level.size - 1, -1, _out_of(own, way.plateau_db), sustained=1)
    frame = max(rise, silence.frame)
    if beyond.phone not in VOICED_PHONES:
        frame = max(frame, last_pulse(way, begin, frame))
    return Found(frame, "voiced")


def _trough(level: Floats, begin: int, end: int) -> float:
    """Level of the last trough before ``end``: the lowest reached before it climbs by 2 dB, going backwards."""
    lowest = float(level[end])
    for k in range(end, begin - 1, -1):
        value = float(level[k])
        if value > lowest + 2.0 and lowest < float(level[end]) - 3.0:
            break
        lowest = min(lowest, value)
    return lowest


def last_pulse(way: Track, begin: int, rise: float) -> float:
    """End of the last clear pulse of the voice before a frication; ``rise`` itself when none is clear.

    Clear: the low band is within 16 dB of the voice's and 10 dB over the frication's own, and falls by 8 dB at once,
    for good.
    """
    stop = min(way.first + 30, way.last, way.low.size - LAST_PULSE_REST_MS - 1)
    if stop - begin < 10:
        return rise
    voice = float(smoothed(way.low, PITCH_SMOOTHING_MS)[begin : stop + 1].max())
    noise = float(np.percentile(way.low[way.first : way.last + 1], 50))
    least = max(voice - LAST_PULSE_DB, noise + 10.0)
    for k in range(stop, begin, -1):
        if way.low[k] > least:
            rest = float(way.low[k + 5 : k + LAST_PULSE_REST_MS].max())
            last = k - 2
            return float(last) if rest < way.low[k] - LAST_PULSE_DROP_DB and rise < last < rise + 35 else rise
    return rise


def _after_release(fine: FineLevels, way: Track, found: Found) -> Found:
    """Where a burst gives way to steady frication: its part below the hiss has died away, and the hiss has climbed.

    A burst that is like the frication that follows (/t/ before /s/) is taken to last ``BURST_MS``.
    """
    start = int(np.ceil(found.frame))
    hiss = smoothed(way.high, 3)[start : start + 60]
    if hiss.size < 30 or float(hiss[:6].max()) - float(way.high[max(0, start - 3)]) < BURST_RISE_DB:
        return found
    below = smoothed(fine.level_db(*BURST_BAND_HZ)[start : start + 60], 3)
    steady = float(np.median(below[25:]))
    end = BURST_MS
    peak = int(np.argmax(below[:20]))
    if below[peak] > steady + 5.0:
        quiet = np.flatnonzero(below[peak:] < max(steady + 3.0, float(below[peak]) - 6.0))
        end = max(end, min(peak + int(quiet[0]), LONGEST_BURST_MS)) if quiet.size else end
    first = float(hiss[:6].max())
    if first < way.plateau_db - 8.0:
        climb = np.flatnonzero(hiss > first + 3.0)
        end = max(end, min(int(climb[0]), LONGEST_BURST_MS)) if climb.size else end
    return Found(min(found.frame + end, float(way.last)), "release")


def _core(fine: FineLevels, way: Track, begin_s: float, end_s: float) -> Interval:
    threshold = way.plateau_db - CORE_DROP_DB
    begin = min(max(fine.time_of(crossing(way.high, way.first, -1, threshold, sustained=1)), begin_s), end_s)
    end = min(max(fine.time_of(crossing(way.high, way.last, 1, threshold, sustained=1)), begin), end_s)
    return Interval(begin, end)


def _edge(way: Track, found: Found, time_s: float) -> Edge:
    """Uncertainty: the time that 3 dB of level take here, and 2 ms; more where the floor decides."""
    here = int(np.clip(round(found.frame), 0, way.high.size - 1))
    slope = 0.0
    for line in (way.high, way.low) if found.beside == "voiced" else (way.high,):
        around = smoothed(line, 3)[max(0, here - 6) : here + 7]
        slope = max(slope, float(np.abs(np.diff(around)).max(initial=0.0)))
    uncertainty = float(np.clip(2.0 + 3.0 / max(slope, 0.1), 2.0, 40.0)) * (1.5 if found.floor_limited else 1.0)
    confidence = float(np.clip(1.0 - uncertainty / 50.0, 0.05, 0.99))
    return Edge(time_s, found.beside, uncertainty, confidence, found.floor_limited)
