"""What is expected of a prompt, sound by sound: a model of states with classes, skips and expected length."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from ..terms import Prompt
from .band_templates import CLASSES

# State classes beyond those with a band shape.
SILENCE, ANY, LEAD, SIB_S, SIB_SH, SIB_Z = range(len(CLASSES), len(CLASSES) + 6)
# Chosen on invented probes (docs/words.md), where no other origin is named.
N_STATE_CLASSES = len(CLASSES) + 6  # classes of sound, silence, and the states beside them
NEVER = 1e9  # cost of a way that can not be taken
VOICELESS_STOPS = {"P": "P", "T": "T", "K": "K"}
VOICED_STOPS = {"B": "P", "D": "T", "G": "K"}
DIPHTHONGS = {
    "EY": ("EH", "IY"), "AY": ("AA", "IY"), "OY": ("AO", "IY"), "AW": ("AA", "UW"), "OW": ("UH", "UW"),
}  # fmt: skip
SIBILANT_STATES = {"S": SIB_S, "SH": SIB_SH, "Z": SIB_Z, "ZH": SIB_Z}
# Mean lengths in words said alone, seconds; common practice, no source.
LENGTH_S = {"vowel": 0.16, "diphthong": 0.22, "reduced": 0.09, "sibilant": 0.15, "fricative": 0.11, "nasal": 0.09,
            "liquid": 0.08, "stop": 0.13, "affricate": 0.18, "final": 0.07}  # fmt: skip
NASALS = ("M", "N", "NG")


@dataclass(frozen=True, slots=True)
class State:
    """One state: class, usual length in frames, cost of leaving it out, and the phone it belongs to (-1: none)."""

    kind: int
    frames: float
    skip: float
    phone: int


@dataclass(frozen=True, slots=True)
class PhoneModel:
    """States of a prompt in order, its expected length (0 where that is open) and number of phones."""

    states: tuple[State, ...]
    length_s: float
    n_phones: int
    n_words: int
    voiced: bool


@lru_cache(maxsize=20000)
def phone_model_of(words: tuple[tuple[str, ...], ...]) -> PhoneModel:
    """Build the model of the words of a prompt, each a tuple of phones (ARPABET with stress digits).

    A lead and a tail that take breath or noise frame the phones; between words a pause may come. Without a vowel (a
    held /s/) the length is open.
    """
    states: list[State] = [State(LEAD, 8, 0.0, -1)]
    length, phone = 0.0, 0
    for k, word in enumerate(words):
        if k:
            states.append(State(SILENCE, 8, 0.0, -1))
        for place, symbol in enumerate(word):
            states += _states(symbol, phone, initial=place == 0 and k == 0)
            length += expected_length_s(symbol)
            phone += 1
    if not phone:
        states.append(State(ANY, 30, NEVER, 0))
    states.append(State(LEAD, 8, 0.0, phone))
    voiced = any(symbol[-1:].isdigit() for word in words for symbol in word)
    length = length + LENGTH_S["final"] if voiced else 0.0
    return PhoneModel(tuple(states), length, phone, len(words), voiced)


def phone_model(prompt: Prompt) -> PhoneModel:
    """Chain of a prompt; one that may be anything where no pronunciation is known."""
    return phone_model_of(tuple(word.phones for word in prompt.words))


def expected_length_s(symbol: str) -> float:
    """Usual length of a phone in a word said alone, in seconds."""
    name = symbol.rstrip("012")
    if symbol[-1:].isdigit():
        if symbol.endswith("0"):
            return LENGTH_S["reduced"]
        return LENGTH_S["diphthong"] if name in DIPHTHONGS else LENGTH_S["vowel"]
    if name in SIBILANT_STATES:
        return LENGTH_S["sibilant"]
    if name in NASALS:
        return LENGTH_S["nasal"]
    if name in ("CH", "JH"):
        return LENGTH_S["affricate"]
    if name in VOICELESS_STOPS or name in VOICED_STOPS:
        return LENGTH_S["stop"]
    return LENGTH_S["liquid"] if name in ("L", "R", "W", "Y") else LENGTH_S["fricative"]


def _states(symbol: str, phone: int, *, initial: bool) -> list[State]:
    name = symbol.rstrip("012")
    known = {c: k for k, c in enumerate(CLASSES)}
    if name in SIBILANT_STATES:
        return _held(SIBILANT_STATES[name], 13, 3, phone, skip=10.0)
    if name in ("CH", "JH"):
        return [*_closure(phone, 0.0), *_held(SIB_SH, 8, 2, phone, skip=8.0)]
    if name in VOICELESS_STOPS:
        return [*_closure(phone, 0.0 if initial else 3.0), State(known[name], 5, 2.0, phone)]
    if name in VOICED_STOPS:
        return [*_closure(phone, 0.0 if initial else 1.4), State(known[VOICED_STOPS[name]], 2, 0.6, phone)]
    if name in ("F", "TH"):
        return _held(known["F"], 9, 2, phone, skip=3.0)
    if name in ("V", "DH"):
        return _held(known["V"], 6, 1, phone, skip=2.0)
    if name == "HH":
        return _held(known["HH"], 6, 1, phone, skip=1.0)
    if name in DIPHTHONGS:
        return [s for half in DIPHTHONGS[name] for s in _held(known[half], 9, 2, phone)]
    least = 2 if symbol.endswith("0") or not symbol[-1:].isdigit() else 4
    skip = 5.0 if name in ("L", "R", "W", "Y", *NASALS) else NEVER
    return _held(known[name], 12 if least == 4 else 7, least, phone, skip=skip)


def _held(kind: int, frames: float, least: int, phone: int, *, skip: float = NEVER) -> list[State]:
    """States of one class that take at least ``least`` frames together; leaving all out costs ``skip``."""
    share = NEVER if skip >= NEVER else skip / least
    return [*(State(kind, 1.0, share, phone) for _ in range(least - 1)),
            State(kind, max(1.5, frames - least + 1.0), share, phone)]  # fmt: skip


def _closure(phone: int, skip: float) -> list[State]:
    return [State(SILENCE, 7, skip, phone)]
