"""Sounds and their measurements as rows of TABLE.csv: a row joins both."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..terms import NOT_MEASURED, Measurement, Measures, SibilantInterval, SibilantSlot, Sound, measures_of

Cell = str | int | float | None
Row = dict[str, Cell]


@dataclass(frozen=True, slots=True)
class Labels:
    """What a table says of a recording beside its sounds; empty where unknown."""

    recording: str = ""
    sha256: str = ""
    speaker: str = ""
    session: str = ""
    device: str = ""


def unreadable_row(labels: Labels, reason: str) -> Row:
    """Return the one row of a recording that could not be read, its reason as the only flag (no semicolon in it)."""
    return {**_label_cells(labels), "finding": "unreadable", "flags": reason.replace(";", ",")}


def sound_rows(sounds: Sequence[Sound], measurements: Iterable[Measurement], labels: Labels) -> list[Row]:
    """Return a row for each measurement, and one for each sound without any, in the order of the prompts.

    Cells without a value are absent. Measurements of one prompt stay in the order given, method after method.
    """
    by_id = {sound.id: sound for sound in sounds}
    joined: list[tuple[Sound, Measurement | None]] = [(by_id[one.sound_id], one) for one in measurements]
    measured = {sound.id for sound, _ in joined}
    joined += [(sound, None) for sound in sounds if sound.id not in measured]
    joined.sort(key=lambda pair: pair[0].prompt_index)
    return [_row(sound, one, labels) for sound, one in joined]


def _label_cells(labels: Labels) -> Row:
    return {
        "recording": labels.recording,
        "sha256": labels.sha256,
        "speaker": labels.speaker,
        "session": labels.session,
        "device": labels.device,
    }


def _row(sound: Sound, measured: Measurement | None, labels: Labels) -> Row:
    row = _label_cells(labels) | _prompt_cells(sound) | _slot_cells(sound.slot) | _word_cells(sound)
    row |= {"finding": sound.finding, "reader": sound.reader} | _place_cells(sound)
    if sound.mark is not None:
        row |= {"label": sound.mark.label} | ({"phone": sound.mark.phone} if sound.slot is None else {})
    if sound.edges is not None:
        row |= _time_cells(sound.edges)
    if measured is None:
        return row | {"method": "", "flags": ";".join(sound.flags)}
    if measured.measures != NOT_MEASURED:
        row |= _measure_cells(measured.measures)
    return row | {
        "snr_db": measured.snr_db,
        "bandwidth_hz": measured.bandwidth_hz,
        "method": measured.method.label,
        "flags": ";".join(measured.flags),
    }


def _prompt_cells(sound: Sound) -> Row:
    spoken = sound.utterance
    row: Row = {"prompt_index": sound.prompt_index or None, "prompt": sound.prompt_text}
    prompt = spoken.prompt if spoken is not None else None
    if prompt is not None:
        row |= {"level": prompt.level, "cue": prompt.cue}
    if spoken is not None:
        row |= {"word_onset_s": spoken.interval.onset_s, "word_offset_s": spoken.interval.offset_s}
        if spoken.prompt_index:
            row |= {"attempt": spoken.attempt, "voice": spoken.voice, "counts": _yes(spoken.counts)}
    return row


def _word_cells(sound: Sound) -> Row:
    """The word that a slot belongs to."""
    prompt = sound.utterance.prompt if sound.utterance is not None else None
    if sound.slot is None or prompt is None or sound.slot.word_index >= len(prompt.words):
        return {}
    return {"word": prompt.words[sound.slot.word_index].spelling, "word_index": sound.slot.word_index + 1}


def _place_cells(sound: Sound) -> Row:
    """How sure the slot's place is, and where to listen for a sound that was not found."""
    if sound.place is None:
        return {}
    row: Row = {"slot_probability": sound.slot_probability}
    if sound.edges is None:
        row |= {"place_onset_s": sound.place.onset_s, "place_offset_s": sound.place.offset_s}
    return row


def _yes(answer: bool) -> str:  # noqa: FBT001 - a conversion, not an option
    return "yes" if answer else "no"


def _slot_cells(slot: SibilantSlot | None) -> Row:
    if slot is None:
        return {}
    return {
        "slot": slot.index,
        "phone": slot.phone,
        "position": slot.position,
        "cluster": slot.cluster,
        "stress": slot.stress,
        "vowel_before": slot.vowel_before,
        "vowel_after": slot.vowel_after,
        "rounded": _yes(slot.rounded),
        "previous_phone": slot.previous_phone,
        "next_phone": slot.next_phone,
    }


def _time_cells(edges: SibilantInterval) -> Row:
    return {
        "onset_s": edges.interval.onset_s,
        "offset_s": edges.interval.offset_s,
        "boundary": edges.boundary,
        "reviewed_by": edges.review.by if edges.review is not None else "",
        "onset_beside": edges.onset.beside,
        "offset_beside": edges.offset.beside,
        "onset_uncertainty_ms": edges.onset.uncertainty_ms,
        "offset_uncertainty_ms": edges.offset.uncertainty_ms,
        "confidence": edges.confidence,
    }


def _measure_cells(measured: Measures) -> Row:
    row: Row = {"n_frames": measured.n_frames, "sampling_rate_hz": measured.sampling_rate_hz or None}
    if measured.region is not None:
        row |= {"region_onset_s": measured.region.onset_s, "region_offset_s": measured.region.offset_s}
    if measured.band_hz is not None:
        row |= {"band_low_hz": measured.band_hz[0], "band_high_hz": measured.band_hz[1]}
    for measure in measures_of("token"):
        key = measure.key
        for suffix, values in (
            ("", measured.values),
            ("_low", measured.low),
            ("_high", measured.high),
            ("_boundary", measured.boundary),
        ):
            if key in values:
                row[key + suffix] = values[key]
    return row
