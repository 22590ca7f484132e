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
FEWEST_DECAYS, FEWEST_PAUSES = 5, 3  # decays, and pauses, that a figure rests on


def read_decay(evidence: Evidence) -> Iterator[Reading]:
    """Reverberation time in s: typical slope of the last fall into the background before each pause."""
    for bands in (DECAY_BANDS, HIGH_DECAY_BANDS):
        times = [time for band in bands for time in _decays(evidence, band)]
        if len(times) >= FEWEST_DECAYS:
            yield Reading(float(np.median(times)))
            return


def _decays(evidence: Evidence, band: int) -> list[float]:
    power, hop = evidence.frames.power[:, band], evidence.frames.hop_s
    found = []
    for first, last in runs(evidence.quiet):
        noise = median(power[(first + last) // 2 : last])
        begin = max(0, first - round(LONGEST_S / hop))
        if first > 0 and noise > 0:
            found.append(_decay(power[begin : first + 20], noise, hop))
    return [time for time in found if time is not None]


def _decay(power: Floats, noise: float, hop_s: float) -> float | None:
    """Time for 60 dB in one fall (n,) into the noise, from the line through the backward-summed energy.

    ``E(t) = sum from t on of (power - noise)``, up to where the level, last 24 dB over the noise, sinks to 4 dB over
    it; the line goes through the last 20 dB of it, at least 15 being there.
    """
    strong = np.nonzero(power > noise * 10 ** (LEAST_RANGE_DB / 10))[0]
    if not strong.size:
        return None
    weak = np.nonzero(power[strong[-1] :] < noise * 10 ** (OVER_FLOOR_DB / 10))[0]
    if not weak.size:
        return None
    end = int(strong[-1] + weak[0])
    rest = max(float(power[max(0, end - 2) : end + 1].mean() - noise), 0.5 * noise)
    energy = np.cumsum(np.maximum(power[:end] - noise, 0.0)[::-1])[::-1]
    time: float | None = 0.5
    for _ in range(3):
        if time is None or not 0 < time < LONGEST_S:
            return None
        time = _line_time(decibels(energy + rest * time / (6 * np.log(10) * hop_s)), hop_s)
    return time


def _line_time(level: Floats, hop_s: float) -> float | None:
    """Time for 60 dB of the line through the last 20 dB (or all but 3) of a fall (n,) in dB; None under 15 dB."""
    spread = min(MOST_RANGE_DB, float(level[0] - level[-1]) - 3.0)
    if spread < LEAST_SPREAD_DB:
        return None
    start = int(np.nonzero(level >= level[-1] + spread)[0][-1])
    if level.size - start < 4:
        return 60.0 * (level.size - start) * hop_s / spread
    at = np.arange(level.size - start) * hop_s
    at -= at.mean()
    slope = float((at * level[start:]).sum() / (at * at).sum())
    return -60.0 / slope if slope < 0 else None


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
