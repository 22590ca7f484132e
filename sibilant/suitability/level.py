"""Signs in the samples: clipping, level, offset, depth, channel, breath blasts.

Evidence comes in, readings go out.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..levels.bands import decibels
from ..levels.ranks import median
from .evidence import Evidence
from .rules import ALL, OWN, PRACTICE, SPECTRA, Reading, Rule


def read_clipping(evidence: Evidence) -> Iterator[Reading]:
    """Percent of each sound's samples at the recording's extremes."""
    for index, share in enumerate(evidence.clipped_shares):
        yield Reading(100 * share, (index,), evidence.sounds[index])


def read_clipping_elsewhere(evidence: Evidence) -> Iterator[Reading]:
    """Percent of all samples at the extremes, when tops are flat anywhere."""
    yield Reading(100 * evidence.extremes.n_clipped / evidence.recording.samples.size)


def read_silence(evidence: Evidence) -> Iterator[Reading]:
    """Peak of the recording in dB of full scale."""
    yield Reading(float(decibels(evidence.extremes.peak**2)))


def read_over_full_scale(evidence: Evidence) -> Iterator[Reading]:
    """Largest magnitude of a sample."""
    yield Reading(evidence.extremes.peak)


def read_offset(evidence: Evidence) -> Iterator[Reading]:
    """Mean of the samples in percent of the peak."""
    peak = evidence.extremes.peak
    yield Reading(100 * abs(evidence.extremes.mean) / peak if peak else 0.0)


def read_depth(evidence: Evidence) -> Iterator[Reading]:
    """Bits that the samples really use."""
    declared = evidence.recording.source.bit_depth
    coarse = any(name in evidence.recording.source.coding for name in ("ulaw", "alaw"))
    yield Reading(8.0 if coarse or declared == 8 else float(evidence.extremes.bits))


def read_breath(evidence: Evidence) -> Iterator[Reading]:
    """Level below 120 Hz over that at 1-10 kHz in each sound, the background's low part taken out."""
    low, high = evidence.frames.band(20.0, 120.0), evidence.frames.band(1_000.0, 10_000.0)
    background = median(low[evidence.quiet]) if evidence.quiet.any() else 0.0
    spans = [evidence.frames.span(sound) for sound in evidence.sounds]
    blasts = decibels([max(float(low[span].mean()) - background, 1e-15) for span in spans])
    hisses = decibels([float(high[span].mean()) for span in spans])
    for index, value in enumerate((blasts - hisses).tolist()):
        yield Reading(value, (index,), evidence.sounds[index])


CLIPPING = Rule(
    "clipping",
    "clipping in a sibilant",
    "share of the sound's samples within 0.1 % of the recording's extremes, where four or more lie there",
    "%",
    0.0,
    0.1,
    SPECTRA,
    SPECTRA,
    "Some hisses are clipped: turn the input level down until the loudest word peaks at about half of full scale, and"
    " record those words again.",
    PRACTICE,
    read_clipping,
    weight=9,
)
CLIPPING_ELSEWHERE = Rule(
    "clipping_elsewhere",
    "clipping anywhere",
    "share of all samples at the extremes, where the same extreme is held for 3 samples in two places or for 5 in one",
    "%",
    0.0,
    None,
    ("levels",),
    (),
    "Loud parts are clipped: turn the input level down until the loudest word peaks at about half of full scale.",
    PRACTICE,
    read_clipping_elsewhere,
    weight=6,
)
TOO_QUIET = Rule(
    "too_quiet",
    "silent or very quiet recording",
    "largest sample, in dB of full scale",
    "dBFS",
    -40.0,
    -60.0,
    ("levels",),
    ALL,
    "The recording is nearly silent: check that the right microphone and channel were chosen, and raise the input"
    " level.",
    OWN,
    read_silence,
    below=True,
    weight=10,
)
OVER_FULL_SCALE = Rule(
    "over_full_scale",
    "samples beyond full scale",
    "largest magnitude of a sample (1 is full scale)",
    "",
    1.0,
    None,
    (),
    (),
    "Samples lie beyond full scale; they are kept as they are, but other programs may clip them.",
    PRACTICE,
    read_over_full_scale,
    weight=1,
)
OFFSET = Rule(
    "dc_offset",
    "constant offset",
    "mean of the samples in percent of the largest magnitude",
    "%",
    2.0,
    None,
    (),
    (),
    "The recording has a constant offset; the measures are not touched by it, but the sound card may need a look.",
    PRACTICE,
    read_offset,
    weight=1,
)
DEPTH = Rule(
    "bit_depth",
    "coarse samples",
    "bits that the samples really use",
    "bit",
    12.0,
    None,
    SPECTRA,
    (),
    "The samples are coarse (8 bits): set the recorder to 16 or 24 bits.",
    PRACTICE,
    read_depth,
    below=True,
    weight=6,
)
BREATH = Rule(
    "breath_blast",
    "breath on the microphone",
    "level below 120 Hz over level at 1-10 kHz within the sound, the background's low part taken out",
    "dB",
    0.0,
    None,
    ("levels", "moments"),
    (),
    "Breath hits the microphone: move it to the side, 30 to 45 degrees off the breath, 15 to 30 cm away.",
    OWN,
    read_breath,
    weight=6,
)
RULES = (CLIPPING, CLIPPING_ELSEWHERE, TOO_QUIET, OVER_FULL_SCALE, OFFSET, DEPTH, BREATH)
