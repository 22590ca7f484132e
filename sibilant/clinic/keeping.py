"""What was heard in a session's recordings in; the session as the caseload keeps it, sound and clips, out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from .. import audio, store
from ..terms import Interval, Measurement, Prompt, Recording, Sound
from ..terms.clinic import Session
from ..terms.vocabulary import SUPPORTS, Support
from .around import surroundings_of
from .heard import HeardRecording

ISOLATION = "isolation"
ROUND_THE_WORD_S = 0.25
"""Kept on either side of a word, so that its edges can be moved and the pauses beside it measured again; own choice."""


def keep(
    one: store.Caseload, session: Session, heard: Sequence[HeardRecording], prompts: tuple[Prompt, ...]
) -> Session:
    """Keep a session with its sounds, and its clips and what surrounds them as far as sound is kept; return it."""
    verdict = _worst(heard)
    with store.at_work(one):
        clips = tuple(clip for each in heard for clip in _words(one, each)) if session.keep != "none" else ()
        recordings = tuple(_recording(one, each, whole=session.keep == "all") for each in heard)
        sounds = [
            new
            for place, each in enumerate(heard)
            for new in _new_sounds(place, each, prompts, modelled=session.modelled)
        ]
        sounds += [store.NewSound(None, sound) for sound in in_no_recording(heard, prompts)]
        together = tuple(sorted(sounds, key=lambda new: new.sound.prompt_index))
        around = tuple(word for each in heard for word in surroundings_of(each)) if session.keep != "none" else ()
        new = store.NewSession(replace(session, verdict=verdict), prompts, recordings, together, clips, around)
        return store.keep_session(one, new)


def _worst(heard: Sequence[HeardRecording]) -> Support:
    return max((each.analysis.suitability.verdict.worst for each in heard), key=SUPPORTS.index)


def _recording(one: store.Caseload, each: HeardRecording, *, whole: bool) -> store.NewRecording:
    source, recording = each.recording.source, each.recording
    clip = _lossless(one, recording.samples, recording.sampling_rate_hz) if whole else None
    found = {"duration_s": recording.duration_s, **each.analysis.suitability.as_dict()}
    return store.NewRecording(source.sha256, recording.sampling_rate_hz, recording.duration_s, found, clip)


def _lossless(one: store.Caseload, samples: Any, sampling_rate_hz: int) -> tuple[str, str]:
    """Keep sound as FLAC where 24 bits hold it exactly, else as float WAV; return hash and suffix."""
    scaled = np.asarray(samples, dtype=np.float64) * 2**23
    exact = bool(np.all(scaled == np.round(scaled)) and np.abs(samples).max(initial=0.0) <= 1.0)
    made = audio.flac_bytes(samples, sampling_rate_hz) if exact else audio.wav_bytes(samples, sampling_rate_hz)
    suffix = ".flac" if exact else ".wav"
    return store.keep_clip(one, made, suffix), suffix


def _words(one: store.Caseload, each: HeardRecording) -> list[store.NewClip]:
    """Keep each attempt that may be the client's, with a quarter of a second round it."""
    kept = []
    for spoken in each.analysis.utterances:
        if spoken.voice == "other" or not spoken.prompt_index:
            continue
        start = max(0.0, spoken.interval.onset_s - ROUND_THE_WORD_S)
        stretch = Interval(start, spoken.interval.offset_s + ROUND_THE_WORD_S)
        sha256, suffix = _lossless(one, each.recording.cut(stretch), each.recording.sampling_rate_hz)
        place = each.places[spoken.prompt_index - 1]
        first = round(start * each.recording.sampling_rate_hz) / each.recording.sampling_rate_hz
        kept.append(store.NewClip(place, spoken.attempt, sha256, suffix, first))
    return kept


def _new_sounds(place: int, each: HeardRecording, prompts: Sequence[Prompt], *, modelled: bool) -> list[store.NewSound]:
    """Sounds of one recording under their places in the whole list, with what was measured of them.

    A prompt not heard has one for every sibilant it expects.
    """
    measured: dict[str, list[Measurement]] = defaultdict(list)
    for one in each.analysis.measurements:
        measured[one.sound_id].append(one)
    found = []
    for sound in each.analysis.sounds:
        index = each.places[sound.prompt_index - 1] if sound.prompt_index else 0
        kept = _placed(sound, index, modelled=modelled)
        if kept.utterance is None and index:
            found += [store.NewSound(place, one) for one in _for_each_slot(kept, prompts[index - 1])]
            continue
        held = index > 0 and prompts[index - 1].level == ISOLATION
        own = [with_hold(each.recording, kept, one) if held else one for one in measured[sound.id]]
        found.append(store.NewSound(place, kept, tuple(replace(one, sound_id=kept.id) for one in own)))
    return found


def _placed(sound: Sound, index: int, *, modelled: bool) -> Sound:
    """Return a sound under its prompt's place in the whole list.

    After a model no sound counts until a person has confirmed whose voice it is: the client's become unsure.
    """
    spoken = sound.utterance
    if spoken is not None:
        voice = "unsure" if modelled and spoken.voice == "client" else spoken.voice
        spoken = replace(spoken, prompt_index=index, voice=voice)
    _, _, rest = sound.id.partition(".")
    return replace(sound, id=f"{index}.{rest}" if rest else f"{index}", prompt_index=index, utterance=spoken)


def in_no_recording(heard: Sequence[HeardRecording], prompts: Sequence[Prompt]) -> list[Sound]:
    """Sounds of prompts that the list puts into none of the recordings: not heard, and counted as such."""
    placed = {place for each in heard for place in each.places}
    return [
        sound
        for place, prompt in enumerate(prompts, start=1)
        if place not in placed
        for sound in _for_each_slot(
            Sound(str(place), "prompt_missing", prompt_text=prompt.text, prompt_index=place), prompt
        )
    ]


def with_hold(recording: Recording, sound: Sound, measured: Measurement) -> Measurement:
    """Add the measures of a held sound to one said in isolation: length, steadiness, drift, breaks."""
    if sound.edges is None:
        return measured
    from .. import acoustics

    take = acoustics.sustained(recording, sound.edges.interval, method=measured.method)
    measures = measured.measures
    flags = tuple(dict.fromkeys((*measures.flags, *take.flags)))
    return replace(measured, measures=replace(measures, values={**measures.values, **take.values}, flags=flags))


def _for_each_slot(sound: Sound, prompt: Prompt) -> list[Sound]:
    """A prompt not heard, as attempt 0: one sound for every sibilant it expects, or one where it expects none."""
    slots = [replace(sound, id=f"{sound.prompt_index}.0.{slot.index}", slot=slot) for slot in prompt.slots]
    return slots or [replace(sound, id=f"{sound.prompt_index}.0")]
