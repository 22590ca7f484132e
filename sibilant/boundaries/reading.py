"""What a reader of the whole prompt says of the runs, and how far each slot's place can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms import Interval, PhonePlaces, SibilantInterval, SibilantSlot
from ..terms.vocabulary import AFFRICATES
from .frication import Run, run_between
from .stage import Stage

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
ABOUT_S = 0.03  # a run is read with so much around it, as placed phones and hand marks differ by it
ROOM_S, HISS_ROOM_S = 0.08, 0.04  # around a place in which a left-out sound is looked for
BELIEF_S = 0.06  # around a found sound, in which the reader may have put it
# Logistic weights. PLACED, fitted by ``docs/fit_slots.py`` on read sentences of speakers that the network had not heard
# and on invented ones with left-out, distorted and substituted sibilants: one, the reader's log odds that the sound was
# said, its doubted share of time there, the mean log odds of a hiss there, its share of the frames there, a short half
# of a hiss that two slots share. HEARD, fitted on read and on invented sentences: one, the same log odds, and those of
# the clearest hiss about the slot.
PLACED = (-2.06, 0.53, 3.66, 0.17, 0.92, -2.26)  # weights of the logistic function
HEARD = (-0.18, 0.69, 0.52)  # weights of the logistic function
MOST_LOG_ODDS, SHORT_HALF_S, CLEAREST_FRAMES = 5.0, 0.08, 4
"""Evidence at most; half a doubled sound is short; frames that speak for a hiss."""
# A hiss that nobody expected, beside the one found or the slot that has none, may be the one meant (own rule: such are
# rare in the fit).
RIVAL_S, RIVAL_HISS, RIVAL_SHARE = 0.3, 1.0, 0.5
# Two sibilants that share a hiss shorter than this each may be one, the other left out (affricates aside): chosen on
# invented sentences, as is what speaks for faint frication: its probability, and the log odds of a hiss.
SHORTEST_HALF_S, FAINTLY_SAID, FAINT_HISS = 0.065, 0.95, -2.6
WIDEST_S = 0.4  # between anchors further apart nobody knows where a sound was left out
SURE_FOUND, SURE_ABSENT = 0.7, 0.6  # probability below which a slot is unsure; own choice, told in docs/boundaries.md
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


def is_left_out(places: PhonePlaces, phone_index: int) -> bool:
    """Whether the reader does without a sibilant and hears no hiss where it would lie, nor faint frication for it."""
    return 1.0 - heard(places, phone_index) >= SURE_ABSENT and not is_faint(places, phone_index)


def is_faint(places: PhonePlaces, phone_index: int) -> bool:
    """Whether the reader wants some frication in a slot, /θ f/ as well as a sibilant, and hears a little there."""
    return float(places.said_somehow[phone_index]) > FAINTLY_SAID and seen_of_hiss(places, phone_index)[2] > FAINT_HISS


def heard(places: PhonePlaces, phone_index: int) -> float:
    """Probability that there is a hiss for a sibilant at all."""
    return _probability(HEARD, seen_of_hiss(places, phone_index))


def seen_of_hiss(places: PhonePlaces, phone_index: int) -> tuple[float, ...]:
    """What speaks for a hiss in a slot, in the order of ``HEARD``."""
    clearest = np.sort(_hisses_about(places, places.place(phone_index)))[-CLEAREST_FRAMES:]
    near = float(np.clip(clearest.mean(), -MOST_LOG_ODDS, MOST_LOG_ODDS)) if clearest.size else -MOST_LOG_ODDS
    return 1.0, _log_odds(float(places.said[phone_index])), near


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
        float("doubled" in sound.flags and own.duration_s < SHORT_HALF_S),
    )


def is_short_half(sound: SibilantInterval) -> bool:
    """Whether a sibilant shares with another a hiss so short that it may be the other's alone."""
    if sound.slot is None or "doubled" not in sound.flags or sound.automatic.duration_s >= SHORTEST_HALF_S:
        return False
    return not AFFRICATES & {sound.slot.phone, sound.slot.previous_phone, sound.slot.next_phone}


def has_rival(places: PhonePlaces, own: Interval, extras: Sequence[SibilantInterval]) -> bool:
    """Whether a hiss that nobody expected, and that the network, too, takes for a sibilant, lies beside a place."""
    near = [extra.automatic for extra in extras if _apart_s(own, extra.automatic) < RIVAL_S]
    return any(float(places.hiss[places.frames(one.onset_s, one.offset_s)].mean()) > RIVAL_HISS for one in near)


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


def found_reading(places: PhonePlaces, sound: SibilantInterval, extras: Sequence[SibilantInterval] = ()) -> SlotReading:
    """Judge the place of a sibilant found; a hiss beside it that nobody expected could be the one meant."""
    assert sound.slot is not None
    probability = _probability(PLACED, seen_of_place(places, sound))
    if has_rival(places, sound.automatic, extras) or is_short_half(sound):
        probability *= RIVAL_SHARE
    return SlotReading(sound.slot, sound.automatic, probability, probability >= SURE_FOUND)


def absent_reading(places: PhonePlaces, slot: SibilantSlot, extras: Sequence[SibilantInterval] = ()) -> SlotReading:
    """Judge a slot without frication: absent for sure only where the reader, too, does without a hiss."""
    place = places.place(slot.phone_index)
    probability = 1.0 - heard(places, slot.phone_index)
    doubted = any(_apart_s(place, extra.automatic) < 0.0 for extra in extras) or place.duration_s > WIDEST_S
    if doubted or has_rival(places, place, extras) or is_faint(places, slot.phone_index):
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
