"""What a reader of the whole prompt says of the runs, and how far each slot's place can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms import Interval, PhonePlaces, SibilantInterval, SibilantSlot
from .frication import Run, run_between
from .stage import Stage

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
ABOUT_S = 0.03  # a run is read with so much around it, as placed phones and hand marks differ by it
ROOM_S, HISS_ROOM_S = 0.08, 0.04  # around a place in which a left-out sound is looked for
BELIEF_S = 0.06  # around a found sound, in which the reader may have put it
# Logistic weights of what speaks for a place, and for a sound that was left out, fitted on read sentences
# of 119 speakers and on invented ones with left-out, distorted and substituted sibilants (``docs/boundaries.md``): the
# reader's log odds that the sound was said; its doubted share of time there; the mean log odds of a hiss there; its
# share of the frames there; a short half of a hiss that two slots share.
PLACED = (-3.12, 0.13, 4.86, 0.34, 1.77, -2.11)
LEFT_OUT = (1.6, -0.54, -2.8)  # weights of the logistic function, fitted by speakers left out (docs/boundaries.md)
MOST_LOG_ODDS, SHORT_HALF_S, LOUDEST_FRAMES = 5.0, 0.08, 4
"""Evidence at most; half a doubled sound is short; frames that speak for a hiss."""
SURE_FOUND, SURE_ABSENT = 0.7, 0.7  # probability below which a slot is unsure; own choice, told in docs/boundaries.md
# Where the reader does without the sound, what was found is no hiss; where it hears one, it is bounded.
HARDLY_SAID, NO_HISS = 0.15, -2.0
SURELY_SAID, SURELY_HISS = 0.9, 0.6  # probability of the phone, and of hiss, from which on absence is doubted
LEAST_READ_S = 0.03  # shorter hiss says nothing


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


def read_run(stage: Stage, places: PhonePlaces, phone_index: int) -> Run | None:
    """Frication where the reader is sure of a sibilant and hears its hiss, though the levels alone show none."""
    place = places.place(phone_index)
    if places.said[phone_index] < SURELY_SAID or hiss_near(places, place) < SURELY_HISS:
        return None
    inside = places.frames(place.onset_s, place.offset_s)
    hissing = np.flatnonzero(places.hiss[inside] > 0) + inside.start
    if hissing.size * places.hop_s < LEAST_READ_S:
        return None
    onset, offset = (places.start_s + float(k) * places.hop_s for k in (hissing[0], hissing[-1]))
    return run_between(stage.scene, stage.levels.frames_of(Interval(max(0.0, onset), offset)))


def is_left_out(stage: Stage, places: PhonePlaces, phone_index: int, run: Run) -> bool:
    """Whether the reader does without a phone, and what a slot would take is no hiss to it."""
    if places.said[phone_index] > HARDLY_SAID:
        return False
    inside = places.frames(stage.time_of(run.first), stage.time_of(run.last))
    return float(places.hiss[inside].mean()) < NO_HISS


def hiss_near(places: PhonePlaces, place: Interval) -> float:
    """How likely the clearest 40 ms in a place and 40 ms about it are a sibilant, by their sound alone."""
    inside = places.hiss[places.frames(place.onset_s - HISS_ROOM_S, place.offset_s + HISS_ROOM_S)]
    clearest = np.sort(1.0 / (1.0 + np.exp(-inside.astype(np.float64))))[-LOUDEST_FRAMES:]
    return float(clearest.mean()) if clearest.size else 0.0


def found_reading(places: PhonePlaces, sound: SibilantInterval) -> SlotReading:
    """Judge the place of a sibilant found."""
    assert sound.slot is not None
    own, index = sound.automatic, sound.slot.phone_index
    inside = places.frames(own.onset_s, own.offset_s)
    seen = (
        1.0,
        _log_odds(float(places.said[index])),
        places.belief(index, own.onset_s - BELIEF_S, own.offset_s + BELIEF_S),
        float(np.clip(places.hiss[inside].mean(), -MOST_LOG_ODDS, MOST_LOG_ODDS)),
        float(places.weight[index][inside].mean()),
        float("doubled" in sound.flags and own.duration_s < SHORT_HALF_S),
    )
    probability = _probability(PLACED, seen)
    return SlotReading(sound.slot, own, probability, probability >= SURE_FOUND)


def absent_reading(places: PhonePlaces, slot: SibilantSlot) -> SlotReading:
    """Judge a slot without frication: absent for sure only where the reader, too, does without a hiss."""
    place = places.place(slot.phone_index)
    seen = (1.0, _log_odds(float(places.said[slot.phone_index])), hiss_near(places, place))
    probability = _probability(LEFT_OUT, seen)
    return SlotReading(slot, place, probability, probability >= SURE_ABSENT)


def word_readings(
    confidence: float, found: Sequence[SibilantInterval], absent: Sequence[tuple[SibilantSlot, Interval]]
) -> tuple[SlotReading, ...]:
    """Readings of a single word, whose slots are as sure as the word (``confidence``) is the one asked for.

    Within words that are the ones asked for no slot took another's place in 1,581 (``docs/evidence/other_voices.csv``).
    """
    readings = [SlotReading(s.slot, s.automatic, confidence, sure=True) for s in found if s.slot is not None]
    readings += [SlotReading(slot, room, confidence, sure=True) for slot, room in absent]
    return tuple(sorted(readings, key=lambda reading: reading.slot.index))


def _log_odds(probability: float) -> float:
    kept = min(max(probability, 1e-4), 1.0 - 1e-4)
    return float(np.clip(np.log(kept / (1.0 - kept)), -MOST_LOG_ODDS, MOST_LOG_ODDS))


def _probability(weights: Sequence[float], seen: Sequence[float]) -> float:
    log_odds = sum(weight * value for weight, value in zip(weights, seen, strict=True))
    return float(1.0 / (1.0 + np.exp(-log_odds)))
