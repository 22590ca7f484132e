"""Following one frication: its band, its level every millisecond, its plateau, and the voice beneath it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..levels.coarse import SILENCE_DB, Float32s, to_db
from ..levels.fine import FineLevels
from ..levels.ranks import percentile
from ..terms.sound import Beside

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
CORE_DROP_DB = 15.0  # the criterion's (docs/boundaries.md), as are the band's depth and lowest frequency
BAND_DEPTH_DB = 25.0  # the band reaches as far as the spectrum stays within this of its peak
BAND_OVER_FLOOR = 16.0  # and this many times (12 dB) over the floor
LOWEST_BAND_HZ = 1200.0  # but no lower: voice
NARROWEST_BAND_HZ = 2000.0  # a narrower band is widened about its middle
SUSTAINED_MS = 4  # a crossing lasts so long (docs/boundaries.md)
MOST_CONTRAST_DB = 25.0  # beyond this a frequency tells no better from the voice
CORE_BRIDGE_MS = 15  # gaps in a core up to this are bridged
PITCH_SMOOTHING_MS = 10  # over one period of a low voice
NEAR_PLATEAU_DB = 10.0  # levels within this of the plateau make the core's middle


@dataclass(frozen=True, slots=True)
class Found:
    """One edge in (fractional) frames, before it is given as an ``Edge``."""

    frame: float
    beside: Beside
    floor_limited: bool = False


@dataclass(frozen=True, slots=True)
class Beyond:
    """What stands beside a sound as the prompt has it: its own phone and its neighbours (empty: unknown, or none)."""

    phone: str = ""
    previous_phone: str = ""
    next_phone: str = ""


@dataclass(frozen=True, slots=True)
class Track:
    """Levels every millisecond, (n,).

    ``high`` in the frication's band, ``low`` at 150 to 950 Hz and ``steady`` the same over 10 ms, ``hiss`` from 3 kHz
    on. ``first`` and ``last`` are the outermost frames of the seed within 15 dB of the plateau; ``low_floor_db`` is the
    quietest tenth of ``low``.
    """

    high: Float32s
    low: Float32s
    steady: Float32s
    hiss: Float32s
    plateau_db: float
    first: int
    last: int
    band_hz: tuple[float, float]
    low_floor_db: float


def followed_band(fine: FineLevels, seed: slice) -> tuple[float, float]:
    """Band in which a frication stands out: around its strongest part, down to 25 dB below, 2 kHz wide or more.

    Bins less than 12 dB over the floor are left out where others are.
    """
    usable = fine.bins_of(min(LOWEST_BAND_HZ, fine.top_hz / 2), fine.top_hz)
    level = fine.power[seed, usable].mean(axis=0)
    rest = fine.floor[usable]
    clear = level > BAND_OVER_FLOOR * rest
    spectrum = to_db(np.maximum(level - rest, 0.05 * level))
    if clear.any():
        spectrum = np.where(clear, spectrum, SILENCE_DB)
    spectrum = np.convolve(np.pad(spectrum, 1, mode="edge"), np.full(3, 1 / 3), mode="valid").astype(np.float32)
    peak = int(np.argmax(spectrum))
    outside = np.flatnonzero(spectrum <= spectrum[peak] - BAND_DEPTH_DB)
    first = int(outside[outside < peak].max(initial=-1)) + 1
    last = int(outside[outside > peak].min(initial=spectrum.size)) - 1
    frequency = fine.frequency_hz[usable]
    low, high = float(frequency[first]), float(frequency[last])
    if high - low < NARROWEST_BAND_HZ:
        middle = (low + high) / 2
        low = max(float(frequency[0]), middle - NARROWEST_BAND_HZ / 2)
        high = min(float(frequency[-1]), middle + NARROWEST_BAND_HZ / 2)
    return low, high


def track(fine: FineLevels, seed: slice) -> Track:
    """Follow a frication: its band, its plateau (75th percentile of what is above -15 dB) and where that is."""
    band = followed_band(fine, seed)
    high, low = smoothed(fine.level_db(*band), 3), fine.low_db
    first, last = seed.start, seed.stop - 1
    plateau = percentile(high[seed], 75)
    for _ in range(3):
        before = first, last, plateau
        first, last = _core_reach(high, first, last, plateau - CORE_DROP_DB)
        plateau = percentile(high[first : last + 1], 75)
        if before == (first, last, plateau):
            break
    steady, floor = smoothed(low, PITCH_SMOOTHING_MS), percentile(smoothed(low, 20), 10)
    return Track(high, low, steady, fine.hiss_db, plateau, first, last, band, floor)


def _core_reach(level: Float32s, first: int, last: int, threshold_db: float) -> tuple[int, int]:
    """Outermost frames above a threshold of the weightiest piece; pieces less than 15 ms apart count as one."""
    strong = np.flatnonzero(level[first : last + 1] > threshold_db) + first
    gaps = np.flatnonzero(strong[1:] - strong[:-1] > CORE_BRIDGE_MS) + 1
    if not gaps.size:
        return int(strong[0]), int(strong[-1])
    pieces = np.split(strong, gaps)
    best = max(pieces, key=lambda piece: float((level[piece] - threshold_db).sum()))
    return int(best[0]), int(best[-1])


def against_voice(fine: FineLevels, way: Track, voice: slice) -> Track:
    """Follow the same frication in the band where it stands out best against a voiced sound beside it.

    ``voice``: frames of the voiced sound. The band: around the greatest difference of the two spectra (in dB, among
    bins down to 15 dB below the frication's peak), as far as it stays within 8 dB, 1.5 kHz wide or more.
    """
    usable = fine.bins_of(min(LOWEST_BAND_HZ, fine.top_hz / 2), fine.top_hz)
    sound = to_db(fine.power[way.first : way.last + 1, usable].mean(axis=0))
    beside = to_db(fine.power[voice, usable].mean(axis=0))
    contrast = np.where(sound > sound.max() - 15.0, np.minimum(sound - beside, MOST_CONTRAST_DB), -200.0)
    contrast = np.convolve(np.pad(contrast, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
    peak = int(np.argmax(contrast))
    outside = np.flatnonzero(contrast <= contrast[peak] - 8.0)
    frequency = fine.frequency_hz[usable]
    low = float(frequency[int(outside[outside < peak].max(initial=-1)) + 1])
    high = float(frequency[int(outside[outside > peak].min(initial=contrast.size)) - 1])
    if high - low < 1500.0:
        low, high = max(float(frequency[0]), low - 750.0), min(float(frequency[-1]), high + 750.0)
    level = fine.level_db(low, high)
    plateau = percentile(level[way.first : way.last + 1], 75)
    strong = np.flatnonzero(level[way.first : way.last + 1] > plateau - NEAR_PLATEAU_DB) + way.first
    return replace(way, high=level, plateau_db=plateau, first=int(strong[0]), last=int(strong[-1]), band_hz=(low, high))


def voiced_level(way: Track) -> float:
    """Level of the loudest voice in the stretch, at 150 to 950 Hz."""
    return percentile(way.steady, 97)


def smoothed(level_db: Float32s, width: int, part: slice = slice(None)) -> Float32s:
    """Moving average of the power over ``width`` frames, back in dB, of all frames or of a part of them: (n,).

    Examples
    --------
    >>> import numpy as np
    >>> smoothed(np.array([0.0, 0.0, 0.0, -140.0], dtype=np.float32), 2).round(1).tolist()
    [0.0, 0.0, 0.0, -3.0]
    """
    first, last, _ = part.indices(level_db.size)
    if first >= last:
        return level_db[:0]
    begin = max(0, first - width)
    power = np.power(10.0, level_db[begin : last + width].astype(np.float64) / 10.0)
    left, n = width // 2, power.size
    total = np.zeros(n + width)  # a leading zero, then the powers with both ends held
    total[1 : left + 1], total[left + 1 : left + 1 + n], total[left + 1 + n :] = power[0], power, power[-1]
    np.cumsum(total, out=total)
    mean = np.maximum(total[width:] - total[:-width], 0.0) / width
    return to_db(mean[first - begin : last - begin])


def crossing(level_db: Float32s, start: int, step: int, threshold_db: float, *, sustained: int = SUSTAINED_MS) -> float:
    """Fractional frame where a level, followed from ``start`` outwards, first falls below a threshold and stays there.

    ``step`` is -1 or 1; ``sustained`` is for how many frames it stays; with no crossing, the last frame reached.

    Examples
    --------
    >>> import numpy as np
    >>> crossing(np.array([0.0, 0.0, -20.0, -20.0], dtype=np.float32), 0, 1, -10.0, sustained=2)
    1.5
    """
    line = level_db[start::step] if step > 0 else level_db[start::-1]
    k = (line < threshold_db).tobytes().find(b"\x01" * max(1, min(sustained, line.size)))
    if k < 0:
        return float(start + step * (line.size - 1))
    if k == 0:
        return float(start)
    above, under = float(line[k - 1]), float(line[k])
    return start + step * (k - 1 + min(1.0, max(0.0, (above - threshold_db) / max(above - under, 1e-6))))
