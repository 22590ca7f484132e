"""A recording, what was to be said and methods in; the sounds observed and a measurement a sound and method out.

Also sounds measured once more: between a person's edges, or under another method.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from .. import acoustics, boundaries, suitability
from ..methods import HOUSE_15K
from ..terms import (
    Cut,
    Edge,
    Finding,
    Interval,
    Mark,
    Measurement,
    Method,
    MicrophoneResponse,
    PhonePlaces,
    Prompt,
    Recording,
    Review,
    SibilantInterval,
    Sound,
    Suitability,
    Utterance,
)
from ..words import READER, WordSearch, find_words, place_phones
from .analysis import Analysis, Kept
from .supporting import supported

OWN_SHARE = 0.5  # a person's mark over more than half of a sound is that sound


@dataclass(frozen=True, slots=True)
class _Assessed:
    """The bounded sibilants of a recording, judged, with what no method changes."""

    recording: Recording
    sounds: Sequence[Sound]
    stretches: Sequence[SibilantInterval]
    judged: Suitability
    timed: Sequence[Mapping[str, float]]
    response: MicrophoneResponse | None


def analyse(
    recording: Recording,
    prompts: Sequence[Prompt] = (),
    *,
    methods: Sequence[Method] = (HOUSE_15K,),
    modelled: bool = False,
    response: MicrophoneResponse | None = None,
    corpus_cut_hz: float | None = None,
) -> Analysis:
    """Find the words and sibilants of a recording, measure them, and say what each can support.

    Parameters
    ----------
    recording : Recording
        One channel at its native rate.
    prompts : sequence of Prompt
        What was to be said, in order; empty: every sibilant is reported with an empty prompt.
    methods : sequence of Method
        Each sibilant is measured under each.
    modelled : bool
        Whether a model was given before each answer; the first of each pair is then another's voice.
    response : MicrophoneResponse, optional
        Divided out of every spectrum and named in the method.
    corpus_cut_hz : float, optional
        Where the speaker's recordings are cut off, in Hz (0: nowhere), in place of what this one shows alone.

    Returns
    -------
    Analysis
        ``sounds`` in the order of the prompts (times in s), ``measurements`` of all sounds heard, method after method
        (each value in the unit of its measure), ``suitability``, and what was not heard.

    Raises
    ------
    MethodError
        When the response does not cover a method's band.

    Notes
    -----
    docs/words.md, docs/boundaries.md and docs/measures.md tell the three steps, with sources.

    Examples
    --------
    >>> from sibilant import expect, read_recording, reference_sounds
    >>> clip = read_recording(reference_sounds() / "ktuberling-stick.ogg")
    >>> [sound.finding for sound in analyse(clip, [expect("stick")]).sounds]
    ['found']
    """
    if not prompts:
        found = enumerate(boundaries.find_all(recording), start=1)
        sounds = [Sound(f"x{number}", "extra", edges=edges) for number, edges in found]
        return _analysis(recording, WordSearch(), sounds, (), (methods, response, corpus_cut_hz))
    search, sounds = _searched(recording, prompts, modelled=modelled)
    return _analysis(recording, search, sounds, prompts, (methods, response, corpus_cut_hz))


def _searched(
    recording: Recording, prompts: Sequence[Prompt], *, modelled: bool = False
) -> tuple[WordSearch, list[Sound]]:
    search = find_words(recording, prompts, modelled=modelled)
    placed = zip(search.utterances, place_phones(recording, search.utterances), strict=True)
    return search, [sound for utterance, places in placed for sound in _sounds_of(recording, utterance, places)]


def analyse_marked(
    recording: Recording,
    marks: Sequence[Mark],
    prompts: Sequence[Prompt] = (),
    *,
    methods: Sequence[Method] = (HOUSE_15K,),
    response: MicrophoneResponse | None = None,
    corpus_cut_hz: float | None = None,
) -> Analysis:
    """Measure stretches whose edges a person gave; the machine's own edges near by are kept beside them.

    With prompts, a mark whose label names a slot's phone (or nothing) gives that slot its edges, the nearest within a
    quarter of a second; slots without a mark stay as they were found, and marks without a slot are sounds of their own.
    """
    search, sounds = _searched(recording, prompts) if prompts else (WordSearch(), [])
    taken = boundaries.matched(marks, [(s.phone, _where(s)) for s in sounds])
    own = [
        _with_mark(recording, sound, marks[taken[k]]) if k in taken else _beside_marks(sound, marks)
        for k, sound in enumerate(sounds)
        if k in taken or sound.slot is not None or not _overlaps(sound, marks)
    ]
    own += [
        Sound(f"g{n}", "found" if mark.phone else "extra", edges=_given(recording, mark.interval), mark=mark)
        for n, mark in enumerate(marks, start=1)
        if n - 1 not in taken.values()
    ]
    return _analysis(recording, search, own, prompts, (methods, response, corpus_cut_hz))


def _where(sound: Sound) -> Interval | None:
    """Where a slot was found, or is to be listened for."""
    return sound.edges.interval if sound.edges is not None else sound.place


def _with_mark(recording: Recording, sound: Sound, mark: Mark) -> Sound:
    """Give a slot the edges that a person marked; the machine's, of whatever it found there, are kept beside them."""
    given = replace(_given(recording, mark.interval), slot=sound.slot)
    return replace(sound, edges=given, finding="found", place=mark.interval, slot_probability=1.0, mark=mark)


def _beside_marks(sound: Sound, marks: Sequence[Mark]) -> Sound:
    """Doubt a slot that was found in what a person marked as another sound."""
    return replace(sound, finding="unsure") if sound.slot is not None and _overlaps(sound, marks) else sound


def _overlaps(sound: Sound, marks: Sequence[Mark]) -> bool:
    own = sound.edges.interval if sound.edges is not None else None
    return own is not None and any(own.overlap_s(mark.interval) > OWN_SHARE * own.duration_s for mark in marks)


def assess_alone(recording: Recording) -> Suitability:
    """Say what a recording can support when nothing is known of what was said in it."""
    return suitability.assess(recording, boundaries.find_all(recording))


def _given(recording: Recording, interval: Interval) -> SibilantInterval:
    """Return the bounded sibilant of a stretch that a person marked."""
    review = Review(interval, "given")
    found = boundaries.bound(recording, interval)
    if found is not None and found.automatic.overlap_s(interval) > 0:
        core = Interval(
            min(max(found.core.onset_s, interval.onset_s), interval.offset_s),
            max(min(found.core.offset_s, interval.offset_s), interval.onset_s),
        )
        return replace(found, review=review, core=core)
    onset, offset = (Edge(edge, "silence", 0.0, 1.0) for edge in (interval.onset_s, interval.offset_s))
    return SibilantInterval(None, interval, interval, onset, offset, 1.0, ("no_frication_found",), review)


def measure_again(
    recording: Recording,
    sounds: Sequence[Sound],
    method: Method,
    *,
    response: MicrophoneResponse | None = None,
    kept: Kept | None = None,
) -> tuple[Measurement, ...]:
    """Measure sounds under another method, their edges as they are; one measurement each, in order.

    Parameters
    ----------
    recording : Recording
        The whole recording, or a clip of it.
    sounds : sequence of Sound
        Their times count from the start of ``recording``.
    method : Method
        What to measure under.
    response : MicrophoneResponse, optional
        Divided out of every spectrum.
    kept : Kept, optional
        What was observed of the whole recording, for a clip: its noise and cut stand for the clip's own, and the
        figures are then the recording's.
    """
    heard = _assessed(recording, sounds, response)
    if kept is not None:
        heard = replace(heard, judged=kept.over(heard.judged, [sound.id for sound in heard.sounds]))
    return _measured(heard, sounds, method)


def observe(recording: Recording, sounds: Sequence[Sound]) -> Kept:
    """Return what a recording, or a clip of one, shows around sounds: their noise, and where it is cut off."""
    bounded = [sound for sound in sounds if sound.edges is not None]
    stretches = [sound.edges for sound in bounded if sound.edges is not None]
    words = [sound.utterance.interval if sound.utterance is not None else None for sound in bounded]
    judged = suitability.assess(recording, stretches, words=words)
    return Kept({sound.id: own for sound, own in zip(bounded, judged.tokens, strict=True)}, judged.cut)


def _sounds_of(recording: Recording, utterance: Utterance, places: PhonePlaces | None) -> list[Sound]:
    """Sounds of one utterance: its slots in order, then what was found beside them."""
    search = boundaries.find_sibilants(recording, utterance, places)
    recording.let_go()
    stem, prompt = f"{utterance.prompt_index}.{utterance.attempt}", utterance.prompt
    text = prompt.text if prompt is not None else ""
    whole = Sound(
        stem, "none_expected", utterance, prompt_text=text, prompt_index=utterance.prompt_index, reader=READER
    )
    by_slot = {edges.slot.index: edges for edges in search.found if edges.slot is not None}
    readings = {reading.slot.index: reading for reading in search.readings}
    sounds = []
    for slot in prompt.slots if prompt is not None else ():
        edges, own = by_slot.get(slot.index), readings[slot.index]
        sound = replace(whole, id=f"{stem}.{slot.index}", slot=slot, edges=edges)
        finding: Finding = (
            "unsure" if not own.sure or sound.guessed else "found" if edges is not None else "no_frication"
        )
        sounds.append(replace(sound, finding=finding, place=own.place, slot_probability=own.probability))
    sounds = sounds or [whole]
    if not utterance.sure:
        sounds = [replace(sound, finding="unsure") for sound in sounds]
    extras = enumerate(search.extras, start=1)
    return sounds + [replace(whole, id=f"{stem}.x{n}", finding="extra", edges=edges) for n, edges in extras]


def _analysis(
    recording: Recording,
    search: WordSearch,
    sounds: Sequence[Sound],
    prompts: Sequence[Prompt],
    by: tuple[Sequence[Method], MicrophoneResponse | None, float | None],
) -> Analysis:
    methods, response, corpus_cut_hz = by
    heard = _assessed(recording, sounds, response)
    own_cut = heard.judged.cut
    if corpus_cut_hz is not None:
        cut = Cut(corpus_cut_hz) if corpus_cut_hz else None
        heard = replace(heard, judged=replace(heard.judged, cut=cut))
    missing = [_missing(prompts[place - 1], place, doubted=place in search.doubtful) for place in search.missing]
    return Analysis(
        recording.source,
        recording.sampling_rate_hz,
        recording.duration_s,
        tuple(sorted((*sounds, *missing), key=lambda sound: sound.prompt_index)),
        tuple(measurement for method in methods for measurement in _measured(heard, sounds, method)),
        search.utterances,
        search.missing,
        search.strays,
        heard.judged,
        Kept({s.id: own for s, own in zip(heard.sounds, heard.judged.tokens, strict=True)}, heard.judged.cut),
        own_cut,
    )


def _missing(prompt: Prompt, place: int, *, doubted: bool) -> Sound:
    """Return the sound of a prompt not heard; ``unsure`` where it may have been said after all."""
    finding: Finding = "unsure" if doubted else "prompt_missing"
    return Sound(str(place), finding, prompt_text=prompt.text, prompt_index=place, reader=READER)


def _assessed(recording: Recording, sounds: Sequence[Sound], response: MicrophoneResponse | None) -> _Assessed:
    """Judge the bounded sounds and measure what no method changes."""
    bounded = [sound for sound in sounds if sound.edges is not None]
    stretches = [sound.edges for sound in bounded if sound.edges is not None]
    words = [sound.utterance.interval if sound.utterance is not None else None for sound in bounded]
    judged = suitability.assess(recording, stretches, words=words)
    return _Assessed(
        recording, bounded, stretches, judged, acoustics.timings(recording, stretches, words=words), response
    )


def _measured(heard: _Assessed, sounds: Sequence[Sound], method: Method) -> tuple[Measurement, ...]:
    """Return a measurement for each sound, without the figures that its support rules out."""
    values = acoustics.measure(
        heard.recording,
        heard.stretches,
        method,
        response=heard.response,
        timed=heard.timed,
        noise=[support.noise for support in heard.judged.tokens],
    )
    cut = heard.judged.cut
    found = {}
    for sound, measures, support in zip(heard.sounds, values, heard.judged.tokens, strict=True):
        left = supported(measures, support, method, heard.recording.sampling_rate_hz, cut)
        flags = tuple(dict.fromkeys((*sound.flags, *support.flags, *left.flags)))
        found[sound.id] = Measurement(sound.id, method, left, support.snr_db, support.bandwidth_hz, flags)
    return tuple(found.get(sound.id) or Measurement(sound.id, method, flags=sound.flags) for sound in sounds)
