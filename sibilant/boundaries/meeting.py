"""Sibilants that meet in one hiss: how likely all of them were said, by its length."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..terms import Interval, PhonePlaces, SibilantSlot
from ..terms.vocabulary import AFFRICATES
from .align import STOPS

# From ``docs/fit_slots.py``, read sentences: log length in seconds of one /s ʃ/ (one, log of the mean length of the
# sounds that are no sibilants, the prompt ends there, a stop follows), and the spread about it.
SINGLE, SPREAD = (-1.03, 0.42, 0.53, -0.33), 0.35
LONGER = 0.32  # log of how much longer one hiss of several said is, from the same sentences
SAID = 0.88  # probability that a sibilant was said, beforehand: what leaving one out costs the reader, 2 nats


def all_said(places: PhonePlaces, whole: Interval, slots: Sequence[SibilantSlot], others: Sequence[int]) -> float:
    """Probability that none of the sibilants sharing a hiss was left out.

    With x the log of the hiss's length over that of a single one at this rate, log odds = log(p / (1 - p))
    + (x m - m^2/2) / s^2, p = ``SAID`` to the number of slots, m = ``LONGER``, s = ``SPREAD``: two normal
    distributions of x about 0 and m. They overlap widely, so that length alone hardly decides. Affricates are left out
    of this (1 is returned): their release tells them.

    Parameters
    ----------
    places : PhonePlaces
        Where the prompt's phones lie.
    whole : Interval
        The hiss from its onset to its offset.
    slots : sequence of SibilantSlot
        Those that share it, in order.
    others : sequence of int
        Indices of the prompt's phones that are no sibilants.
    """
    if len(slots) < 2 or not others or AFFRICATES & {slot.phone for slot in slots}:
        return 1.0
    x = float(np.log(max(whole.duration_s, 1e-3))) - expected(places, slots[-1], others)
    prior = SAID ** len(slots)
    odds = np.log(prior / (1.0 - prior)) + (x * LONGER - LONGER**2 / 2) / SPREAD**2
    return float(1.0 / (1.0 + np.exp(-odds)))


def expected(places: PhonePlaces, slot: SibilantSlot, others: Sequence[int]) -> float:
    """Log of the length in seconds that one sibilant has in a slot, at the rate of the other sounds."""
    return float(np.dot(SINGLE, seen_of_length(places, slot, others)))


def seen_of_length(places: PhonePlaces, slot: SibilantSlot, others: Sequence[int]) -> tuple[float, ...]:
    """What a sibilant's length goes with, in the order of ``SINGLE``."""
    mean = float(places.weight[list(others)].sum()) * places.hop_s / len(others)
    return 1.0, float(np.log(max(mean, 1e-3))), float(not slot.next_phone), float(slot.next_phone in STOPS)
