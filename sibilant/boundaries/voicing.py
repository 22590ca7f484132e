"""Edges beside voices: voicing decides, or the frication's rise out of the voiced sound's own level."""

from __future__ import annotations

import numpy as np

from ..levels.coarse import Float32s
from ..levels.ranks import percentile
from ..terms.vocabulary import VOICED
from .silence import ABOVE_FLOOR_DB, SHALLOWEST_DB, SILENCE_DROP_DB
from .track import PITCH_SMOOTHING_MS, Beyond, Found, Track, crossing, smoothed

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
OUT_OF_VOICE_DB = 3.0  # the criterion's (docs/boundaries.md), as is the next
INTO_VOICE_SHARE = 0.5  # of the way down to the voice's own level
VOICE_OUT_OF_NOISE_DB = 8.0  # a voice begins so far above the noise below 950 Hz
VOICE_START_DB = 17.0  # and within this of the voice that follows
VOICE_SUSTAINED_MS = 20  # it lasts so long
FOOT_MS = 4  # its foot lies at most so far before
FOOT_SLOPE_DB = 1.0  # as long as the level climbs by this a ms
FLAT_MS, FLAT_DB, RISEN_DB = 20, 2.0, 8.0
"""A level is flat where it changes no more in this time; has risen where by the last."""
LAST_PULSE_DB = 16.0  # a last pulse lies within this of the voice
LAST_PULSE_DROP_DB = 8.0  # and is followed by a level so much lower
LAST_PULSE_REST_MS, LAST_PULSE_BACK_MS = 24, 4  # for so long; the edge lies so far before its peak


def out_of_voice(way: Track, begin: int, silence: Found, beyond: Beyond) -> Found:
    """Onset after a voiced sound: where the frication rises out of its level, after the last clear pulse."""
    before = slice(begin, way.first + 1)
    own = _trough(smoothed(way.high, PITCH_SMOOTHING_MS, before))
    level = smoothed(way.high, 5, before)
    rise = begin + crossing(level, level.size - 1, -1, _out_of(own, way.plateau_db), sustained=1)
    frame = max(rise, silence.frame)
    if beyond.phone not in VOICED:
        frame = max(frame, last_pulse(way, begin, frame))
    return Found(frame, "voiced")


def last_pulse(way: Track, begin: int, rise: float) -> float:
    """End of the last clear pulse of the voice before a frication; ``rise`` itself when none is clear.

    Clear: the low band is within 16 dB of the voice's and 10 dB over the frication's own, and falls by 8 dB at once,
    for good.
    """
    stop = min(way.first + 30, way.last, way.low.size - LAST_PULSE_REST_MS - 1)
    if stop - begin < 10:
        return rise
    voice = float(way.steady[begin : stop + 1].max())
    noise = percentile(way.low[way.first : way.last + 1], 50)
    least = max(voice - LAST_PULSE_DB, noise + 10.0)
    for k in range(stop, begin, -1):
        if way.low[k] > least:
            rest = float(way.low[k + 5 : k + LAST_PULSE_REST_MS].max())
            last = k - LAST_PULSE_BACK_MS
            return float(last) if rest < way.low[k] - LAST_PULSE_DROP_DB and rise < last < rise + 35 else rise
    return rise


def voice_start(way: Track, stop: int, noise_db: float, voice_db: float) -> float | None:
    """Frame of the first pulse after (or late in) a voiceless frication; None where no voice is sustained."""
    middle = way.first + round(0.4 * (way.last - way.first))
    top = way.last + int(np.argmax(way.steady[way.last : stop + 1]))
    threshold = max(noise_db + VOICE_OUT_OF_NOISE_DB, voice_db - VOICE_START_DB)
    piece = way.low[middle : top + 1]
    frame = middle + crossing(piece, piece.size - 1, -1, threshold, sustained=12)
    after = way.steady[int(frame) + 5 : int(frame) + 5 + VOICE_SUSTAINED_MS]
    if after.size and percentile(after, 25) < threshold - 3.0:
        return None
    return _foot(way.low, frame, noise_db)


def gap_before_voice(way: Track, start: float) -> Found:
    """Where the frication sinks into a gap of its own before the voice, if it does."""
    piece = smoothed(way.high, 5, slice(way.last, int(start) + 1))
    if piece.size < 6 or float(piece.min()) > way.plateau_db - 22.0:
        return Found(start, "voiced")
    threshold = max(way.plateau_db - SILENCE_DROP_DB, float(piece.min()) + ABOVE_FLOOR_DB)
    return Found(crossing(way.high, way.last, 1, threshold), "silence", floor_limited=True)


def into_voice(way: Track, stop: int, silence: Found) -> Found:
    """Offset of a voiced frication before a voiced sound: half-way down (in dB) to that sound's own level."""
    steady = smoothed(way.high, PITCH_SMOOTHING_MS)
    own = float(steady[way.last : min(stop, way.last + 50) + 1].min())
    sink = INTO_VOICE_SHARE * max(way.plateau_db - own, 0.0)
    threshold = min(max(own + sink, way.plateau_db - SILENCE_DROP_DB), way.plateau_db - SHALLOWEST_DB)
    frame = crossing(steady, way.last, 1, threshold, sustained=1)
    return Found(min(frame, silence.frame), "voiced")


def _foot(low: Float32s, frame: float, noise_db: float) -> float:
    """Foot of the steep rise that crosses a threshold at ``frame``: where the first pulse begins."""
    k = int(frame)
    while k > 0 and frame - k < FOOT_MS and low[k] > noise_db + 3.0 and low[k] - low[k - 1] > FOOT_SLOPE_DB:
        k -= 1
    return min(frame, float(k + 1)) if k < int(frame) else frame


def _out_of(own_db: float, plateau_db: float) -> float:
    """Level at which a frication counts as risen out of a voiced sound's own."""
    rise = min(OUT_OF_VOICE_DB, 0.4 * max(plateau_db - own_db, 0.0))
    return min(max(own_db + rise, plateau_db - SILENCE_DROP_DB), plateau_db - SHALLOWEST_DB)


def _trough(level: Float32s) -> float:
    """Level out of which a frication rose by the end: going back, the lowest before it climbs 2 dB or lies flat."""
    line: list[float] = level.tolist()
    lowest = line[-1]
    for k in range(len(line) - 1, -1, -1):
        if line[k] > lowest + 2.0 and lowest < line[-1] - 3.0:
            break
        lowest = min(lowest, line[k])
        if line[max(0, k - FLAT_MS)] > line[k] - FLAT_DB and line[k] < line[-1] - RISEN_DB:
            break
    return lowest
