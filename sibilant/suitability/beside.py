"""The pauses beside each word that the room's noise is read from, and the noise itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..acoustics import noise_spectra
from ..levels.bands import Frames, decibels, runs
from ..levels.ranks import median
from ..terms import Interval, NoiseSpectrum, Recording

if TYPE_CHECKING:
    import numpy.typing as npt

    Flags = npt.NDArray[np.bool_]

AFTER_S = 0.25
"""Time after a word that is no pause: the room still rings."""
REACH_S, MOST_FRAMES = 3.0, 50
"""How far from a word its pauses may lie, and how many frames of 10 ms are taken on each side."""
BREATH_DB, BREATH_FRAMES = 5.0, 5
"""A stretch of 50 ms that stands so far over the median of the pauses near it is a breath, or something like it."""


def stretches_of(frames: Frames, flags: Flags) -> list[Interval]:
    """Stretches of the frames (n,) that are marked, such as those of ``settled``."""
    return [_stretch(frames, first, last) for first, last in runs(flags)]


def settled(frames: Frames, quiet: Flags) -> Flags:
    """Pause frames (n,) later than 250 ms after the sound before them and without breaths."""
    rest = quiet.copy()
    skip = round(AFTER_S / frames.hop_s)
    for first, _ in runs(quiet):
        if first > 0:
            rest[first : first + skip] = False
    level = decibels(_smooth(frames.band(1_000.0, 10_000.0), BREATH_FRAMES))
    for first, last in runs(rest):
        near = slice(max(0, first - 300), last + 300)
        usual = median(level[near][rest[near]])
        rest[first:last] &= level[first:last] <= usual + BREATH_DB
    return rest


def noise_beside(
    recording: Recording, frames: Frames, rest: Flags, sounds: Sequence[Interval], words: Sequence[Interval | None]
) -> list[NoiseSpectrum | None]:
    """Noise spectrum beside the word of each sound, or the sound where no word is known; None without a pause.

    ``rest`` (n,) marks the frames of ``settled``.
    """
    places = np.flatnonzero(rest)
    times_s = frames.times_s[rest]
    around = [word or sound for sound, word in zip(sounds, words, strict=True)]
    asked = sorted(set(around), key=lambda word: word.onset_s)
    near = (_sides(times_s, word) for word in asked)
    sides = [(_stretches(frames, places[before]), _stretches(frames, places[after])) for before, after in near]
    known = dict(zip(asked, noise_spectra(recording, sides), strict=True))
    return [known[word] for word in around]


def _sides(times_s: npt.NDArray[np.float64], word: Interval) -> tuple[slice, slice]:
    """The nearest of the pause frames at times (n,) on either side of a word, at most 50 each."""
    begin, first = np.searchsorted(times_s, word.onset_s - REACH_S, "right"), np.searchsorted(times_s, word.onset_s)
    last, end = np.searchsorted(times_s, word.offset_s, "right"), np.searchsorted(times_s, word.offset_s + REACH_S)
    return slice(max(begin, first - MOST_FRAMES), first), slice(last, min(end, last + MOST_FRAMES))


def _stretches(frames: Frames, places: npt.NDArray[np.intp]) -> list[Interval]:
    if not places.size:
        return []
    steps = np.flatnonzero(np.diff(places) > 1)
    firsts, lasts = places[np.append(0, steps + 1)].tolist(), places[np.append(steps, -1)].tolist()
    return [_stretch(frames, first, last + 1) for first, last in zip(firsts, lasts, strict=True)]


def _stretch(frames: Frames, first: int, last: int) -> Interval:
    """From the start of the first frame to the end of the last (one past it given)."""
    return Interval(first * frames.hop_s, (last + 1) * frames.hop_s)


def _smooth(power: npt.NDArray[np.float64], width: int) -> npt.NDArray[np.float64]:
    half = width // 2
    total = np.concatenate([[0.0], np.cumsum(np.pad(power, half, mode="edge"))])
    found: npt.NDArray[np.float64] = (total[width:] - total[:-width]) / width
    return found
