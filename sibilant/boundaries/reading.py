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
# Logistic weights, fitted by ``docs/fit_slots.py`` on read sentences of speakers that the network had not heard and on
# invented ones with left-out, distorted and substituted sibilants. PLACED: one, the reader's log odds that the sound
# was said, its doubted share of time there, the mean log odds of a hiss there, its share of the frames there, the
# log of its length in seconds (a release, or what a tail leaves over, is short).
# HEARD: one, the same log odds, those that some frication was said for it (/θ f/ as well), those of the clearest hiss
# about the slot, whether the prompt ends there (the voice's and the room's tails pass for a faint sound).
PLACED = (4.49, 0.52, 2.43, 0.46, 1.15, 2.21)  # weights of the logistic function
HEARD = (0.64, 0.36, 0.26, 0.80, -1.24)  # weights of the logistic function
MOST_LOG_ODDS, CLEAREST_FRAMES = 5.0, 4  # evidence at most; frames that speak for a hiss
# A hiss that nobody expected, beside the one found or the slot that has none, may be the one meant (own rule: such are
# rare in the fit), unless so many sounds that were surely said lie between.
RIVAL_S, RIVAL_HISS, RIVAL_SHARE, PARTING_PHONES = 0.3, 1.0, 0.5, 2
WIDEST_S = 0.4  # between anchors further apart nobody knows where a sound was left out
SURE_FOUND, SURE_ABSENT = 0.7, 0.6  # probability below which a slot is unsure; own choice, told in docs/boundaries.md
SURELY_SAID, SURELY_HISS = 0.9, 0.6  # probability of the phone, and of hiss, from which on absence is doubted
HARDLY_SAID = 0.1  # probability below which a phone's own place says little
LEAST_READ_S = 0.03  # shorter hiss says nothing
LEAST_LENGTH_S = 0.01  # no sound found is shorter (``slots``)


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


def is_left_out(places: PhonePlaces, slot: SibilantSlot) -> bool:
    """Whether the reader does without a sibilant and hears no hiss where it would lie, nor faint frication for it."""
    return 1.0 - heard(places, slot) >= SURE_ABSENT


def heard(places: PhonePlaces, slot: SibilantSlot) -> float:
    """Probability that there is a hiss for a sibilant at all."""
    return _probability(HEARD, seen_of_hiss(places, slot))


def seen_of_hiss(places: PhonePlaces, slot: SibilantSlot) -> tuple[float, ...]:
    """What speaks for a hiss in a slot, in the order of ``HEARD``."""
    index = slot.phone_index
    clearest = np.sort(_hisses_about(places, place_of(places, index)))[-CLEAREST_FRAMES:]
    near = float(np.clip(clearest.mean(), -MOST_LOG_ODDS, MOST_LOG_ODDS)) if clearest.size else -MOST_LOG_ODDS
    said, somehow = (_log_odds(float(each[index])) for each in (places.said, places.said_somehow))
    return 1.0, said, somehow, near, float(not slot.next_phone)


def place_of(places: PhonePlaces, phone_index: int) -> Interval:
    """Where a phone lies; one hardly said that could lie anywhere lies between those that were said."""
    own = places.place(phone_index)
    if places.said[phone_index] >= HARDLY_SAID or own.duration_s <= WIDEST_S:
        return own
    surely = np.flatnonzero(places.said >= SURELY_SAID)
    before, after = surely[surely < phone_index], surely[surely > phone_index]
    if not before.size or not after.size:
        return own
    ends = sorted((places.place(int(before[-1])).offset_s, places.place(int(after[0])).onset_s))
    return Interval(*ends) if ends[1] - ends[0] < own.duration_s else own


def seen_of_place(places: PhonePlaces, sound: SibilantInterval) -> tuple[float, ...]:
    """What speaks for a place, in the order of ``PLACED``."""
    assert sound.slot is not None
    own, index = sound.automatic, sound.slot.phone_index
    inside = places.frames(own.onset_s, own.offset_s)
    return (
        1.0,
        _log_odds(float(places.said[index])),
        places.belief(index, own.onset_s - BELIEF_S, own.offset_s + BELIEF_S),
        float(np.clip(places.hiss[inside].mean(), -MOST_LOG_ODDS, MOST_LOG_ODDS)),
        float(places.weight[index][inside].mean()),
        float(np.log(max(own.duration_s, LEAST_LENGTH_S))),
    )


def has_rival(places: PhonePlaces, slot: SibilantSlot, own: Interval, extras: Sequence[SibilantInterval]) -> bool:
    """Whether a hiss that nobody expected, and that the network, too, takes for a sibilant, lies beside a place."""
    near = [extra.automatic for extra in extras if _apart_s(own, extra.automatic) < RIVAL_S]
    near = [one for one in near if _between(places, slot.phone_index, own, one) < PARTING_PHONES]
    return any(float(places.hiss[places.frames(one.onset_s, one.offset_s)].mean()) > RIVAL_HISS for one in near)


def _between(places: PhonePlaces, phone_index: int, own: Interval, other: Interval) -> int:
    """Number of phones surely said that lie between a slot's place and another stretch."""
    later = other.onset_s >= own.offset_s
    indices = range(phone_index + 1, places.n_phones) if later else range(phone_index)
    low, high = (own.offset_s, other.onset_s) if later else (other.offset_s, own.onset_s)
    middles = [(p.onset_s + p.offset_s) / 2 for p in (places.place(k) for k in indices if places.said[k] > SURELY_SAID)]
    return sum(low <= middle <= high for middle in middles)


def _apart_s(one: Interval, other: Interval) -> float:
    """Time between two intervals; below nothing where they overlap."""
    return max(one.onset_s, other.onset_s) - min(one.offset_s, other.offset_s)


def hiss_near(places: PhonePlaces, place: Interval) -> float:
    """How likely the clearest 40 ms in a place and 40 ms about it are a sibilant, by their sound alone."""
    clearest = np.sort(1.0 / (1.0 + np.exp(-_hisses_about(places, place))))[-CLEAREST_FRAMES:]
    return float(clearest.mean()) if clearest.size else 0.0


def _hisses_about(places: PhonePlaces, place: Interval) -> npt.NDArray[np.float64]:
    """Log odds of a hiss in a place and 40 ms about it."""
    about = places.frames(place.onset_s - HISS_ROOM_S, place.offset_s + HISS_ROOM_S)
    return places.hiss[about].astype(np.float64)


def found_reading(
    places: PhonePlaces, sound: SibilantInterval, extras: Sequence[SibilantInterval] = (), all_said: float = 1.0
) -> SlotReading:
    """Judge the place of a sibilant found; a hiss beside it that nobody expected could be the one meant.

    ``all_said`` is the probability that none of those sharing its hiss was left out (``meeting``).
    """
    assert sound.slot is not None
    probability = all_said * _probability(PLACED, seen_of_place(places, sound))
    if has_rival(places, sound.slot, sound.automatic, extras):
        probability *= RIVAL_SHARE
    return SlotReading(sound.slot, sound.automatic, probability, probability >= SURE_FOUND)


def absent_reading(places: PhonePlaces, slot: SibilantSlot, extras: Sequence[SibilantInterval] = ()) -> SlotReading:
    """Judge a slot without frication: absent for sure only where the reader, too, does without a hiss."""
    place = place_of(places, slot.phone_index)
    probability = 1.0 - heard(places, slot)
    doubted = any(_apart_s(place, extra.automatic) < 0.0 for extra in extras) or place.duration_s > WIDEST_S
    if doubted or has_rival(places, slot, place, extras):
        probability *= RIVAL_SHARE
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
