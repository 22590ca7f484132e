"""Whether something cut the recording off: a steep edge at one frequency, in noise and sounds alike."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import cuts, decibels
from ..terms import Cut
from .spectra import grid_size, window_size

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy.typing as npt

    from ..terms import Interval, Recording

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
    rest = _mean_power(cuts(recording, pauses), rate) if pauses else None
    if rest is not None and not np.any(rest > 0):
        rest = None
    step_hz = rate / grid_size(rate)
    levels = _levels(recording, sounds)
    if not levels:
        return None
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


def _levels(recording: Recording, sounds: Sequence[Interval]) -> list[Floats]:
    """Levels (m,) of the sounds that are long enough."""
    spectra = (_mean_power([samples], recording.sampling_rate_hz) for samples in cuts(recording, sounds))
    return [decibels(spectrum) for spectrum in spectra if spectrum is not None]


def _cut_in(
    levels: Sequence[Floats], step_hz: float, gap_hz: float, least_db: float, pauses: Floats | None
) -> int | None:
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


def _knee(levels: Sequence[Floats], rest: Floats | None, step_hz: float, place: int) -> int:
    """Where the slope begins that a cut was found in: by sounds and pauses, whichever says later.

    A converter's filter falls on and on, deepest far above what it lets through whole.
    """
    sounds: Floats = np.median(levels, axis=0)
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


def _falls_of_sounds(levels: Sequence[Floats], step_hz: float, gap_hz: float, least_db: float) -> list[Floats] | None:
    """How deep each sound falls at each place; None once more than a quarter of them fall nowhere by the least."""
    most, shallow = int((1 - ROUGHLY) * (len(levels) - 1)) + 1, 0
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
    power = np.concatenate([[0.0], np.cumsum(10 ** (level_db / 10))])
    last = level_db.size - max(gap + side, round(NYQUIST_MARGIN_HZ / step_hz))
    found = np.zeros(level_db.size)
    places = np.arange(round(LOWEST_HZ / step_hz), last)
    if places.size == 0:
        return found
    below = decibels((power[places - gap] - power[places - gap - side]) / side)
    above = decibels((power[places + gap + side] - power[places + gap]) / side)
    usual = _running_median(level_db, wide)[places - gap - wide // 2]
    mean = decibels((power[side:] - power[:-side]) / side)
    highest = np.maximum.accumulate(mean[::-1])[::-1]
    rest = highest[np.minimum(places + gap, highest.size - 1)]
    below = np.minimum(below, usual + 3.0)
    found[places] = np.minimum(below - above, below - rest + STAYS_DB)
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
def _window(size: int) -> npt.NDArray[np.float32]:
    return np.blackman(size + 1)[:-1].astype(np.float32)


def _mean_power(pieces: Iterable[npt.NDArray[np.float32]], rate: int) -> Floats | None:
    """Mean power (m,) of half-overlapped 23 ms frames of all pieces, or None where none holds a frame."""
    from scipy import fft

    size, n_fft = window_size(rate), grid_size(rate)
    window = _window(size)
    total, count = np.zeros(n_fft // 2 + 1), 0
    for piece in pieces:
        if piece.size < size:
            continue
        framed = np.lib.stride_tricks.sliding_window_view(piece, size)[:: size // 2]
        spectrum = fft.rfft(framed * window, n_fft, axis=1)
        total += (spectrum.real**2 + spectrum.imag**2).astype(np.float64).sum(axis=0)
        count += len(framed)
    return total / count if count else None
