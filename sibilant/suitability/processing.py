"""Signs of processing: dropouts, gating, noise suppression, calls.

Evidence of a recording comes in, readings go out; what a program took away can't be measured back.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..levels.bands import decibels
from ..levels.ranks import percentile
from ..terms import Interval
from .evidence import Evidence
from .rules import ALL, OWN, Reading, Rule

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
GATE_RUN_S = 0.020  # the sign's own words
SOUNDING = 4 / 32_768  # four steps of 16 bits: more is sound
BESIDE_S = 0.005  # looked at on either side of a run of zeros
FLOOR_LOWEST_DB = -150.0  # digital silence is told as this
CALL_RATE_HZ, CALL_LOW_HZ, CALL_HIGH_HZ = 48_000, 14_300.0, 15_400.0
"""What browsers record calls at, and where processing ends their band."""


def inner_zeros(evidence: Evidence) -> list[Interval]:
    """Runs of exact zeros that have sound on both sides; digital silence at the ends is padding."""
    end = evidence.recording.duration_s
    return [run for run in evidence.zeros if run.onset_s > 0 and run.offset_s < end - 1e-9]


def read_dropouts(evidence: Evidence) -> Iterator[Reading]:
    """Length in ms of each run of zeros of 3 ms or more that cuts into sound."""
    for run in inner_zeros(evidence):
        if not _cuts_into_sound(evidence, run):
            continue
        touched = tuple(i for i, sound in enumerate(evidence.sounds) if sound.overlap_s(run) > 0)
        if touched:
            yield Reading(run.duration_ms, touched, run)


def read_dropouts_elsewhere(evidence: Evidence) -> Iterator[Reading]:
    """Length in ms of the longest run of zeros that cuts into sound outside the sibilants."""
    outside = [
        run
        for run in inner_zeros(evidence)
        if _cuts_into_sound(evidence, run) and not any(sound.overlap_s(run) > 0 for sound in evidence.sounds)
    ]
    if outside:
        longest = max(outside, key=lambda run: run.duration_s)
        yield Reading(longest.duration_ms, interval=longest, words=(("count", str(len(outside))),))


def _cuts_into_sound(evidence: Evidence, run: Interval) -> bool:
    """Whether 5 ms on either side are well above the finest step."""
    recording = evidence.recording
    sides = (Interval(run.onset_s - BESIDE_S, run.onset_s), Interval(run.offset_s, run.offset_s + BESIDE_S))
    return all(_rms(recording.cut(side)) > SOUNDING for side in sides)


def _rms(samples: np.typing.NDArray[np.float32]) -> float:
    return float(np.sqrt(np.mean(samples.astype(np.float64) ** 2))) if samples.size else 0.0


def read_gating(evidence: Evidence) -> Iterator[Reading]:
    """Share in percent of the recording that lies in zero runs of 20 ms and more between sounds."""
    gated = [run.duration_s for run in inner_zeros(evidence) if run.duration_s > GATE_RUN_S]
    yield Reading(100 * sum(gated) / evidence.recording.duration_s)


def read_dead_floor(evidence: Evidence) -> Iterator[Reading]:
    """Level in dB of full scale of the quietest tenth of the pauses, digital padding at the ends left out."""
    total = evidence.frames.power[evidence.quiet].sum(axis=1)
    total = total[total > 0]
    if total.size >= 5:
        yield Reading(max(float(decibels(percentile(total, 10))), FLOOR_LOWEST_DB))


def read_voice_processing(evidence: Evidence) -> Iterator[Reading]:
    """Frequency at which a 48 kHz recording is cut off, where browsers' and calls' voice processing does so."""
    cut, source = evidence.cut, evidence.recording.source
    if cut is not None and evidence.recording.sampling_rate_hz == CALL_RATE_HZ and not source.lossy:
        yield Reading(cut.frequency_hz if cut.frequency_hz >= CALL_LOW_HZ else CALL_RATE_HZ / 2)


DROPOUTS = Rule(
    "dropout",
    "dropout in a sibilant",
    "length of a run of exact zeros with sound on both sides",
    "ms",
    None,
    2.9,
    (),
    ALL,
    "A piece is missing inside a hiss: record that word again.",
    OWN,
    read_dropouts,
    weight=8,
)
DROPOUTS_ELSEWHERE = Rule(
    "dropout_elsewhere",
    "dropouts outside the sibilants",
    "length of the longest run of exact zeros with sound on both sides",
    "ms",
    2.9,
    None,
    (),
    (),
    "The recording has {count} gaps outside the hisses: close other programs while recording.",
    OWN,
    read_dropouts_elsewhere,
    weight=4,
)
GATING = Rule(
    "gating",
    "gating to digital silence",
    "share of the recording in runs of exact zeros of 20 ms and more between sounds",
    "%",
    0.2,
    None,
    ALL,
    (),
    "The pauses are cut to digital silence: switch noise suppression or the noise gate off.",
    OWN,
    read_gating,
    weight=7,
)
DEAD_FLOOR = Rule(
    "dead_floor",
    "pauses without any background",
    "level of the quietest tenth of the pauses",
    "dBFS",
    -90.0,
    None,
    ALL,
    (),
    "The pauses hold no background at all, as no room does: switch noise suppression off.",
    OWN,
    read_dead_floor,
    below=True,
    weight=7,
)
VOICE_PROCESSING = Rule(
    "voice_processing",
    "voice processing of a browser or call",
    "frequency at which a 48 kHz recording without lossy coding is cut off, 14.3 to 15.4 kHz, as echo cancelling and"
    " noise suppression cut it",
    "Hz",
    CALL_HIGH_HZ,
    None,
    ALL,
    (),
    "It sounds as if a browser or call had processed the voice: switch echo cancelling, noise suppression and automatic"
    " gain off, or record in another program.",
    "own: measured in one browser, processing on and off (docs/recordings.md)",
    read_voice_processing,
    below=True,
    weight=9,
)
RULES = (DROPOUTS, DROPOUTS_ELSEWHERE, GATING, DEAD_FLOOR, VOICE_PROCESSING)
