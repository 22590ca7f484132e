"""Edges beside silence: a level below the plateau, the local floor, or the knee of a reverberant tail."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..levels.coarse import to_db
from .track import Found, Track, crossing, smoothed

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
SILENCE_DROP_DB = 30.0  # the criterion's (docs/boundaries.md), as is the next
ABOVE_FLOOR_DB = 6.0  # over the local floor
SHALLOWEST_DB = 3.0  # the threshold stays at least so far below the plateau
FLOOR_REACH_MS = 200  # the local floor is looked for so far outside the edge
FLOOR_WIDTH_MS = 15  # as the quietest stretch of this length
TAIL_SLOPES_DB = (0.04, 0.32, 0.55)
"""DB a ms of a reverberant tail: slowest, steepest, and steepest behind a clear bend."""
CLEAR_BEND = 1.4  # dB a ms by which the slope changes at a knee that is clear
TAIL_FALLEN_DB = 5.0  # the level has fallen at least so far at the knee
TAIL_BEND = 1.0  # the slope changes at least so much at it
TAIL_LEAST_MS = 26  # a shorter fall shows no tail
TAIL_MOST_MS = 200  # a tail is followed no further
TAIL_FROM_DB = 4.0  # a fall begins so far below the plateau
TAIL_OVER_FLOOR_DB = 5.0  # and ends so far above the floor
TAIL_REST_MS = 24  # how long a tail lasts behind its knee, at least
SHARP_BEND = 1.8  # behind a sharper knee half of that is enough


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
        knee = tail_knee(way, int(frame), limit, floor)
        if knee is not None:
            return Found(knee, "silence", floor_limited=True)
    return Found(frame, "silence", floor_limited=high > low)


def floor_beside(way: Track, start: int, step: int, reach: int) -> float:
    """Lowest 15 ms mean of the frication's band within ``reach`` frames outwards, in dB."""
    stop = start + step * reach
    piece = way.high[max(0, min(start, stop)) : max(start, stop) + 1]
    width = min(FLOOR_WIDTH_MS, piece.size)
    power = np.convolve(np.power(10.0, piece.astype(np.float64) / 10.0), np.full(width, 1 / width), mode="valid")
    return float(to_db(power.min()))


def tail_knee(way: Track, edge: int, limit: int, floor_db: float) -> float | None:
    """Frame where a fast fall gives way to the slow one of a reverberant tail, before ``edge``; None without a tail.

    Two straight lines in dB are fitted to the fall, from 4 dB below the plateau to where the floor at ``floor_db`` is
    near; the knee is where they meet.
    """
    middle = (way.first + way.last) // 2
    level = smoothed(way.high, 5, slice(middle, max(edge, limit) + 1))
    strong = np.flatnonzero(level[: max(0, edge - middle + 1)] > way.plateau_db - TAIL_FROM_DB)
    top = middle + int(strong[-1]) if strong.size else edge
    rest = level[top - middle : max(top, min(limit, top + TAIL_MOST_MS) + 1) - middle]
    near_floor = np.flatnonzero(rest < floor_db + TAIL_OVER_FLOOR_DB)
    line = rest[: int(near_floor[0]) if near_floor.size else rest.size].astype(np.float64)
    if line.size < TAIL_LEAST_MS:
        return None
    knee, fast, slow = _two_lines(line)
    fallen = way.plateau_db - float(line[min(int(knee), line.size - 1)])
    bend = fast / max(slow, 1e-3)
    still = TAIL_REST_MS if bend < SHARP_BEND else TAIL_REST_MS / 2
    steepest = TAIL_SLOPES_DB[1] if bend < CLEAR_BEND else TAIL_SLOPES_DB[2]
    is_tail = TAIL_SLOPES_DB[0] < slow < steepest and bend > TAIL_BEND and fallen > TAIL_FALLEN_DB
    return top + knee if is_tail and 0 < knee < min(edge - top, line.size - still) else None


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
    return min(max(meet, float(cut[k]) - 5.0), float(cut[k]) + 5.0), -float(slope_a[k]), -float(slope_b[k])
