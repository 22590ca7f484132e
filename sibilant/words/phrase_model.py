"""A prompt as a chain of units, each a sound or part of one that lasts some frames or is left out at a cost."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from .band_templates import CLASSES
from .phone_model import (
    DIPHTHONGS,
    LEAD,
    NASALS,
    SIB_SH,
    SIBILANT_STATES,
    SILENCE,
    VOICED_STOPS,
    VOICELESS_STOPS,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_LEAST = 4
AT_WILL = 0.0
# Cost of leaving a sound out, nats: rarest for what carries a word (common practice, no source).
LEFT_OUT = {"vowel": 9.0, "reduced": 4.0, "sibilant": 3.5, "stop": 2.5, "burst": 1.0, "faint": 3.0, "sonorant": 3.0}
CLASS_OF = {name: k for k, name in enumerate(CLASSES)}


@dataclass(frozen=True, slots=True, eq=False)
class PhraseModel:
    """Units in order, (u,) each: class, least frames (1 to 4), mean frames, cost of leaving out, phone (-1: none)."""

    kind: Ints
    least: Ints
    frames: Floats
    left_out: Floats
    phone: Ints
    n_phones: int


_Unit = tuple[int, int, float, float, int]


@lru_cache(maxsize=2048)
def phrase_model(words: tuple[tuple[str, ...], ...]) -> PhraseModel:
    """Build the chain of the words of a prompt; a pause may come between words, breath or noise at the ends."""
    units: list[_Unit] = [(LEAD, 1, 12.0, AT_WILL, -1)]
    phone = 0
    for number, word in enumerate(words):
        if number:
            units.append((SILENCE, 2, 8.0, 0.7, -1))
        for symbol in word:
            units += _units(symbol, phone)
            phone += 1
    units.append((LEAD, 1, 12.0, AT_WILL, -1))
    kind, least, frames, left_out, owner = (np.array(column) for column in zip(*units, strict=True))
    return PhraseModel(
        kind.astype(np.int64), least.astype(np.int64), frames.astype(float), left_out.astype(float),
        owner.astype(np.int64), phone,
    )  # fmt: skip


def _units(symbol: str, phone: int) -> list[_Unit]:
    name = symbol.rstrip("012")
    if name in SIBILANT_STATES:
        return [(SIBILANT_STATES[name], 4, 11.0, LEFT_OUT["sibilant"], phone)]
    if name in ("CH", "JH"):
        return [(SILENCE, 1, 5.0, AT_WILL + 0.7, phone), (SIB_SH, 3, 7.0, LEFT_OUT["sibilant"], phone)]
    if name in VOICELESS_STOPS:
        return [(SILENCE, 2, 6.0, LEFT_OUT["stop"], phone), (CLASS_OF[name], 1, 4.0, LEFT_OUT["burst"], phone)]
    if name in VOICED_STOPS:
        burst = (CLASS_OF[VOICED_STOPS[name]], 1, 1.6, LEFT_OUT["burst"] / 2, phone)
        return [(CLASS_OF["BAR"], 1, 5.0, LEFT_OUT["stop"] / 2, phone), burst]
    if name in ("F", "TH"):
        return [(CLASS_OF["F"], 3, 8.0, LEFT_OUT["faint"], phone)]
    if name in ("V", "DH"):
        return [(CLASS_OF["V"], 2, 5.0, LEFT_OUT["faint"] / 1.5, phone)]
    if name == "HH":
        return [(CLASS_OF["HH"], 2, 6.0, LEFT_OUT["faint"] / 2, phone)]
    if name in DIPHTHONGS:
        one, two = (CLASS_OF[half] for half in DIPHTHONGS[name])
        return [(one, 3, 7.0, LEFT_OUT["vowel"], phone), (two, 2, 6.0, LEFT_OUT["faint"], phone)]
    if symbol[-1:].isdigit():
        reduced = symbol.endswith("0")
        least, mean = (2, 6.0) if reduced else (4, 11.0)
        return [(CLASS_OF[name], least, mean, LEFT_OUT["reduced" if reduced else "vowel"], phone)]
    return [(CLASS_OF[name], 2, 7.0 if name in NASALS else 6.0, LEFT_OUT["sonorant"], phone)]
