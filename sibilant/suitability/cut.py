"""Whether something cut the recording off: a steep edge at one frequency, in noise and sounds alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import decibels
from ..terms import Cut, Interval, Recording
from .framing import powers, starts_in
from .spectra import grid_size, window_size

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
LOWEST_HZ, NYQUIST_MARGIN_HZ = 2_500.0, 350.0
"""A cut lies between this and so far below half the rate, where converters fall off."""
GAP_HZ, SIDE_HZ, WIDE_HZ = 75.0, 225.0, 1_300.0
"""A fall is read from the 225 Hz below to the 225 Hz above a place, 75 Hz either side left out; what lies below is no
more than the median of 1.3 kHz, so that the flank of a whistle is no edge."""
SOFT_GAP_HZ, SOFT_FALL_DB, SOFT_ALONE_DB = 500.0, 14.0, 30.0
"""A soft edge, as speech coders leave, in pauses and sounds: no room's noise falls by so much in 1.2 kHz. In sounds
without a pause they leave 39 dB and more; the steepest invented sound in a room falls by 13."""
FALL_DB, FALL_ALONE_DB = 8.0, 20.0
"""Least fall where pauses show the same edge, and where there are only sounds: no mouth falls by 20 dB in 300 Hz into
what then stays that low, the steepest invented hump by 15; so a sharp edge of sounds counts beside pauses that a coder
has emptied, too."""
BESIDE_PAUSES = (GAP_HZ, FALL_DB), (SOFT_GAP_HZ, SOFT_FALL_DB)
ALONE = (GAP_HZ, FALL_ALONE_DB), (SOFT_GAP_HZ, SOFT_ALONE_DB)
"""Gap and least fall of a sharp and of a soft edge."""
STAYS_DB = 5.0
"""How much less than the fall everything above a cut may lie below what was there before it."""
ALIKE_HZ = 250.0  # cuts nearer than this are the same
SLOPE_HZ = 150.0
"""An edge whose deepest place lies so far above its first deep one is a slope, and is given by where it begins."""
KNEE_OF_PAUSES_DB, KNEE_DB, KNEE_ALONE_DB, REACH_HZ = 4.0, 6.0, 8.0, 4_000.0
"""How far down a slope begins, by the 1.3 kHz before it, and how far below the place found that is looked for. Without
pauses a sound's own fall, 13 dB in 1.2 kHz at the steepest, must not count."""
NEAR_HALF = 0.9
"""A slope over this share of half the rate is what any converter leaves there: files of 22.05 kHz hold 10 kHz."""
ROUGHLY = 0.75
"""Least share of the sounds that must show the edge."""


def find_cut(recording: Recording, sounds: Sequence[Interval], pauses: Sequence[Interval]) -> Cut | None:
    """The frequency at which something cut a recording off, or None.

    Parameters
    ----------
    recording : Recording
        The sound.
    sounds, pauses : sequence of Interval
        Its sibilants, and stretches of nothing but background.
    """
    rate = recording.sampling_rate_hz
    size, step_hz = window_size(rate), rate / grid_size(rate)
    levels = Levels(recording, [starts for starts in starts_in(recording, sounds, size) if starts])
    if not levels.sounds:
        return None
    quiet = [starts for starts in starts_in(recording, pauses, size) if starts]
    rest = _mean_power(recording, quiet) if quiet else None
    if rest is not None and not np.any(rest > 0):
        rest = None
    beside = [] if rest is None else [(*asked, rest) for asked in BESIDE_PAUSES]
    alone = [(*asked, None) for asked in (ALONE if rest is None else ALONE[:1])]
    found = (
        _cut_in(levels, step_hz, gap_hz, least_db, _falls_of_pauses(pauses_too, step_hz, gap_hz))
        for gap_hz, least_db, pauses_too in (*beside, *alone)
    )
    place = next((place for place in found if place is not None), None)
    return None if place is None else Cut(float(_knee(levels, rest, step_hz, place) * step_hz))


def _falls_of_pauses(rest: Floats | None, step_hz: float, gap_hz: float) -> Floats | None:
    """How deep the pauses fall near each place (m,)."""
    if rest is None:
        return None
    return _highest_within(edge_falls(decibels(rest), step_hz, gap_hz), round(ALIKE_HZ / step_hz))


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels (m,) of sounds, in order, each made when it is first looked at; ``sounds`` are the starts of their frames.

    Where nothing cut a recording, a few sounds tell so, and the others are never transformed.
    """

    recording: Recording
    sounds: Sequence[range]
    made: list[Floats] = field(default_factory=list)

    def __iter__(self) -> Iterator[Floats]:
        for place, starts in enumerate(self.sounds):
            if place == len(self.made):
                self.made.append(decibels(_mean_power(self.recording, [starts])))
            yield self.made[place]


def _cut_in(levels: Levels, step_hz: float, gap_hz: float, least_db: float, pauses: Floats | None) -> int | None:
    """The place of a fall over a gap that most sounds, and the pauses near it, show at least so deep.

    Of several, as where one coder's work was coded again, the lowest that is six tenths as deep as the deepest; of a
    slope where it begins, for above that the sound is no longer whole.
    """
    if pauses is not None and pauses.max() < least_db:
        return None
    falls = _falls_of_sounds(levels, step_hz, gap_hz, least_db)
    if falls is None:
        return None
    score: Floats = np.quantile(falls, 1 - ROUGHLY, axis=0)
    if pauses is not None:
        score = np.minimum(score, pauses)
    deep = np.flatnonzero(score >= max(least_db, 0.6 * float(np.max(score))))
    if deep.size == 0:
        return None
    first = score[deep[0] : deep[0] + round(2 * ALIKE_HZ / step_hz)]
    deepest = int(np.argmax(first))
    return int(deep[0] + (deepest if deepest * step_hz < SLOPE_HZ else 0))


def _knee(levels: Levels, rest: Floats | None, step_hz: float, place: int) -> int:
    """Where the slope begins that a cut was found in: by sounds and pauses, whichever says later.

    A converter's filter falls on and on, deepest far above what it lets through whole.
    """
    sounds: Floats = np.median(list(levels), axis=0)
    own = [_begin(sounds, step_hz, place, KNEE_DB if rest is not None else KNEE_ALONE_DB)]
    own += [_begin(decibels(rest), step_hz, place, KNEE_OF_PAUSES_DB)] if rest is not None else []
    knee = max(own)
    near_half = place > NEAR_HALF * (sounds.size - 1)
    return place if near_half or (place - knee) * step_hz < SLOPE_HZ else knee


def _begin(level_db: Floats, step_hz: float, place: int, fall_db: float) -> int:
    """First place from which all up to ``place`` stays so far below the median of the 1.3 kHz before it."""
    side, wide, reach = (max(1, round(width / step_hz)) for width in (SIDE_HZ, WIDE_HZ, REACH_HZ))
    places = np.arange(max(place - reach, wide), place + 1)
    power = np.concatenate([[0.0], np.cumsum(10 ** (level_db / 10))])
    mean = decibels((power[places + (side + 1) // 2] - power[places - side // 2]) / side)
    highest = np.maximum.accumulate(mean[::-1])[::-1]
    usual = _running_median(level_db, wide)[places - wide // 2]
    below = np.flatnonzero(highest <= usual - fall_db)
    return int(places[below[0]]) if below.size else place


def _falls_of_sounds(levels: Levels, step_hz: float, gap_hz: float, least_db: float) -> list[Floats] | None:
    """How deep each sound falls at each place; None once more than a quarter of them fall nowhere by the least."""
    most, shallow = int((1 - ROUGHLY) * (len(levels.sounds) - 1)) + 1, 0
    found: list[Floats] = []
    for level in levels:
        found.append(edge_falls(level, step_hz, gap_hz))
        shallow += bool(found[-1].max() < least_db)
        if shallow > most:
            return None
    return found


def edge_falls(level_db: Floats, step_hz: float, gap_hz: float = GAP_HZ) -> Floats:
    """Fall (m,) in dB of a spectrum at each place into what then stays down; 0 where none is looked for."""
    gap, side, wide = (max(1, round(width / step_hz)) for width in (gap_hz, SIDE_HZ, WIDE_HZ))
    first, last = round(LOWEST_HZ / step_hz), level_db.size - max(gap + side, round(NYQUIST_MARGIN_HZ / step_hz))
    found = np.zeros(level_db.size)
    if last <= first:
        return found
    power = np.concatenate([[0.0], np.cumsum(10 ** (level_db / 10))])
    mean = decibels((power[side:] - power[:-side]) / side)  # of the 225 Hz that begin at a bin
    highest = np.maximum.accumulate(mean[::-1])[::-1]
    usual = _running_median(level_db, wide)[first - gap - wide // 2 : last - gap - wide // 2]
    above, rest = mean[first + gap : last + gap], highest[first + gap : last + gap]
    below = np.minimum(mean[first - gap - side : last - gap - side], usual + 3.0)
    found[first:last] = np.minimum(below - above, below - rest + STAYS_DB)
    return np.maximum(found, 0.0)


def _running_median(level_db: Floats, width: int) -> Floats:
    from scipy.ndimage import median_filter

    found: Floats = median_filter(level_db, size=width, mode="nearest")
    return found


def _highest_within(values: Floats, reach: int) -> Floats:
    from scipy.ndimage import maximum_filter1d

    found: Floats = maximum_filter1d(values, 2 * reach + 1)
    return found


@lru_cache(maxsize=8)
def _window(size: int) -> Floats:
    return np.asarray(np.blackman(size + 1)[:-1])


def _mean_power(recording: Recording, starts: Sequence[range]) -> Floats:
    """Mean power (m,) of 23 ms frames, given by their first samples.

    Transforms of twice a frame hold all there is in its power; the mean alone is brought onto the grid.
    """
    size = window_size(recording.sampling_rate_hz)
    total = np.zeros(size + 1)
    for power in powers(recording, starts, _window(size), 2 * size):
        total += power.sum(axis=0)
    return _on_grid(total / sum(map(len, starts)), grid_size(recording.sampling_rate_hz))


def _on_grid(power: Floats, n_fft: int) -> Floats:
    """Power (size + 1,) of frames of ``size`` samples at the frequencies of a transform of ``n_fft``.

    By way of the autocorrelation, which ends at ``size`` samples.
    """
    from scipy import fft

    size = power.size - 1
    half = fft.irfft(power, 2 * size)[:size]
    whole = np.concatenate([half, np.zeros(n_fft - 2 * size + 1), half[:0:-1]])
    found: Floats = np.maximum(fft.rfft(whole).real, 0.0)
    return found
