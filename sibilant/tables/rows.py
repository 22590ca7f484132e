"""Tokens as rows of TABLE.csv."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..terms import Measures, SibilantInterval, SibilantSlot, Token, measures_of

Cell = str | int | float | None
Row = dict[str, Cell]


@dataclass(frozen=True, slots=True)
class Labels:
    """What a table says of a recording beside its tokens; empty where unknown."""

    recording: str = ""
    sha256: str = ""
    speaker: str = ""
    session: str = ""
    device: str = ""


def unreadable_row(labels: Labels, reason: str) -> Row:
    """Return the one row of a recording that could not be read, its reason as the only flag (no semicolon in it)."""
    return {**_label_cells(labels), "finding": "unreadable", "flags": reason.replace(";", ",")}


def token_rows(tokens: Iterable[Token], labels: Labels) -> list[Row]:
    """Return one row per token, cells absent where there is no value."""
    return [_row(token, labels) for token in tokens]


def _label_cells(labels: Labels) -> Row:
    return {
        "recording": labels.recording,
        "sha256": labels.sha256,
        "speaker": labels.speaker,
        "session": labels.session,
        "device": labels.device,
    }


def _row(token: Token, labels: Labels) -> Row:
    row = (
        _label_cells(labels) | _prompt_cells(token) | _slot_cells(token.slot) | _word_cells(token) | _place_cells(token)
    )
    row |= {"finding": token.finding, "reader": token.reader}
    if token.mark is not None:
        row |= {"label": token.mark.label} | ({"phone": token.mark.phone} if token.slot is None else {})
    if token.sibilant is not None:
        row |= _time_cells(token.sibilant)
    if token.measures is not None:
        row |= _measure_cells(token.measures)
    row |= {
        "snr_db": token.snr_db,
        "bandwidth_hz": token.bandwidth_hz,
        "method": token.method.label if token.method is not None else "",
        "flags": ";".join(token.flags),
    }
    return row


def _prompt_cells(token: Token) -> Row:
    spoken = token.utterance
    row: Row = {"prompt_index": token.prompt_index or None, "prompt": token.prompt_text}
    prompt = spoken.prompt if spoken is not None else None
    if prompt is not None:
        row |= {"level": prompt.level, "cue": prompt.cue}
    if spoken is not None:
        row |= {"word_onset_s": spoken.interval.onset_s, "word_offset_s": spoken.interval.offset_s}
        if spoken.prompt_index:
            row |= {"attempt": spoken.attempt, "voice": spoken.voice, "counts": _yes(spoken.counts)}
    return row


def _word_cells(token: Token) -> Row:
    """The word that a slot belongs to."""
    prompt = token.utterance.prompt if token.utterance is not None else None
    if token.slot is None or prompt is None or token.slot.word_index >= len(prompt.words):
        return {}
    return {"word": prompt.words[token.slot.word_index].spelling, "word_index": token.slot.word_index + 1}


def _place_cells(token: Token) -> Row:
    """How sure the slot's place is, and where to listen for a sound that was not found."""
    place = token.place
    if place is None:
        return {}
    row: Row = {"slot_probability": place.probability}
    if token.sibilant is None:
        row |= {"place_onset_s": place.interval.onset_s, "place_offset_s": place.interval.offset_s}
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


def _time_cells(sound: SibilantInterval) -> Row:
    return {
        "onset_s": sound.interval.onset_s,
        "offset_s": sound.interval.offset_s,
        "boundary": sound.boundary,
        "reviewed_by": sound.review.by if sound.review is not None else "",
        "onset_beside": sound.onset.beside,
        "offset_beside": sound.offset.beside,
        "onset_uncertainty_ms": sound.onset.uncertainty_ms,
        "offset_uncertainty_ms": sound.offset.uncertainty_ms,
        "confidence": sound.confidence,
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
