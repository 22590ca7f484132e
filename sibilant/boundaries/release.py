"""A run after a stop comes in; the edge at which the burst gives way to steady frication goes out."""

from __future__ import annotations

import numpy as np

from ..levels.fine import FineLevels
from ..levels.ranks import median
from .track import Found, Track, smoothed

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
BURST_RISE_DB = 12.0  # the criterion's (docs/boundaries.md), as are the next two and the fall
BURST_MS = 6  # shortest burst
LONGEST_BURST_MS = 30  # and longest
BURST_BAND_HZ = (500.0, 3000.0)  # where a burst stands out of the hiss that follows
BURST_OVER_STEADY_DB = 5.0  # by so much at least
BURST_FALL_DB = 6.0  # it is over when it has fallen by this


def after_release(fine: FineLevels, way: Track, found: Found) -> Found:
    """Where a burst gives way to steady frication: its part below the hiss has died away, and the hiss has climbed.

    A burst that is like the frication that follows (/t/ before /s/) is taken to last ``BURST_MS``.
    """
    start = int(np.ceil(found.frame))
    hiss = smoothed(way.high, 3, slice(start, start + 60))
    if hiss.size < 30 or float(hiss[:6].max()) - float(way.high[max(0, start - 3)]) < BURST_RISE_DB:
        return found
    below = smoothed(fine.cut(start, start + 59).level_db(*BURST_BAND_HZ), 3)
    steady = median(below[25:])
    end = BURST_MS
    peak = int(np.argmax(below[:20]))
    if below[peak] > steady + BURST_OVER_STEADY_DB:
        quiet = np.flatnonzero(below[peak:] < max(steady + 3.0, float(below[peak]) - BURST_FALL_DB))
        end = max(end, min(peak + int(quiet[0]), LONGEST_BURST_MS)) if quiet.size else end
    first = float(hiss[:6].max())
    if first < way.plateau_db - 8.0:
        climb = np.flatnonzero(hiss > first + 3.0)
        end = max(end, min(int(climb[0]), LONGEST_BURST_MS)) if climb.size else end
    return Found(min(found.frame + end, float(way.last)), "release")
