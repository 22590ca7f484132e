"""What a recording showed around each word, kept with it, and the word measured again with that."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from .. import audio, store
from ..terms import Interval, Measurement, Method, Recording, SibilantInterval, Sound, Surroundings, TokenSupport
from ..terms.kept import KeptToken
from .heard import HeardRecording

if TYPE_CHECKING:
    from ..pipeline import Kept

OWN_MARGINS = "own_margins"
"""Flag of a figure whose noise was read from the kept word's own margins, since nothing more was kept of it."""


def surroundings_of(each: HeardRecording) -> list[Surroundings]:
    """Return what one recording showed around its words, under their places in the whole list; no other voice's."""
    others = {(one.prompt_index, one.attempt) for one in each.analysis.utterances if one.voice == "other"}
    by_word: dict[tuple[int, int], dict[str, TokenSupport]] = defaultdict(dict)
    for name, support in each.analysis.kept.support.items():
        index, attempt, rest = name.split(".", 2)
        if (int(index), int(attempt)) not in others:
            place = each.places[int(index) - 1]
            by_word[place, int(attempt)][f"{place}.{attempt}.{rest}"] = support
    cut = each.analysis.kept.cut
    return [Surroundings(place, attempt, cut, sounds) for (place, attempt), sounds in by_word.items()]


def kept_of(token: KeptToken, around: store.Around) -> Kept | None:
    """Return what the recording showed of a sound, for a measuring of its kept word; None where nothing was kept.

    A sound that a person bounded where the machine found none has the noise of its word.
    """
    from ..pipeline import Kept

    word = around.get((token.prompt_index, token.attempt))
    return None if word is None else Kept(word.support, word.cut, word.noise)


def kept_word(one: store.Caseload, clip: str) -> tuple[Recording | None, float]:
    """Return a kept word and where it starts in its recording; None where its sound was not kept."""
    if not clip:
        return None, 0.0
    suffix, start_s = store.clip_of(one, clip)
    return audio.recording_from_bytes(store.clip_bytes(one, clip, suffix), "kept word"), start_s


def measured_in(
    recording: Recording, start_s: float, sounds: Sequence[Sound], method: Method, kept: Kept | None
) -> list[Measurement]:
    """Measure sounds in a word that starts at ``start_s`` of its recording; times stay those of the recording.

    ``kept`` is what the recording showed around the word; None: its own margins serve.
    """
    from ..pipeline import measure_again

    found = measure_again(recording, [shifted(sound, -start_s) for sound in sounds], method, kept=kept)
    return [_back(one, start_s) for one in found]


def by_own_margins(measured: Measurement) -> Measurement:
    """Return a figure that says that its noise is that of the kept word's own margins."""
    return replace(measured, flags=(*measured.flags, OWN_MARGINS))


def _back(measured: Measurement, start_s: float) -> Measurement:
    region = measured.measures.region
    if region is None:
        return measured
    return replace(measured, measures=replace(measured.measures, region=_moved(region, start_s)))


def _moved(interval: Interval, by_s: float) -> Interval:
    return Interval(interval.onset_s + by_s, interval.offset_s + by_s)


def shifted(sound: Sound, by_s: float) -> Sound:
    """Return a sound with its word's times and its edges moved."""
    spoken, edges = sound.utterance, sound.edges
    if spoken is not None:
        spoken = replace(spoken, interval=_moved(spoken.interval, by_s))
    return replace(sound, utterance=spoken, edges=edges and _edges_moved(edges, by_s))


def _edges_moved(edges: SibilantInterval, by_s: float) -> SibilantInterval:
    review = edges.review
    return replace(
        edges,
        automatic=_moved(edges.automatic, by_s),
        core=_moved(edges.core, by_s),
        onset=replace(edges.onset, time_s=edges.onset.time_s + by_s),
        offset=replace(edges.offset, time_s=edges.offset.time_s + by_s),
        review=replace(review, interval=_moved(review.interval, by_s)) if review is not None else None,
    )
