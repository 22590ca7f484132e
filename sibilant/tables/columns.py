"""The columns of TABLE.csv: name, datatype, unit and meaning, those of measures made from ``MEASURES``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from ..terms import Measure, measures_of

Datatype = Literal["string", "integer", "number"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: ``decimals`` rounds numbers, None leaves them; an empty cell always means no value."""

    name: str
    datatype: Datatype
    description: str
    unit: str = ""
    decimals: int | None = None


_WHO = (
    Column(
        "recording", "string", "File name, session code, or path below the corpus root; an alias where one was given"
    ),
    Column("sha256", "string", "SHA-256 of the recording file's bytes"),
    Column("speaker", "string", "Code of the speaker, empty where unknown"),
    Column("session", "string", "Session, empty where unknown"),
    Column("level", "string", "Practice level, such as word"),
    Column("cue", "string", "Cue level, such as spontaneous"),
    Column("device", "string", "Registered microphone, empty where unknown"),
)
_PROMPT = (
    Column("prompt_index", "integer", "1-based place of the prompt in the list"),
    Column("prompt", "string", "The prompt as spoken"),
    Column("attempt", "integer", "1 for the first attempt at the prompt"),
    Column("voice", "string", "client, other or unsure"),
    Column("counts", "string", "yes where this attempt is the one that enters the figures"),
    Column("word", "string", "The word within the prompt that the sibilant belongs to"),
    Column("word_index", "integer", "1-based place of that word in the prompt"),
    Column("slot", "integer", "1-based sibilant within the prompt"),
    Column("phone", "string", "Expected phone in ARPABET"),
    Column("position", "string", "initial, medial or final"),
    Column("cluster", "string", "Consonant cluster around the sibilant, such as st"),
    Column("stress", "string", "Stress of the syllable: 1 primary, 2 secondary, 0 none"),
    Column("vowel_before", "string", "Vowel before, ARPABET"),
    Column("vowel_after", "string", "Vowel after, ARPABET"),
    Column("rounded", "string", "yes where a neighbour rounds the lips"),
    Column("previous_phone", "string", "Phone before, ARPABET"),
    Column("next_phone", "string", "Phone after, ARPABET"),
    Column("label", "string", "Label of a stretch that a person marked, as written"),
    Column(
        "finding",
        "string",
        "found, no_frication, extra, none_expected, unsure, prompt_missing or unreadable; a question for a person",
    ),
)
_TIMES = (
    Column(
        "slot_probability",
        "number",
        "Probability that this is the slot's place; of one not found, that the sound is not there",
        "",
        3,
    ),
    Column("reader", "string", "Name and version of what matched words to sound"),
    Column("word_onset_s", "number", "Start of the stretch taken as the prompt", "s", 4),
    Column("word_offset_s", "number", "End of the stretch taken as the prompt", "s", 4),
    Column("place_onset_s", "number", "Where to listen for a sibilant that was not found: start", "s", 4),
    Column("place_offset_s", "number", "Where to listen for a sibilant that was not found: end", "s", 4),
    Column("onset_s", "number", "Start of the sibilant", "s", 4),
    Column("offset_s", "number", "End of the sibilant", "s", 4),
    Column("boundary", "string", "automatic or reviewed"),
    Column("reviewed_by", "string", "Code of the person who set the boundaries"),
    Column("onset_beside", "string", "What lies before the onset: silence, voiced, release, frication"),
    Column("offset_beside", "string", "What lies after the offset"),
    Column("onset_uncertainty_ms", "number", "Half-width of the onset's uncertainty", "ms", 1),
    Column("offset_uncertainty_ms", "number", "Half-width of the offset's uncertainty", "ms", 1),
    Column("confidence", "number", "Confidence that the stretch is the sibilant, 0 to 1", "", 2),
)
_REGION = (
    Column("region_onset_s", "number", "Start of the stretch the spectrum was taken from", "s", 4),
    Column("region_offset_s", "number", "End of the stretch the spectrum was taken from", "s", 4),
    Column("n_frames", "integer", "Frames averaged"),
    Column("band_low_hz", "number", "Lower end of the band", "Hz", 0),
    Column("band_high_hz", "number", "Upper end of the band", "Hz", 0),
    Column("sampling_rate_hz", "integer", "Sampling rate of the recording", "Hz"),
)
_TRUST = (
    Column("snr_db", "number", "Signal-to-noise ratio in the sibilant's band", "dB", 1),
    Column("bandwidth_hz", "number", "Effective bandwidth found", "Hz", 0),
    Column("method", "string", "Name and version of the method"),
    Column("flags", "string", "Reasons for care, separated by semicolons"),
)


def _measure_columns(measure: Measure) -> tuple[Column, ...]:
    unit, decimals = measure.unit, measure.decimals
    return (
        Column(measure.key, "number", measure.meaning, unit, decimals),
        Column(
            f"{measure.key}_low",
            "number",
            f"Lower end of the estimator's 95 % interval of {measure.key} for this one sound, not the person",
            unit,
            decimals,
        ),
        Column(
            f"{measure.key}_high",
            "number",
            f"Upper end of the estimator's 95 % interval of {measure.key} for this one sound, not the person",
            unit,
            decimals,
        ),
        Column(
            f"{measure.key}_boundary",
            "number",
            f"Range of {measure.key} when the edges move by up to 10 ms",
            unit,
            decimals,
        ),
    )


FEW = (
    "recording",
    "prompt_index",
    "prompt",
    "attempt",
    "slot",
    "phone",
    "position",
    "finding",
    "onset_s",
    "offset_s",
    "duration_ms",
    "core_duration_ms",
    "centroid_hz",
    "sd_hz",
    "skewness",
    "excess_kurtosis",
    "peak_hz",
    "snr_db",
    "method",
    "flags",
)
"""What a first look shows: what, where, the four moments, peak, lengths, and what speaks for care."""


def few(rows: Sequence[Mapping[str, object]]) -> tuple[str, ...]:
    """Return the columns of a first look at rows: those of ``FEW`` that hold any value in them.

    Examples
    --------
    >>> few([{"phone": "S", "prompt": "", "centroid_hz": None, "level_db": 3.0}])
    ('phone',)
    """
    return tuple(name for name in FEW if any(row.get(name) not in (None, "") for row in rows))


@lru_cache(maxsize=1)
def token_columns() -> tuple[Column, ...]:
    """Return the columns of TABLE.csv in order.

    Examples
    --------
    >>> [column.name for column in token_columns()][:2]
    ['recording', 'sha256']
    """
    measured = tuple(column for measure in measures_of("token") for column in _measure_columns(measure))
    return _WHO + _PROMPT + _TIMES + _REGION + measured + _TRUST
