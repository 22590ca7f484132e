"""What a reader of the whole prompt says of the runs, and how far each slot's place can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms import Interval, PhonePlaces, SibilantInterval, SibilantSlot
from .frication import Run
from .stage import Stage

ABOUT_S = 0.03
ROOM_S = 0.08
BELIEF_S = 0.06
# Logistic weights of what speaks for a place, fitted on 560 slots of read sentences of 119 speakers (children and
# adults; truth: a general-purpose aligner's opinion within 100 ms), five-fold by speaker: ``docs/boundaries.md``.
NOTHING, BELIEVED, AGREED, SHARED = -1.1, 1.6, 2.1, 0.8
SURE_FOUND, SURE_ABSENT = 0.7, 0.25


@dataclass(frozen=True, slots=True)
class SlotReading:
    """One expected sibilant: where it lies (found, or where it would), and the probability that this is right.

    ``sure`` is false where the finding should be looked at: the place could be another's, or the sound be there.
    """

    slot: SibilantSlot
    place: Interval
    probability: float
    sure: bool


def shares_of(stage: Stage, places: PhonePlaces) -> npt.NDArray[np.float64]:
    """Share of each phone's time that lies in each run, 30 ms about it included: (phones, runs)."""
    if not stage.runs:
        return np.zeros((places.n_phones, 0))
    columns = [
        places.share(stage.time_of(run.first) - ABOUT_S, stage.time_of(run.last) + ABOUT_S) for run in stage.runs
    ]
    return np.stack(columns, axis=1).astype(np.float64)


def read_room(stage: Stage, places: PhonePlaces, phone_index: int) -> slice:
    """Coarse frames in which a reader puts a phone, 80 ms about it included."""
    place = places.place(phone_index)
    inside = stage.levels.frames_of(Interval(max(0.0, place.onset_s - ROOM_S), place.offset_s + ROOM_S))
    return slice(max(0, inside.start), min(stage.levels.n_frames, inside.stop))


def found_reading(stage: Stage, places: PhonePlaces, sound: SibilantInterval, other: Run | None) -> SlotReading:
    """Judge the place of a sibilant found; ``other`` is the run its slot gets without a reader."""
    assert sound.slot is not None
    own, index = sound.automatic, sound.slot.phone_index
    belief = places.belief(index, own.onset_s - BELIEF_S, own.offset_s + BELIEF_S)
    share = float(places.share(own.onset_s - ABOUT_S, own.offset_s + ABOUT_S)[index])
    agreed = 0.0
    if other is not None:
        run = Interval(max(0.0, stage.time_of(other.first)), stage.time_of(other.last))
        agreed = min(1.0, run.overlap_s(own) / max(0.001, min(run.duration_s, own.duration_s)))
    log_odds = NOTHING + BELIEVED * belief + AGREED * agreed + SHARED * share
    probability = float(1.0 / (1.0 + np.exp(-log_odds)))
    return SlotReading(sound.slot, own, probability, probability >= SURE_FOUND)


def word_readings(
    confidence: float, found: Sequence[SibilantInterval], absent: Sequence[tuple[SibilantSlot, Interval]]
) -> tuple[SlotReading, ...]:
    """Readings of a single word, whose slots are as sure as the word (``confidence``) is the one asked for.

    Within words that are the ones asked for no slot took another's place in 1,581 (``docs/evidence/other_voices.csv``).
    """
    readings = [SlotReading(s.slot, s.automatic, confidence, sure=True) for s in found if s.slot is not None]
    readings += [SlotReading(slot, room, confidence, sure=True) for slot, room in absent]
    return tuple(sorted(readings, key=lambda reading: reading.slot.index))


def absent_reading(places: PhonePlaces, slot: SibilantSlot, other: Run | None) -> SlotReading:
    """Judge a slot without frication: absent for sure only where the reader, too, does without the sound."""
    probability = (1.0 - float(places.said[slot.phone_index])) * (1.0 if other is None else 0.5)
    probability = float(np.clip(probability, 0.05, 0.95))
    return SlotReading(slot, places.place(slot.phone_index), probability, other is None and probability >= SURE_ABSENT)
