"""Expected sibilants in an utterance: which frication belongs to which slot, what is extra, and what is absent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..terms import Interval, PhonePlaces, Recording, SibilantInterval, SibilantSlot, Utterance
from .align import align, kind_of
from .bounding import bounded, shared
from .frication import hidden_run
from .meeting import all_said
from .reading import SlotReading, absent_reading, found_reading, shares_of, word_readings
from .slot_assignment import by_run, overlap, passes_for_sibilant, room_for, taken_runs
from .stage import Stage, stage_of

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
LEAST_SOUND_S = 0.012  # shorter is no sound
BLOCK_S = 30.0  # long recordings are gone through in blocks, for memory
BLOCK_MARGIN_S = 0.5  # with so much of the neighbours


@dataclass(frozen=True, slots=True)
class SibilantSearch:
    """What was found in one utterance: bounded slots, slots without frication, and sibilants nobody expected.

    ``readings`` holds the place and probability of each slot.
    """

    found: tuple[SibilantInterval, ...]
    absent: tuple[SibilantSlot, ...]
    extras: tuple[SibilantInterval, ...]
    readings: tuple[SlotReading, ...] = ()


def find_sibilants(recording: Recording, utterance: Utterance, places: PhonePlaces | None = None) -> SibilantSearch:
    """Find, in one utterance, the frication of each expected slot and every sibilant that nobody expected.

    Inside a slot any frication is bounded, whatever its spectrum; outside, only what passes for a sibilant counts.

    Parameters
    ----------
    recording : Recording
        At its native rate.
    utterance : Utterance
        Where the prompt was spoken; its prompt's phones and slots say what to expect. Without a prompt every sibilant
        is an extra.
    places : PhonePlaces, optional
        Where a reader of the whole prompt puts each phone: vowels and stops are then anchors, and no slot takes its
        neighbour's hiss.

    Returns
    -------
    SibilantSearch
        In order of time; every slot of the prompt is in ``found`` or ``absent``. Never an error: silence, clipping and
        samples that are not finite end in ``absent`` or in flags.

    Examples
    --------
    Half a second of hiss between two seconds of near silence, without a prompt:

    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> noise = np.random.default_rng(1).standard_normal(40000) * np.where(np.arange(40000) // 8000 == 2, 0.1, 1e-4)
    >>> recording = Recording(noise.astype(np.float32), 16000, Source("hiss", ""))
    >>> search = find_sibilants(recording, Utterance(None, 0, 1, Interval(0.5, 2.0)))
    >>> [(round(s.automatic.onset_s, 2), round(s.automatic.offset_s, 2)) for s in search.extras]
    [(1.0, 1.5)]
    """
    stage = stage_of(recording, utterance.interval)
    prompt = utterance.prompt
    slots = prompt.slots if prompt is not None else ()
    phones = prompt.phones if prompt is not None else ()
    others = [k for k, phone in enumerate(phones) if kind_of(phone) != "sibilant"]
    matched = _matched(stage, phones, places)
    taken = taken_runs(stage, matched, slots, places)
    found: list[SibilantInterval] = []
    all_of = dict.fromkeys(slots, 1.0)
    for run, sharing in by_run(taken, slots):
        sounds = shared(stage, run, sharing)
        found.extend(s for s in sounds if s.automatic.duration_s > LEAST_SOUND_S)
        if places is not None:
            whole = Interval(sounds[0].automatic.onset_s, sounds[-1].automatic.offset_s)
            all_of |= dict.fromkeys(sharing, all_said(places, whole, sharing, others))
    filled = {sound.slot for sound in found}
    absent = tuple(slot for slot in slots if slot not in filled)
    expected = {j: kind_of(phones[i]) for i, j in matched.items()}
    extras = tuple(
        bounded(stage, run, ())
        for j, run in enumerate(stage.runs)
        if passes_for_sibilant(run, stage, expected.get(j, "")) and not any(overlap(run, r) for r in taken.values())
    )
    if places is not None:
        judged = [found_reading(places, one, extras, all_of[one.slot]) for one in found if one.slot is not None]
        judged += [absent_reading(places, slot, extras) for slot in absent]
        readings = tuple(sorted(judged, key=lambda reading: reading.slot.index))
    else:
        rooms = [stage.interval_of(room_for(stage, slot, matched), utterance.interval) for slot in absent]
        readings = word_readings(utterance.confidence, tuple(found), tuple(zip(absent, rooms, strict=True)))
    return SibilantSearch(tuple(found), absent, extras, readings)


def _matched(stage: Stage, phones: Sequence[str], places: PhonePlaces | None) -> dict[int, int]:
    """Run by phone index, by a reader's places where there are some, else by ordinary lengths."""
    if not phones:
        return {}
    shares = shares_of(stage, places) if places is not None else None
    return align(phones, stage.runs, stage.levels.hop_s, stage.scene.loudest_low_db, shares)


def find_all(recording: Recording) -> tuple[SibilantInterval, ...]:
    """Every stretch of a recording that passes for a sibilant, without any prompt.

    Works in blocks of 30 s, so that memory stays bounded. Without a prompt about 6 % of what is found is a strong
    release or /f h θ/, and about 6 % of the sibilants, faint ones, are not reported (measured on the open recordings):
    where the words are known, use ``find_sibilants``.

    Parameters
    ----------
    recording : Recording
        At its native rate.

    Returns
    -------
    tuple of SibilantInterval
        In order of time, all without a slot.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> noise = np.random.default_rng(1).standard_normal(40000) * np.where(np.arange(40000) // 8000 == 2, 0.1, 1e-4)
    >>> [s.slot for s in find_all(Recording(noise.astype(np.float32), 16000, Source("hiss", "")))]
    [None]
    """
    out: list[SibilantInterval] = []
    begin = 0.0
    while begin < recording.duration_s:
        end = min(recording.duration_s, begin + BLOCK_S)
        stage = stage_of(recording, Interval(begin, end), BLOCK_MARGIN_S)
        for run in stage.runs:
            if begin <= stage.time_of(run.first) < end and passes_for_sibilant(run, stage):
                out.append(bounded(stage, run, ()))
        recording.let_go()
        begin = end
    return tuple(out)


def bound(recording: Recording, search_interval: Interval, slot: SibilantSlot | None = None) -> SibilantInterval | None:
    """Bound the strongest frication inside a stretch.

    Parameters
    ----------
    recording : Recording
        At its native rate.
    search_interval : Interval
        Where to look, such as what a person has drawn; the edges may lie up to 0.2 s outside.
    slot : SibilantSlot, optional
        What is expected there; its neighbours help to judge the edges.

    Returns
    -------
    SibilantInterval or None
        None when there is no frication at all.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> noise = np.random.default_rng(1).standard_normal(40000) * np.where(np.arange(40000) // 8000 == 2, 0.1, 1e-4)
    >>> recording = Recording(noise.astype(np.float32), 16000, Source("hiss", ""))
    >>> round(bound(recording, Interval(0.9, 1.6)).automatic.duration_ms, -1)
    500.0
    """
    stage = stage_of(recording, search_interval)
    inside = [run for run in stage.runs if run.kind == "frication"]
    if not inside:
        hidden = hidden_run(stage.scene, stage.levels.frames_of(search_interval))
        inside = [hidden] if hidden is not None else []
    if not inside:
        return None
    best = max(inside, key=lambda run: run.high_db + 10.0 * np.log10(run.n_frames))
    return bounded(stage, best, (slot,) if slot is not None else ())
