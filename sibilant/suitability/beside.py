"""The pauses beside each word that the room's noise is read from, and the noise itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..acoustics import noise_spectrum
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


def quiet_stretches(frames: Frames, quiet: Flags) -> list[Interval]:
    """Stretches of pause, 250 ms after what came before left out, breaths left out."""
    rest = settled(frames, quiet)
    return [_stretch(frames, first, last) for first, last in runs(rest)]


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
    recording: Recording, frames: Frames, quiet: Flags, sounds: Sequence[Interval], words: Sequence[Interval | None]
) -> list[NoiseSpectrum | None]:
    """Noise spectrum beside the word of each sound, or the sound where no word is known; None without a pause."""
    places = np.flatnonzero(settled(frames, quiet))
    around = [word or sound for sound, word in zip(sounds, words, strict=True)]
    held: dict[int, npt.NDArray[np.float64]] = {}
    known = {word: _beside(recording, frames, (places, word), held) for word in dict.fromkeys(around)}
    return [known[word] for word in around]


def _beside(
    recording: Recording,
    frames: Frames,
    near: tuple[npt.NDArray[np.intp], Interval],
    held: dict[int, npt.NDArray[np.float64]],
) -> NoiseSpectrum | None:
    places, word = near
    times_s = (places + 1) * frames.hop_s
    before = places[(times_s < word.onset_s) & (times_s > word.onset_s - REACH_S)][-MOST_FRAMES:]
    after = places[(times_s > word.offset_s) & (times_s < word.offset_s + REACH_S)][:MOST_FRAMES]
    return noise_spectrum(recording, _stretches(frames, before), _stretches(frames, after), held=held)


def _stretches(frames: Frames, places: npt.NDArray[np.intp]) -> list[Interval]:
    flags = np.zeros(len(frames.power), dtype=bool)
    flags[places] = True
    return [_stretch(frames, first, last) for first, last in runs(flags)]


def _stretch(frames: Frames, first: int, last: int) -> Interval:
    """From the start of the first frame to the end of the last (one past it given)."""
    return Interval(first * frames.hop_s, (last + 1) * frames.hop_s)


def _smooth(power: npt.NDArray[np.float64], width: int) -> npt.NDArray[np.float64]:
    half = width // 2
    total = np.concatenate([[0.0], np.cumsum(np.pad(power, half, mode="edge"))])
    found: npt.NDArray[np.float64] = (total[width:] - total[:-width]) / width
    return found
