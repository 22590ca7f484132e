"""Signs in how sounds end: the room's decay, and a background that is louder beside speech than in the pauses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import decibels, runs
from ..levels.ranks import median
from .evidence import Evidence
from .rules import ALL, OWN, Reading, Rule

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

DECAY_BANDS, HIGH_DECAY_BANDS = (1, 2), (3, 4)
"""Frame bands 120-1000 Hz and 1-2 kHz, in which rooms are rated; 2-4 and 4-6 kHz where these tell nothing."""
# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
OVER_FLOOR_DB, LEAST_RANGE_DB, MOST_RANGE_DB, LONGEST_S = 4.0, 24.0, 20.0, 2.0
"""A decay from so far above the background to this near, over so much at most, in so long."""
LEAST_SPREAD_DB = 15.0  # a shorter fall gives no slope
INTO_FRAMES = 20  # frames of the pause in which a fall may still end
FEWEST_DECAYS, FEWEST_PAUSES = 5, 3  # decays, and pauses, that a figure rests on


def read_decay(evidence: Evidence) -> Iterator[Reading]:
    """Reverberation time in s: typical slope of the last fall into the background before each pause."""
    for bands in (DECAY_BANDS, HIGH_DECAY_BANDS):
        times = np.concatenate([_decay_times(evidence, band) for band in bands])
        if len(times) >= FEWEST_DECAYS:
            yield Reading(float(np.median(times)))
            return


def _decay_times(evidence: Evidence, band: int) -> Floats:
    """Times for 60 dB (k,) in a band: those of the falls into the pauses that give one."""
    power, hop_s = evidence.frames.power[:, band], evidence.frames.hop_s
    into = [(first, median(power[(first + last) // 2 : last])) for first, last in runs(evidence.quiet) if first > 0]
    into = [(first, noise) for first, noise in into if noise > 0]
    if not into:
        return np.empty(0)
    at = np.array([first for first, _ in into])[:, None] + np.arange(-round(LONGEST_S / hop_s), INTO_FRAMES)
    there = (at >= 0) & (at < power.size)
    falls = np.where(there, power[np.where(there, at, 0)], np.nan)
    times = _times_of(falls, np.array([[noise] for _, noise in into]), hop_s)
    return times[~np.isnan(times)]


def _times_of(falls: Floats, noise: Floats, hop_s: float) -> Floats:
    """Time for 60 dB (n,) in each fall (n, m) into its noise (n, 1), from the line through the backward-summed energy.

    ``E(t) = sum from t on of (power - noise)``, up to where the level, last 24 dB over the noise, sinks to 4 dB over
    it; the line goes through the last 20 dB of it, at least 15 being there. NaN where a fall gives no time, and in a
    fall where nothing was recorded.
    """
    places = np.arange(falls.shape[1])
    strong = falls > noise * 10 ** (LEAST_RANGE_DB / 10)
    last_strong = np.where(strong, places, -1).max(axis=1)[:, None]
    weak = (falls < noise * 10 ** (OVER_FLOOR_DB / 10)) & (places > last_strong)
    given = (last_strong[:, 0] >= 0) & weak.any(axis=1)
    falls, noise, end = falls[given], noise[given], np.argmax(weak[given], axis=1)[:, None]
    beside = np.take_along_axis(falls, np.maximum(end - np.arange(3), 0), axis=1)
    rest = np.maximum(np.nanmean(beside, axis=1, keepdims=True) - noise, 0.5 * noise)
    above = np.where(places < end, np.fmax(falls - noise, 0.0), 0.0)
    energy = np.cumsum(above[:, ::-1], axis=1)[:, ::-1]
    times = np.full(end.shape, 0.5)
    for _ in range(3):
        times = np.where((times > 0) & (times < LONGEST_S), times, np.nan)
        times = _line_times(decibels(energy + rest * times / (6 * np.log(10) * hop_s)), end, hop_s)
    return times[:, 0]


def _line_times(level: Floats, end: npt.NDArray[np.intp], hop_s: float) -> Floats:
    """Time for 60 dB (n, 1) of the line through the last 20 dB (or all but 3) of falls (n, m) in dB.

    ``end`` (n, 1) is one past the last frame of each. NaN under 15 dB; less than four frames are taken as they fall,
    without a line.
    """
    places = np.arange(level.shape[1])
    lowest = np.take_along_axis(level, end - 1, axis=1)
    spread = np.minimum(MOST_RANGE_DB, level[:, :1] - lowest - 3.0)
    start = np.where(level >= lowest + spread, places, 0).max(axis=1, keepdims=True)
    n_frames = end - start
    at = np.where((places >= start) & (places < end), places - (start + end - 1) / 2, 0.0) * hop_s
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.sum(at * level, axis=1, keepdims=True) / np.sum(at * at, axis=1, keepdims=True)
        times = np.where(n_frames < 4, 60.0 * n_frames * hop_s / spread, -60.0 / slope)
    found: Floats = np.where((spread >= LEAST_SPREAD_DB) & ((n_frames < 4) | (slope < 0)), times, np.nan)
    return found


RAISED_DB, MOST_RAISED_DB, SHAPE_DB = 6.0, 70.0, 1.5
"""By so much a background is raised and no speech; with its shape kept within this."""


def read_pumping(evidence: Evidence) -> Iterator[Reading]:
    """Time in ms for each pause in which the same background stands 6 dB and more higher beside speech."""
    frames = evidence.frames
    quiet = runs(evidence.quiet)
    if len(quiet) < FEWEST_PAUSES:
        return
    level = decibels(frames.power[:, 2:])
    level = level[:, np.median(level[evidence.quiet], axis=0) > -140]
    if level.shape[1] < 4:
        return
    moves = level - np.median(level[evidence.quiet], axis=0)
    together = np.median(moves, axis=1)
    raised = (together > RAISED_DB) & (together < MOST_RAISED_DB)
    raised &= np.ptp(moves, axis=1) <= 2 * SHAPE_DB
    yield Reading(1000 * frames.hop_s * float(raised.sum()) / len(quiet))


DECAY = Rule(
    "room_decay",
    "long room decay",
    "reverberation time: slope of the last fall into the background before each pause, below 2 kHz, typical of five and"
    " more; limit 0.7 s, 0.04 allowed for the estimate",
    "s",
    0.66,
    None,
    ("durations",),
    (),
    "The room rings: come to 15-20 cm from the microphone, and choose a room with carpet, curtains or soft furniture.",
    "own; school rooms are designed for 0.6 s (read)",
    read_decay,
    weight=5,
)
PUMPING = Rule(
    "pumping",
    "background louder beside speech than in the pauses",
    "time for each pause in which the pauses' own background, all bands alike, stands 6 dB and more higher",
    "ms",
    2.0,
    None,
    ALL,
    (),
    "A noise gate or noise suppression opens and shuts around the words: switch it off.",
    OWN,
    read_pumping,
    weight=7,
)
RULES = (DECAY, PUMPING)
