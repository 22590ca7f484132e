"""Stretches of sound over the local noise floor: the louder of a low and a high envelope decides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..levels.coarse import CoarseLevels, to_db

Float32s = npt.NDArray[np.float32]

# Chosen on invented probes (docs/words.md), where no other origin is named.
SMOOTH_FRAMES = 3  # frames over which levels are smoothed
NEAR_S, FAR_S, STEP_S = 4.0, 20.0, 0.5  # windows in which the background is looked for, near and far, and their step
FLOOR_PERCENTILE = 10.0  # the background is the quietest tenth
FAR_ALLOWANCE_DB = 6.0  # the near background may lie so far above the far one
DEEPEST_FLOOR_DB = 60.0  # no background lies further below the loudest
EDGE_OVER_FLOOR_DB = 6.0  # a piece of sound reaches to so much above the background
EDGE_BELOW_PEAK_DB = 46.0  # and no further below the loudest
CORE_OVER_FLOOR_DB = 10.0  # somewhere it has to rise so far above the background
CORE_BELOW_PEAK_DB = 38.0  # and to within this of the loudest
JOIN_S = 0.09  # pieces nearer than this are one: closures of stops are shorter
SHORTEST_CORE_S = 0.015  # shorter than this it is a click


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Frames ``first`` to ``last`` (exclusive) with sound in them, and by how much they rise over the floor."""

    first: int
    last: int
    peak_over_floor_db: float


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """One envelope of a recording: ``level_db`` (n,), its ``floor_db`` (n,) and its ``peak_db`` (n,)."""

    level_db: Float32s
    floor_db: Float32s
    peak_db: Float32s

    @property
    def edge(self) -> npt.NDArray[np.bool_]:
        """Frames that may belong to a stretch."""
        limit = np.maximum(self.floor_db + EDGE_OVER_FLOOR_DB, self.peak_db - EDGE_BELOW_PEAK_DB)
        return np.asarray(self.level_db > limit)

    @property
    def core(self) -> npt.NDArray[np.bool_]:
        """Frames loud enough to found a stretch."""
        limit = np.maximum(self.floor_db + CORE_OVER_FLOOR_DB, self.peak_db - CORE_BELOW_PEAK_DB)
        return np.asarray(self.level_db > limit)


def envelopes(levels: CoarseLevels) -> tuple[Envelope, Envelope]:
    """Low (voices, 100 Hz to 3 kHz) and high (frication) envelope with their local floors."""
    power = np.stack([10.0 ** (0.1 * levels.high_db), levels.band_power[:, :4].sum(axis=1)])
    smooth = np.stack([_moving_mean(row, SMOOTH_FRAMES) for row in power])
    high, low = (to_db(row) for row in smooth)
    return _envelope(low, levels.hop_s), _envelope(high, levels.hop_s)


def find_stretches(levels: CoarseLevels) -> list[Stretch]:
    """Return stretches where either envelope stands over its floor, joined over gaps shorter than 90 ms.

    A stretch needs a core of 15 ms, 10 dB over the local floor in one of the envelopes; from there it reaches as far
    as either stays 6 dB over its floor, so weak frication before a vowel and releases after a closure are kept.
    """
    pair = envelopes(levels)
    edge = pair[0].edge | pair[1].edge
    core = pair[0].core | pair[1].core
    over = np.maximum(pair[0].level_db - pair[0].floor_db, pair[1].level_db - pair[1].floor_db)
    shortest = max(1, round(SHORTEST_CORE_S / levels.hop_s))
    count = np.concatenate([[0], np.cumsum(core)])
    kept = [(a, b) for a, b in runs(edge) if count[b] - count[a] >= shortest]
    joined = join_runs(kept, max(1, round(JOIN_S / levels.hop_s)))
    return [Stretch(a, b, float(over[a:b].max())) for a, b in joined]


def runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return first and last (exclusive) index of each run of true values.

    Examples
    --------
    >>> runs(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    change = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(change[::2], change[1::2], strict=True)]


def join_runs(found: list[tuple[int, int]], gap: int) -> list[tuple[int, int]]:
    """Join runs with fewer than ``gap`` frames between them.

    Examples
    --------
    >>> join_runs([(0, 4), (5, 9), (20, 25)], 3)
    [(0, 9), (20, 25)]
    """
    out: list[tuple[int, int]] = []
    for a, b in found:
        if out and a - out[-1][1] < gap:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out


def _moving_mean(values: npt.NDArray[np.floating], width: int) -> npt.NDArray[np.float64]:
    padded = np.pad(values.astype(np.float64), (width // 2, width - 1 - width // 2), mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width).mean(axis=1))


def _envelope(level_db: Float32s, hop_s: float) -> Envelope:
    near = _sliding_percentile(level_db, hop_s, NEAR_S, FLOOR_PERCENTILE)
    far = _sliding_percentile(level_db, hop_s, FAR_S, FLOOR_PERCENTILE)
    peak = _sliding_percentile(level_db, hop_s, FAR_S, 99.0)
    floor = np.maximum(np.minimum(near, far + FAR_ALLOWANCE_DB), peak - DEEPEST_FLOOR_DB)
    return Envelope(level_db, floor, peak)


def _sliding_percentile(level_db: Float32s, hop_s: float, window_s: float, percent: float) -> Float32s:
    """Percentile of the level in a window around each frame, computed every half second and drawn through.

    In recordings shorter than 4 s a low percentile is taken lower in proportion: there is little pause in them.
    """
    thin = max(1, round(0.02 / hop_s))
    values = level_db[::thin]
    width = min(values.size, max(1, round(window_s / (hop_s * thin))))
    step = max(1, round(STEP_S / (hop_s * thin)))
    views = np.lib.stride_tricks.sliding_window_view(values, width)
    starts = np.unique(np.append(np.arange(0, len(views), step), len(views) - 1))
    share = percent if percent > 50.0 else percent * min(1.0, values.size * thin * hop_s / NEAR_S)
    rank = min(width - 1, int(width * share / 100.0))
    found = np.concatenate(
        [np.partition(views[starts[k : k + 256]], rank, axis=1)[:, rank] for k in range(0, len(starts), 256)]
    )
    at = (starts + (width - 1) / 2.0) * thin
    return np.asarray(np.interp(np.arange(level_db.size), at, found), dtype=np.float32)


def joined_s(pieces: list[tuple[float, float]], gap_s: float) -> list[tuple[float, float]]:
    """Join pieces with less than ``gap_s`` between them.

    Examples
    --------
    >>> joined_s([(0.0, 0.2), (0.3, 0.5), (1.5, 2.0)], 0.25)
    [(0.0, 0.5), (1.5, 2.0)]
    """
    out: list[tuple[float, float]] = []
    for onset, offset in pieces:
        if out and onset - out[-1][1] < gap_s:
            out[-1] = (out[-1][0], offset)
        else:
            out.append((onset, offset))
    return out
