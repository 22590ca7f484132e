"""Everything the signs are read from, gathered once: frames, pauses, spectra and levels of the sounds, zeros."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import Frames, cuts, frames_of, pauses_of
from ..levels.ranks import median
from ..terms import Cut, Interval, NoiseSpectrum, Recording, SibilantInterval
from .beside import noise_beside, settled, stretches_of
from .cut import find_cut
from .samples import Extremes, clipped_share, extremes_of, zero_runs
from .spectra import bandwidth_of, pooled_bandwidth, spectrum_grid, stretch_spectra

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
LOWEST_NOISE_BAND_HZ = 5_000.0  # a recording that reaches less high has no band to judge the noise by
WORD_S, SOUND_S = 0.05, 0.3
"""How far around a word, or around a sound whose word is not known, the lowest level is looked for."""
NEAR_FRAMES, NEAR_S = 25, 2.0
"""The noise beside a sound: the nearest 25 pause frames on each side, within 2 s."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of a recording and its sounds.

    ``sounds`` and ``words`` are stretches (a word is None where unknown); ``quiet`` (n_frames,) marks pauses;
    ``spectra`` (n_sounds, m) on ``grid_hz`` (m,); ``snr_db`` holds NaN where no pause is near; ``intruded_db`` is how
    far the lowest level around each word stands over its pauses; ``cut`` is where
    something cut the recording off; ``noise`` is that of the pauses beside each sound's word.
    """

    recording: Recording
    sounds: tuple[Interval, ...]
    words: tuple[Interval | None, ...]
    frames: Frames
    quiet: Flags
    grid_hz: Floats
    spectra: Floats
    bandwidths_hz: tuple[float, ...]
    bandwidth_hz: float | None
    snr_db: Floats
    intruded_db: Floats
    clipped_shares: tuple[float, ...]
    extremes: Extremes
    zeros: tuple[Interval, ...]
    cut: Cut | None
    noise: tuple[NoiseSpectrum | None, ...]

    @property
    def reach_hz(self) -> float:
        """Up to where the recording holds sound: to where it is cut off, or half its rate."""
        half = self.recording.sampling_rate_hz / 2
        return half if self.cut is None else min(half, self.cut.frequency_hz)


def middle_half(interval: Interval) -> Interval:
    """The middle half of a stretch.

    Examples
    --------
    >>> middle_half(Interval(1.0, 1.4))
    Interval(onset_s=1.1, offset_s=1.2999999999999998)
    """
    quarter = interval.duration_s / 4
    return Interval(interval.onset_s + quarter, interval.offset_s - quarter)


def gather(recording: Recording, sounds: Sequence[SibilantInterval], words: Sequence[Interval | None] = ()) -> Evidence:
    """Gather the evidence, each statistic once."""
    stretches = tuple(_within(sound.interval, recording) for sound in sounds)
    around = tuple(words) if words else (None,) * len(stretches)
    frames = frames_of(recording)
    taken = [*stretches, *(word for word in dict.fromkeys(around) if word is not None)]
    quiet = pauses_of(frames, taken)
    rest = settled(frames, quiet)
    grid = spectrum_grid(recording.sampling_rate_hz)
    spectra = stretch_spectra(recording, [_inner(stretch) for stretch in stretches])
    extremes = extremes_of(recording)
    bandwidths = tuple(bandwidth_of(power, grid) for power in spectra)
    cut = find_cut(recording, stretches, stretches_of(frames, rest))
    reach_hz = min(cut.frequency_hz if cut is not None else np.inf, recording.sampling_rate_hz / 2)
    snr_db, intruded_db = _signal_to_noise(frames, quiet, stretches, around, reach_hz)
    return Evidence(
        recording=recording,
        sounds=stretches,
        words=around,
        frames=frames,
        quiet=quiet,
        grid_hz=grid,
        spectra=spectra,
        bandwidths_hz=bandwidths,
        bandwidth_hz=pooled_bandwidth(bandwidths),
        snr_db=snr_db,
        intruded_db=intruded_db,
        clipped_shares=tuple(clipped_share(samples, extremes) for samples in cuts(recording, stretches)),
        extremes=extremes,
        zeros=zero_runs(recording),
        cut=cut,
        noise=tuple(noise_beside(recording, frames, rest, stretches, around)),
    )


def _inner(interval: Interval) -> Interval:
    """A stretch without a tenth at either end."""
    tenth = interval.duration_s / 10
    return Interval(interval.onset_s + tenth, interval.offset_s - tenth)


def _within(interval: Interval, recording: Recording) -> Interval:
    end = recording.duration_s
    return Interval(min(max(interval.onset_s, 0.0), end), min(max(interval.offset_s, 0.0), end))


def _signal_to_noise(
    frames: Frames,
    quiet: Flags,
    stretches: Sequence[Interval],
    words: Sequence[Interval | None],
    reach_hz: float,
) -> tuple[Floats, Floats]:
    """Level of each sound over the noise beside it, both at 4-10 kHz, the noise taken out of the sound's.

    ``10 log10((P_sound - P_noise) / P_noise)``. P_noise is the median of the nearest pause frames, the louder side, or
    the lowest 30 ms around the word where that is higher, as when a chair scrapes through it. Kept between -10 and
    90 dB; unknown (NaN) without a pause, or where the band holds nothing to speak of. And how far that lowest level
    stands over the pauses, in dB.
    """
    power = frames.band(4_000.0, 10_000.0)
    places, short = np.nonzero(quiet)[0], (power[:-2] + power[1:-1] + power[2:]) / 3
    found, intruded = np.full(len(stretches), np.nan), np.zeros(len(stretches))
    if reach_hz < LOWEST_NOISE_BAND_HZ:
        return found, intruded
    for index, (stretch, word) in enumerate(zip(stretches, words, strict=True)):
        noise = _noise_beside(power, places, frames.span(stretch), frames.hop_s)
        if noise is None:
            continue
        lowest = _lowest_around(short, frames, word or stretch, WORD_S if word else SOUND_S)
        intruded[index] = 10 * np.log10(max(lowest, 1e-15) / max(noise, 1e-15))
        noise = max(noise, lowest)
        signal = float(power[frames.span(middle_half(stretch))].mean())
        ratio = (signal - noise) / max(noise, 1e-15)
        found[index] = min(max(10 * np.log10(max(ratio, 1e-9)), -10.0), 90.0)
    return found, intruded


def _lowest_around(short: Floats, frames: Frames, stretch: Interval, reach_s: float) -> float:
    """Lowest mean of three frames in a stretch and ``reach_s`` around it; 0 when that is not wholly recorded.

    ``short`` (n - 2,) holds the means of three that begin at each of the n frames.
    """
    end_s = len(frames.power) * frames.hop_s
    if stretch.onset_s - reach_s < 0 or stretch.offset_s + reach_s > end_s:
        return 0.0
    span = frames.span(Interval(stretch.onset_s - reach_s, stretch.offset_s + reach_s))
    return float(short[span.start : span.stop - 2].min()) if span.stop - span.start > 2 else 0.0


def _noise_beside(power: Floats, places: npt.NDArray[np.int64], span: slice, hop_s: float) -> float | None:
    reach = round(NEAR_S / hop_s)
    split = int(np.searchsorted(places, span.start))
    before = places[max(0, split - NEAR_FRAMES) : split]
    after = places[split : split + NEAR_FRAMES]
    sides = [before[before >= span.start - reach], after[after < span.stop + reach]]
    levels = [median(power[side]) for side in sides if side.size >= 4]
    return max(levels, default=None)
