"""Signs in the background: noise beside the sounds, gain riding, hum, tones."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import decibels, hann, runs
from ..levels.ranks import median, medians, percentile
from .evidence import Evidence
from .rules import ALL, OWN, SPECTRA, Reading, Rule

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
PIECE_FRAMES, FEWEST_PIECES, FEWEST_PAUSES = 5, 8, 3  # pauses in pieces of 50 ms; pieces and pauses needed
LATE_S, LEAST_RISE_DB = 0.4, 1.0  # from here on in a pause the gain has come to rest; less than this much is no rise
COHERENCE_DB = 1.5  # bands that move together within this move by the gain, not by a noise
LONGEST_WINDOW_S, SHORTEST_WINDOW_S, FEWEST_WINDOWS, MOST_WINDOWS = 0.4, 0.1, 6, 60
"""Windows for lines: the longest that six of fit into the pauses."""
AT_ONCE = 4
"""Windows transformed at once: as many as the processor adds at once."""
MAINS_HZ, MAINS_TOP_HZ = (50.0, 60.0), 1_000.0  # of the world's networks; harmonics above are lost in room noise
TONES_HZ = (1_000.0, 12_000.0)  # where a tone would move a figure
MAINS_DB, TONE_DB = 20.0, 10.0  # the signs' own thresholds


def read_noise(evidence: Evidence) -> Iterator[Reading]:
    """Signal-to-noise ratio at 4-10 kHz of each sound that has a pause near it."""
    for index, value in enumerate(evidence.snr_db):
        if not np.isnan(value):
            yield Reading(float(value), (index,), evidence.sounds[index])


def read_typical_noise(evidence: Evidence) -> Iterator[Reading]:
    """Median of the sounds' signal-to-noise ratios."""
    known = evidence.snr_db[~np.isnan(evidence.snr_db)]
    if known.size:
        yield Reading(median(known))


def read_no_pause(evidence: Evidence) -> Iterator[Reading]:
    """Unknown, when no sound has a pause near it."""
    if evidence.sounds and not evidence.quiet.any():
        yield Reading(None)


def read_gain_riding(evidence: Evidence) -> Iterator[Reading]:
    """How far in dB the background moves as a whole: from pause to pause, or within pauses after speech."""
    pieces = background_pieces(evidence)
    if pieces is None:
        return
    drift = pieces.gain_db[pieces.since_s > LATE_S]
    found = [float(percentile(drift, 95) - percentile(drift, 5))] if drift.size >= FEWEST_PIECES else []
    rise = _rise(pieces)
    if rise is not None:
        found.append(rise)
    if found:
        yield Reading(max(found))


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces (n,) of pause in which the bands agree.

    ``gain_db`` over the usual background, the number of the ``pause``, and ``since_s`` it began.
    """

    gain_db: Floats
    pause: npt.NDArray[np.int64]
    since_s: Floats


def background_pieces(evidence: Evidence) -> Pieces | None:
    """Cut the pauses into pieces of 50 ms; keep those whose five bands from 1 to 10 kHz moved together."""
    hop, bands = evidence.frames.hop_s, evidence.frames.power[:, 2:7]
    starts, pause, since = [], [], []
    for number, (first, last) in enumerate(runs(evidence.quiet)):
        begins = first if first > 0 else -round(LATE_S / hop) - 1
        for start in range(first, last - PIECE_FRAMES + 1, PIECE_FRAMES):
            starts.append(start)
            pause.append(number)
            since.append((start - begins + PIECE_FRAMES / 2) * hop)
    if len(starts) < FEWEST_PIECES:
        return None
    table = decibels(bands[np.array(starts)[:, None] + np.arange(PIECE_FRAMES)].mean(axis=1))
    table = table[:, np.median(table, axis=0) > -140]
    if table.shape[1] < 3:
        return None
    moves = table - np.median(table, axis=0)
    together = np.median(moves, axis=1)
    agree = np.median(np.abs(moves - together[:, None]), axis=1) <= COHERENCE_DB
    return Pieces(together[agree], np.array(pause)[agree], np.array(since)[agree])


def _rise(pieces: Pieces) -> float | None:
    """How far the background rises after speech, typical of the long pauses, reckoned back to where speech ended.

    The mean course ``late - gain(t)`` over the pauses is taken as ``A exp(-t / tau)`` over its first 0.4 s; the answer
    is its value 50 ms before the first piece, at most 1.6 times what is seen there.
    """
    courses = [_course(pieces, number) for number in np.unique(pieces.pause)]
    full = [course for course in courses if course is not None]
    if len(full) < FEWEST_PAUSES:
        return None
    lack = np.median(full, axis=0)
    seen = float(lack[:2].mean())
    held = lack > 0.15 * max(seen, 1e-9)
    if seen < LEAST_RISE_DB or held.sum() < 3:
        return seen
    slope = float(np.polyfit(np.nonzero(held)[0], np.log(lack[held]), 1)[0])
    return seen * min(1.6, max(1.0, float(np.exp(-2.0 * slope))))


def _course(pieces: Pieces, number: int) -> Floats | None:
    """Late level of one pause less its level in each 50 ms of its first 0.4 s, (8,); None when too little is there."""
    here = pieces.pause == number
    since, gain = pieces.since_s[here], pieces.gain_db[here]
    late = since > LATE_S
    if late.sum() < 2 or (since <= LATE_S).sum() < 6:
        return None
    grid = (np.arange(8) + 0.5) * LATE_S / 8
    lack: Floats = median(gain[late]) - np.interp(grid, since, gain)
    return lack


def read_mains(evidence: Evidence) -> Iterator[Reading]:
    """Strongest line at a multiple of 50 or 60 Hz below 1 kHz over its neighbours, in the pauses."""
    spectrum, step = _pause_spectrum(evidence, LONGEST_WINDOW_S, MAINS_TOP_HZ)
    if spectrum is None:
        return
    prominence = _prominence(spectrum, max(3, round(20 / step)), max(1, round(5 / step)))
    for mains in MAINS_HZ:
        lines = np.arange(1, int(MAINS_TOP_HZ / mains) + 1) * mains
        strengths = [_near(prominence, line / step, max(1.0, 1.5 / step)) for line in lines]
        yield Reading(float(max(strengths)), words=(("mains", f"{mains:.0f}"),))


def read_tones(evidence: Evidence) -> Iterator[Reading]:
    """Strongest steady line at 1-12 kHz over its neighbours, in the pauses."""
    spectrum, step = _pause_spectrum(evidence, SHORTEST_WINDOW_S, TONES_HZ[1])
    if spectrum is None:
        return
    prominence = _prominence(spectrum, max(6, round(150 / step)), max(2, round(15 / step)))
    top = min(TONES_HZ[1], 0.95 * (evidence.bandwidth_hz or evidence.recording.sampling_rate_hz / 2))
    first, last = round(TONES_HZ[0] / step), round(top / step)
    if last <= first:
        return
    place = first + int(np.argmax(prominence[first:last]))
    yield Reading(float(prominence[place]), words=(("tone", f"{place * step / 1000:.1f}"),))


def _pause_spectrum(evidence: Evidence, longest_s: float, top_hz: float) -> tuple[Floats | None, float]:
    """Median power of windows within the pauses, as long as six of them fit, and the step of its grid in Hz.

    Up to 500 Hz above what is asked for, so that the surroundings of each line are there.
    """
    rate, hop = evidence.recording.sampling_rate_hz, evidence.frames.hop_s
    pauses = [(first * hop, (last + 1) * hop) for first, last in runs(evidence.quiet)]
    length = longest_s
    while length >= 0.99 * SHORTEST_WINDOW_S:
        starts = [begin + k * length / 2 for begin, end in pauses for k in range(int((end - begin) / length * 2) - 1)]
        if len(starts) >= FEWEST_WINDOWS:
            size = _quick(round(length * rate))
            n_bins = min(round((top_hz + 500.0) * 2 * size / rate), size + 1)
            return _typical_power(evidence, starts, (size, n_bins)), rate / (2 * size)
        length /= 1.25
    return None, 0.0


def _quick(size: int) -> int:
    """The next length whose transform is quick: no prime above 11 in it."""
    from scipy import fft

    return int(fft.next_fast_len(size))


def _typical_power(evidence: Evidence, starts: list[float], shape: tuple[int, int]) -> Floats:
    """Median power (m,) of windows of ``shape[0]`` samples in the first ``shape[1]`` bins."""
    from scipy import fft

    size, n_bins = shape
    samples, rate = evidence.recording.samples, evidence.recording.sampling_rate_hz
    window = hann(size)
    chosen = starts[:: max(1, len(starts) // MOST_WINDOWS)]
    firsts = [max(0, min(round(start * rate), samples.size - size)) for start in chosen]
    powers = np.empty((n_bins, len(firsts)), dtype=np.float32)
    for at in range(0, len(firsts), AT_ONCE):
        pieces = np.stack([samples[first : first + size] for first in firsts[at : at + AT_ONCE]])
        spectrum = fft.rfft(pieces * window[: pieces.shape[1]], 2 * size, axis=1)[:, :n_bins]
        powers[:, at : at + AT_ONCE] = (spectrum.real**2 + spectrum.imag**2).T
    return medians(powers).astype(np.float64)


def _prominence(power: Floats, reach: int, gap: int) -> Floats:
    """Level of each bin over the median of the bins ``gap`` to ``reach`` away, on the side where that is higher."""
    from scipy.ndimage import median_filter

    side = reach - gap + 1
    middle = median_filter(power, size=side, mode="nearest")
    shift = gap + side // 2
    padded = np.pad(middle, shift, mode="edge")
    usual = np.maximum(padded[: power.size], padded[2 * shift :])
    result: Floats = decibels(power / np.maximum(usual, 1e-30))
    return result


def _near(values: Floats, place: float, reach: float) -> float:
    first, last = int(np.ceil(place - reach)), int(np.floor(place + reach)) + 1
    return float(values[max(first, 0) : last].max(initial=-150.0))


NOISE = Rule(
    "noise",
    "noise in a sibilant's band",
    "level of the sound over the nearest pause at 4-10 kHz, the noise taken out of the sound",
    "dB",
    15.0,
    None,
    SPECTRA,
    (),
    "Noise is too near the level of the hisses: choose a quieter room, close windows, switch fans off, and come to"
    " 15-20 cm from the microphone.",
    OWN,
    read_noise,
    below=True,
    weight=8,
)
NOISE_AT_EDGES = Rule(
    "noise_at_edges",
    "noise that hides a sibilant's edges",
    "the same ratio; the core duration needs the level 15 dB below the plateau, the edge 6 dB over the noise",
    "dB",
    12.0,
    6.0,
    ("durations",),
    ("durations",),
    "Noise hides where the hisses begin and end: choose a quieter room and come nearer to the microphone.",
    OWN,
    read_noise,
    below=True,
    weight=4,
)
TYPICAL_NOISE = Rule(
    "typical_noise",
    "noise in the recording",
    "median of the sounds' ratios; good from 20 dB on, 2 dB allowed for the estimate",
    "dB",
    18.0,
    None,
    SPECTRA,
    (),
    "Noise is too near the level of the hisses: choose a quieter room, close windows, switch fans off, and come to"
    " 15-20 cm from the microphone.",
    OWN,
    read_typical_noise,
    below=True,
    weight=8,
)
NO_PAUSE = Rule(
    "no_pause",
    "no pause to judge the noise by",
    "no 100 ms of background within 2 s of any sibilant",
    "dB",
    None,
    None,
    ALL,
    (),
    "There is no pause to judge the noise by: leave a second of silence before the first word and after the last.",
    OWN,
    read_no_pause,
    weight=5,
)
GAIN_RIDING = Rule(
    "gain_riding",
    "gain riding",
    "how far the background moves as a whole (five bands from 1 to 10 kHz together): 5th to 95th percentile from pause"
    " to pause, or its rise within pauses after speech; stated limits 3 and 6 dB, less what the estimate"
    " misses of a fast recovery",
    "dB",
    2.0,
    4.5,
    ("levels",),
    ("levels",),
    "The gain rides up and down by itself: switch automatic gain (level) control off and set the level by hand.",
    OWN,
    read_gain_riding,
    weight=7,
)
BACKGROUND = Rule(
    "background",
    "noticeable background",
    "median of the sounds' ratios to the nearest pause at 4-10 kHz",
    "dB",
    27.0,
    None,
    (),
    (),
    "The room is not silent, though quiet enough; a quieter place would make soft hisses safer.",
    OWN,
    read_typical_noise,
    below=True,
    weight=1,
)
MAINS = Rule(
    "mains_hum",
    "mains hum",
    "strongest line at a multiple of 50 or 60 Hz below 1 kHz over its neighbours (5 to 20 Hz away), in the pauses",
    "dB",
    MAINS_DB,
    None,
    ("levels",),
    (),
    "There is {mains} Hz mains hum: run the recorder on its battery, and keep it and its cable away from power supplies"
    " and lamps.",
    OWN,
    read_mains,
    weight=5,
)
TONES = Rule(
    "tones",
    "steady tones",
    "strongest line at 1-12 kHz over its neighbours (15 to 150 Hz away), in the pauses",
    "dB",
    TONE_DB,
    None,
    ("comparison", "moments"),
    (),
    "A steady tone at {tone} kHz sounds in the pauses: switch off screens, chargers and fans near the microphone.",
    OWN,
    read_tones,
    weight=6,
)
RULES = (NOISE, TYPICAL_NOISE, NOISE_AT_EDGES, NO_PAUSE, BACKGROUND, GAIN_RIDING, MAINS, TONES)
