"""Signs in the background: noise beside the sounds, gain riding, hum, tones."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from .evidence import Evidence
from .frames import decibels, runs
from .rules import ALL, OWN, SPECTRA, Reading, Rule

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SUB_FRAMES, EARLY_FRAMES = 15, 30
COHERENCE_DB = 1.5
LONGEST_WINDOW_S, SHORTEST_WINDOW_S, FEWEST_WINDOWS, MOST_WINDOWS = 0.4, 0.1, 6, 60
MAINS_HZ, MAINS_TOP_HZ = (50.0, 60.0), 1_000.0
TONES_HZ = (1_000.0, 12_000.0)
MAINS_DB, TONE_DB = 20.0, 10.0


def read_noise(evidence: Evidence) -> Iterator[Reading]:
    """Signal-to-noise ratio at 4-10 kHz of each sound that has a pause near it."""
    for index, value in enumerate(evidence.snr_db):
        if not np.isnan(value):
            yield Reading(float(value), (index,), evidence.sounds[index])


def read_typical_noise(evidence: Evidence) -> Iterator[Reading]:
    """Median of the sounds' signal-to-noise ratios."""
    known = evidence.snr_db[~np.isnan(evidence.snr_db)]
    if known.size:
        yield Reading(float(np.median(known)))


def read_no_pause(evidence: Evidence) -> Iterator[Reading]:
    """Unknown, when no sound has a pause near it."""
    if evidence.sounds and np.isnan(evidence.snr_db).all():
        yield Reading(None)


def read_gain_riding(evidence: Evidence) -> Iterator[Reading]:
    """Range in dB of the background's level in the pauses, where all bands move together."""
    gains = _floor_gains(evidence)
    if gains.size >= 3:
        yield Reading(float(np.percentile(gains, 95) - np.percentile(gains, 5)))


def _floor_gains(evidence: Evidence) -> Floats:
    """Level (n,) of 150 ms pieces of pause against the usual background, in dB, where the bands agree.

    Early in a pause only a level below the rest of it counts, since a room's decay raises it there.
    """
    bands = evidence.frames.power[:, 2:7]
    gains: list[float] = []
    pieces: list[tuple[int, Floats]] = []
    for number, (first, last) in enumerate(runs(evidence.quiet)):
        for start in range(first, last - SUB_FRAMES + 1, SUB_FRAMES):
            pieces.append((number, bands[start : start + SUB_FRAMES].mean(axis=0)))
    if not pieces:
        return np.empty(0)
    table = decibels(np.stack([piece for _, piece in pieces]))
    table = table[:, np.median(table, axis=0) > -140]
    if not table.size:
        return np.empty(0)
    moves = table - np.median(table, axis=0)
    together = np.median(moves, axis=1)
    agree = np.median(np.abs(moves - together[:, None]), axis=1) <= COHERENCE_DB
    for place, (number, _) in enumerate(pieces):
        later = [together[i] for i in range(place + 1, len(pieces)) if pieces[i][0] == number and agree[i]]
        early = place == 0 or pieces[place - 1][0] != number or place == 1 or pieces[place - 2][0] != number
        value = float(together[place])
        if early:
            value = min(value, float(np.median(later))) if later else min(value, 0.0)
        if agree[place]:
            gains.append(value)
    return np.array(gains)


def read_mains(evidence: Evidence) -> Iterator[Reading]:
    """Strongest line at a multiple of 50 or 60 Hz below 1 kHz over its neighbours, in the pauses."""
    spectrum, step = _pause_spectrum(evidence)
    if spectrum is None:
        return
    prominence = _prominence(spectrum, max(3, round(20 / step)), max(1, round(5 / step)))
    for mains in MAINS_HZ:
        lines = np.arange(1, int(MAINS_TOP_HZ / mains) + 1) * mains
        strengths = [_near(prominence, line / step, max(1.0, 1.5 / step)) for line in lines]
        yield Reading(float(max(strengths)), words=(("mains", f"{mains:.0f}"),))


def read_tones(evidence: Evidence) -> Iterator[Reading]:
    """Strongest steady line at 1-12 kHz over its neighbours, in the pauses."""
    spectrum, step = _pause_spectrum(evidence)
    if spectrum is None:
        return
    prominence = _prominence(spectrum, max(6, round(150 / step)), max(2, round(15 / step)))
    first, last = round(TONES_HZ[0] / step), min(round(TONES_HZ[1] / step), spectrum.size - 8)
    if last <= first:
        return
    place = first + int(np.argmax(prominence[first:last]))
    yield Reading(float(prominence[place]), words=(("tone", f"{place * step / 1000:.1f}"),))


def _pause_spectrum(evidence: Evidence) -> tuple[Floats | None, float]:
    """Mean power of windows within the pauses, as long as six of them fit, and the step of its grid in Hz."""
    rate, hop = evidence.recording.sampling_rate_hz, evidence.frames.hop_s
    pauses = [(first * hop, (last + 1) * hop) for first, last in runs(evidence.quiet)]
    length = LONGEST_WINDOW_S
    while length >= SHORTEST_WINDOW_S:
        starts = [begin + k * length / 2 for begin, end in pauses for k in range(int((end - begin) / length * 2) - 1)]
        if len(starts) >= FEWEST_WINDOWS:
            return _mean_power(evidence, starts, length), 1 / (2 * round(length * rate) / rate)
        length /= 1.25
    return None, 0.0


def _mean_power(evidence: Evidence, starts: list[float], length: float) -> Floats:
    from scipy import fft

    rate = evidence.recording.sampling_rate_hz
    size = round(length * rate)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    chosen = starts[:: max(1, len(starts) // MOST_WINDOWS)]
    total = np.zeros(size + 1)
    for start in chosen:
        first = min(round(start * rate), evidence.recording.samples.size - size)
        piece = evidence.recording.samples[max(first, 0) : max(first, 0) + size]
        spectrum = fft.rfft(piece * window[: piece.size], 2 * size)
        total += spectrum.real.astype(np.float64) ** 2 + spectrum.imag.astype(np.float64) ** 2
    return total / len(chosen)


def _prominence(power: Floats, reach: int, gap: int) -> Floats:
    """Level of each bin over the median of its neighbours, ``gap`` to ``reach`` bins away, in dB."""
    from scipy.ndimage import median_filter

    offsets = np.abs(np.arange(-reach, reach + 1)) >= gap
    usual = median_filter(power, footprint=offsets, mode="nearest")
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
    10.0,
    SPECTRA,
    SPECTRA,
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
    "as ``noise``; the core duration needs the level 15 dB below the plateau, the edge 6 dB over the noise",
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
    "median of the sounds' ratios; good from 20 dB on, 1.5 dB allowed for the estimate",
    "dB",
    18.5,
    10.0,
    SPECTRA,
    SPECTRA,
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
    "range (5th to 95th percentile) of the background's level over 150 ms pieces of pause, where five bands from 1 to"
    " 10 kHz move together; 0.5 dB allowed for the estimate",
    "dB",
    2.5,
    5.5,
    ("levels",),
    ("levels",),
    "The gain rides up and down by itself: switch automatic gain (level) control off and set the level by hand.",
    OWN,
    read_gain_riding,
    weight=7,
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
RULES = (NOISE, TYPICAL_NOISE, NOISE_AT_EDGES, NO_PAUSE, GAIN_RIDING, MAINS, TONES)
