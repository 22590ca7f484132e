"""Runs of voice, frication and silence: what a stretch holds, before it is matched to what was expected."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from ..levels.coarse import CoarseLevels, Float32s, to_db
from ..levels.ranks import median, percentile, percentiles

Kind = Literal["voice", "frication", "silence"]

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
FLOOR_PERCENTILE = 8.0  # the quietest twelfth is the background
OVER_FLOOR_DB = 6.0  # hiss stands at least so far above it
BALANCE_OVER_VOICE_DB = 10.0  # high over low must exceed the voices' own balance by so much
BALANCE_RANGE_DB = (-4.0, 8.0)  # between which that threshold is held
BALANCE_HOLD_DB = 6.0  # a run goes on until the balance falls so far below its start: no flicker
VOICED_DB = 20.0  # low levels within this of the loudest voice are voiced
DIP_DB = 13.0  # a dip this deep parts two sounds
FAINT_OVER_FLOOR_DB = 4.0  # faint friction stands at least so far above the background
BURST_RISE_DB, SOFT_BURST_RISE_DB = 25.0, 18.0  # a rise this steep is a burst; a softer one where the run is short
HIDDEN_FRAMES = 6  # frames of a hiss that a voice covers, at least
HIDDEN_HUMP_DB = 9.0  # by which it stands out of the voice's own upper part
HIDDEN_LEAST_DB = -14.0  # balance below which it is none
VOICE_REACH_DB = 30.0  # what is quieter than this below the loudest is no voice
VOICE_OVER_FLOOR_DB = 8.0  # and what is nearer than this to the background
VOICE_SMOOTHING = 5  # frames
FAINTEST_DB = 50.0  # hiss lies within this of the loudest hiss
SHORTEST_RUN = 3  # frames, as is the next
BRIDGE = 3  # gaps shorter than this do not part a run


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of one kind, frames ``first`` to ``last`` of the coarse levels.

    ``high_db``: its 75th percentile of the high band; ``balance_db``: median of high less low (of 4 kHz and more less
    low while voice sounds); ``voiced``: voice sounds at the same time; ``rise_db``: steepest climb of the high band
    over two frames at its beginning; ``centre``: where its energy is centred, 0 at its beginning and 1 at its end;
    ``hidden``: dug out where no run was seen.
    """

    kind: Kind
    first: int
    last: int
    high_db: float = -140.0
    balance_db: float = 0.0
    voiced: bool = False
    rise_db: float = 0.0
    centre: float = 0.5
    hidden: bool = False

    @property
    def n_frames(self) -> int:
        """Length in frames."""
        return self.last - self.first + 1


def is_burst(run: Run, length_s: float) -> bool:
    """Whether a run begins like a release: at once, and short or with its energy at the beginning."""
    if run.rise_db > BURST_RISE_DB:
        return length_s < 0.05 or (length_s < 0.2 and run.centre < 0.45)
    return run.rise_db > SOFT_BURST_RISE_DB and (length_s < 0.03 or (length_s < 0.15 and run.centre < 0.3))


@dataclass(frozen=True, slots=True)
class Scene:
    """What the decoder looks at, per frame: net levels (floor taken off) and their balance."""

    low_db: Float32s
    high_db: Float32s
    balance_db: Float32s
    over_floor_db: Float32s
    low_over_floor_db: Float32s
    loudest_low_db: float
    loudest_high_db: float
    voice_balance_db: float


def scene_of(levels: CoarseLevels, floor: npt.NDArray[np.float32] | None = None) -> Scene:
    """Take the local floor off each band and compare high with low (while voice sounds, 4 kHz and more with low)."""
    power = levels.band_power
    if floor is None:
        floor = percentiles(power, FLOOR_PERCENTILE)
    first_high = 3 if power[:, 4:].any() else 2
    first_hiss = 5 if power[:, 6:].any() else first_high
    raw_low = power[:, :2].sum(axis=1)
    low, _ = _net(raw_low, float(floor[:2].sum()))
    steady = np.convolve(
        np.pad(raw_low, VOICE_SMOOTHING // 2, mode="edge"), np.full(VOICE_SMOOTHING, 1 / VOICE_SMOOTHING), "valid"
    )
    _, low_over = _net(steady.astype(np.float32), float(floor[:2].sum()))
    high, over = _net(power[:, first_high:].sum(axis=1), float(floor[first_high:].sum()))
    hiss, _ = _net(power[:, first_hiss:].sum(axis=1), float(floor[first_hiss:].sum()))
    loudest = float(low.max())
    balance = np.where(low > loudest - VOICED_DB, hiss, high) - low
    loud = low > loudest - 15.0
    return Scene(low, high, balance, over, low_over, loudest, float(high.max()), median(balance[loud]))


def _net(power: Float32s, floor: float) -> tuple[Float32s, Float32s]:
    """Level with the floor taken off, and level over the floor, in dB."""
    net = to_db(np.maximum(power - floor, 0.1 * floor + 1e-12))
    return net, to_db(power) - float(to_db(floor + 1e-12))


def frication_mask(scene: Scene) -> npt.NDArray[np.bool_]:
    """Frames with frication: the high band stands over the floor and outweighs the low one, with hysteresis."""
    audible = (scene.over_floor_db > OVER_FLOOR_DB) & (scene.high_db > scene.loudest_high_db - FAINTEST_DB)
    start = float(np.clip(scene.voice_balance_db + BALANCE_OVER_VOICE_DB, *BALANCE_RANGE_DB))
    hold = start - BALANCE_HOLD_DB
    strong, weak = audible & (scene.balance_db > start), audible & (scene.balance_db > hold)
    out = np.zeros(strong.size, dtype=bool)
    for begin, end in _stretches(weak):
        if strong[begin:end].any():
            out[begin:end] = True
    return out


def runs_of(scene: Scene) -> tuple[Run, ...]:
    """Cut a stretch into runs of voice, frication and silence; short gaps are bridged, specks dropped."""
    frication = _cleaned(frication_mask(scene))
    voice = scene.low_over_floor_db > VOICE_OVER_FLOOR_DB
    voice &= (scene.low_db > scene.loudest_low_db - VOICE_REACH_DB) & ~frication
    voice = _cleaned(voice) & ~frication
    kinds = np.where(frication, 2, np.where(voice, 1, 0))
    out: list[Run] = []
    at = 0
    for code, group in groupby(kinds.tolist()):
        n = len(list(group))
        pieces = _split(scene.high_db, at, at + n - 1) if code == 2 else [(at, at + n - 1)]
        out.extend(_run(scene, int(code), first, last) for first, last in pieces)
        at += n
    return tuple(out)


def _split(high_db: Float32s, first: int, last: int) -> list[tuple[int, int]]:
    """Cut a run of frication at dips 13 dB below both sides: closures, changes of sound."""
    line = high_db[first : last + 1]
    if line.size < 2 * SHORTEST_RUN + 1:
        return [(first, last)]
    left, right = np.maximum.accumulate(line), np.maximum.accumulate(line[::-1])[::-1]
    depth = np.minimum(left, right) - line
    inner = depth[SHORTEST_RUN:-SHORTEST_RUN]
    if inner.size == 0 or inner.max() < DIP_DB:
        return [(first, last)]
    at = first + SHORTEST_RUN + int(np.argmax(inner))
    return _split(high_db, first, at - 1) + _split(high_db, at, last)


def _run(scene: Scene, code: int, first: int, last: int) -> Run:
    if code != 2:
        return Run("voice" if code == 1 else "silence", first, last)
    inside = slice(first, last + 1)
    high = scene.high_db[max(0, first - 2) : min(first + 5, scene.high_db.size)]
    rise = float((high[2:] - high[:-2]).max(initial=0.0)) if high.size > 2 else 0.0
    voiced = median(scene.low_db[inside]) > scene.loudest_low_db - VOICED_DB
    level, balance = percentile(scene.high_db[inside], 75), median(scene.balance_db[inside])
    power = np.power(10.0, scene.high_db[inside].astype(np.float64) / 10.0)
    centre = float((power * np.arange(power.size)).sum() / power.sum()) / max(power.size - 1, 1)
    return Run("frication", first, last, level, balance, voiced, rise, centre)


def _stretches(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _cleaned(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    out = mask.copy()
    stretches = _stretches(out)
    for (_, end), (begin, _) in pairwise(stretches):
        if begin - end < BRIDGE:
            out[end:begin] = True
    for begin, end in _stretches(out):
        if end - begin < SHORTEST_RUN:
            out[begin:end] = False
    return out


def hidden_run(scene: Scene, inside: slice, *, voiced: bool = False) -> Run | None:
    """Faint or voiced frication within a stretch where no run was seen: the hump of the balance, if it has one.

    The voice is 12 dB below its loudest there, or 4 dB where the sound is ``voiced``.
    """
    balance = scene.balance_db[inside]
    if balance.size < 2 * SHORTEST_RUN:
        return None
    hushed = scene.low_db[inside] < scene.loudest_low_db - (4.0 if voiced else 12.0)
    audible = (scene.over_floor_db[inside] > FAINT_OVER_FLOOR_DB) & hushed
    steady = np.convolve(np.pad(balance, 2, mode="edge"), np.full(5, 0.2), "valid")
    steady[~audible] = steady.min()
    peak = int(np.argmax(steady))
    loud = scene.low_db[inside] > scene.loudest_low_db - VOICE_REACH_DB
    own = median(balance[loud]) if loud.any() else float(steady.min())
    if not (audible[peak] and steady[peak] > max(own + HIDDEN_HUMP_DB, HIDDEN_LEAST_DB)):
        return None
    within = steady > max(steady[peak] - 8.0, 0.5 * (steady[peak] + own))
    for begin, end in _stretches(within & audible):
        if begin <= peak < end and end - begin >= HIDDEN_FRAMES:
            return replace(_run(scene, 2, inside.start + begin, inside.start + end - 1), hidden=True)
    return None


def run_between(scene: Scene, inside: slice) -> Run | None:
    """One run of frication over some frames, whatever they hold; None where they are too few."""
    first, last = max(0, inside.start), min(inside.stop, scene.high_db.size) - 1
    return _run(scene, 2, first, last) if last - first + 1 >= SHORTEST_RUN else None


def joined_run(scene: Scene, left: Run, right: Run) -> Run:
    """One run of frication from the beginning of one to the end of another."""
    return _run(scene, 2, left.first, right.last)
