"""What the samples themselves tell: extremes and flat tops, runs of exact zeros, mean, finest step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import runs
from ..terms import Interval, Recording
from ..terms.sound import let_go

if TYPE_CHECKING:
    import numpy.typing as npt

    Samples = npt.NDArray[np.float32]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
BLOCK_SAMPLES = 1 << 20  # for memory; no result depends on it
CACHED_SAMPLES = 1 << 15  # gone through while the processor's cache holds them; no result depends on it
FIRST_SAMPLES = 4096  # looked at before a whole block; no result depends on it
SHORTEST_ZERO_RUN_S = 0.003  # shorter runs of zeros occur in quiet sound
AT_EXTREME = 0.999  # the sign's own words: within 0.1 %
FLAT_TOP_SAMPLES, SURE_FLAT_TOP_SAMPLES, SURE_FLAT_TOPS = 3, 5, 2
"""Samples held at the extreme: suspect, sure, and how many suspects are sure."""
FEWEST_HITS, GENTLE_STEPS = 4, 4  # fewer hits than this are looked at one by one; gentle tops rise by so few steps
LOWEST_CLIPPED_PEAK = 0.02  # quieter recordings were not clipped, or turned down after


@dataclass(frozen=True, slots=True)
class Extremes:
    """The highest and lowest sample, the mean, the finest step in bits, and whether tops are flat.

    ``clipped``: the same extreme value is held for 3 or more samples in at least two places, or for 5 or more in one.
    ``n_clipped`` counts samples within 0.1 % of an extreme when clipped, else 0. ``bits`` is 24 when finer than 16.
    """

    highest: float
    lowest: float
    mean: float
    bits: int
    clipped: bool
    n_clipped: int

    @property
    def peak(self) -> float:
        """Largest magnitude."""
        return max(self.highest, -self.lowest)


def _blocks(samples: Samples) -> Iterator[Samples]:
    for start in range(0, samples.size, BLOCK_SAMPLES):
        yield samples[start : start + BLOCK_SAMPLES]
        let_go(samples)


def _parts(samples: Samples) -> Iterator[Samples]:
    for block in _blocks(samples):
        for start in range(0, block.size, CACHED_SAMPLES):
            yield block[start : start + CACHED_SAMPLES]


def extremes_of(recording: Recording) -> Extremes:
    """Read extremes, mean and finest step in one pass, flat tops in another, what is clipped in a third."""
    samples = recording.samples
    highest = lowest = total = 0.0
    bits = 8
    for part in _parts(samples):
        highest, lowest = max(highest, float(part.max())), min(lowest, float(part.min()))
        total += float(part.sum(dtype=np.float64))
        bits = max(bits, _finest_step(part, bits))
    lengths = [length for block in _blocks(samples) for length in _flat_tops(block, (highest, lowest), bits)]
    clipped = max(highest, -lowest) >= LOWEST_CLIPPED_PEAK and _tops_are_clipped(lengths)
    n_hits = sum(int(np.count_nonzero(at_extreme(part, highest, lowest))) for part in _parts(samples)) if clipped else 0
    return Extremes(highest, lowest, total / samples.size, bits, clipped, n_hits)


def at_extreme(samples: Samples, highest: float, lowest: float) -> npt.NDArray[np.bool_]:
    """Samples within 0.1 % of the recording's highest or lowest value."""
    above: npt.NDArray[np.bool_] = samples >= AT_EXTREME * highest if highest > 0 else np.zeros(samples.size, bool)
    if lowest < 0:
        above = above | (samples <= AT_EXTREME * lowest)
    return above


def _flat_tops(block: Samples, extremes: tuple[float, float], bits: int) -> list[int]:
    """Lengths of runs of 3 and more samples at the very extreme, into which the wave does not lead gently.

    A slow wave in coarse samples stays on its top step for a while too, but two samples further it is still near.
    """
    step = 0.0 if bits > 16 else 2.0 ** (1 - bits)
    lengths = []
    for extreme in extremes:
        held = block == np.float32(extreme)
        for first, last in runs(held) if np.count_nonzero(held) >= FLAT_TOP_SAMPLES else ():
            beside = [abs(extreme - float(block[i])) for i in (first - 2, last + 1) if 0 <= i < block.size]
            if last - first >= FLAT_TOP_SAMPLES and max(beside, default=1.0) > GENTLE_STEPS * step:
                lengths.append(last - first)
    return lengths


def _tops_are_clipped(lengths: list[int]) -> bool:
    return len(lengths) >= SURE_FLAT_TOPS or max(lengths, default=0) >= SURE_FLAT_TOP_SAMPLES


def clipped_share(block: Samples, extremes: Extremes) -> float:
    """Share of a sound's samples at the recording's extremes; 0 unless four or more, or a flat top, are there."""
    if not block.size or extremes.peak < LOWEST_CLIPPED_PEAK:
        return 0.0
    hits = at_extreme(block, extremes.highest, extremes.lowest)
    count = int(np.count_nonzero(hits))
    if count < FEWEST_HITS and not (
        extremes.clipped and _flat_tops(block, (extremes.highest, extremes.lowest), extremes.bits)
    ):
        return 0.0
    return count / block.size


def _finest_step(block: Samples, known: int) -> int:
    """Bits that hold a block exactly: 8, 16 or 24 (finer, or not whole steps of 16 bits)."""
    if known >= 24:
        return known
    for bits in (8, 16):
        if bits >= known and all(_whole(part, bits) for part in (block[:FIRST_SAMPLES], block)):
            return bits
    return 24


def _whole(samples: Samples, bits: int) -> bool:
    scaled = samples * np.float32(2 ** (bits - 1))
    return np.array_equal(scaled, np.rint(scaled))


def zero_runs(recording: Recording) -> tuple[Interval, ...]:
    """Runs of exact zeros of 3 ms and more, those at the recording's very ends included."""
    samples, rate = recording.samples, recording.sampling_rate_hz
    chunk = max(1, int(SHORTEST_ZERO_RUN_S * rate / 2))
    per_block = max(1, BLOCK_SAMPLES // chunk)
    silent = []
    for start in range(0, samples.size // chunk, per_block):
        stop = min(start + per_block, samples.size // chunk)
        part = samples[start * chunk : stop * chunk].reshape(-1, chunk)
        zero = part[:, 0] == 0  # others can't be
        zero[zero] = ~part[zero].any(axis=1)
        silent.append(zero)
        let_go(samples)
    if not silent:
        return ()
    found = []
    for first, last in runs(np.concatenate(silent)):
        begin, end = _stretched(samples, first * chunk, last * chunk, chunk)
        if end - begin >= SHORTEST_ZERO_RUN_S * rate:
            found.append(Interval(begin / rate, end / rate))
    return tuple(found)


def _stretched(samples: Samples, begin: int, end: int, chunk: int) -> tuple[int, int]:
    """A run of zeros widened to its true ends, which lie less than a chunk away."""
    before = np.nonzero(samples[max(0, begin - chunk) : begin])[0]
    begin = max(0, begin - chunk) + (int(before[-1]) + 1 if before.size else 0)
    after = np.nonzero(samples[end : end + chunk])[0]
    end = end + (int(after[0]) if after.size else min(chunk, samples.size - end))
    return begin, end
