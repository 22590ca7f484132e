"""A prompt as a chain of sounds, each of which lasts some frames or is left out at a cost."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from .sound_model import PHONES, SILENCE

Floats = npt.NDArray[np.float64]
Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

# Chosen on invented probes (docs/words.md), where no other origin is named.
MOST_LEAST = 4  # most frames that a phone must last at least: what four frames of 10 ms hold
AT_WILL = 0.0  # no cost: silence before and after may be there or not
# Least and mean frames of 10 ms, and cost of leaving the sound out, nats: rarest for what carries a word (common
# practice, no source).
LASTING = {
    "vowel": (4, 10.0, 9.0), "reduced": (2, 6.0, 4.0), "sibilant": (3, 11.0, 2.0), "stop": (2, 8.0, 2.5),
    "faint": (2, 7.0, 3.0), "sonorant": (2, 7.0, 3.0),
}  # fmt: skip
PAUSE, PAUSE_COST, LEAD = (2, 8.0), 1.0, (1, 15.0)
"""Least and usual frames of a pause between words, its cost; the same before the first word."""
UNASKED, UNASKED_COST = (4, 11.0), 6.0
"""The same of a hiss that nobody asked for, after a word: dearer than a stop left out, cheaper than a vowel."""
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})
FAINT = frozenset({"F", "TH", "V", "DH", "HH"})
SONORANTS = frozenset({"M", "N", "NG", "L", "R", "W", "Y"})
AFFRICATES = frozenset({"CH", "JH"})
CLASS_OF = {name: k for k, name in enumerate(PHONES)}
# A sibilant may sound like another hiss: its score is the best of these, less a cost.
HEARD_AS = {
    "S": {"S": 0.0, "SH": 0.7, "Z": 0.7, "TH": 2.0, "F": 2.5, "ZH": 1.5, "CH": 1.5},
    "SH": {"SH": 0.0, "S": 0.7, "ZH": 0.7, "CH": 0.7, "TH": 2.5, "Z": 1.5, "F": 2.5},
    "Z": {"Z": 0.0, "S": 0.5, "ZH": 0.7, "DH": 1.5, "SH": 1.2},
    "ZH": {"ZH": 0.0, "SH": 0.7, "Z": 0.7, "JH": 0.7, "S": 1.5},
}
HEARD_FAINTLY = {name: heard | {"TH": 0.7, "F": 0.7} for name, heard in HEARD_AS.items()}
"""The same where any frication is asked for: /θ f/ cost a sibilant no more than another sibilant does."""
STATE_OF = CLASS_OF | {name: SILENCE + 1 + k for k, name in enumerate(HEARD_AS)}
"""The state of the network by which each phone is heard."""
WORST, SCALE, LEAST_SHARE = 9.0, 0.5, 1e-4
"""How far below the best a class can fall in a frame; what a frame's evidence weighs; least probability."""


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
    """Build the chain of the words of a prompt; a pause may come between words, breath or noise at the ends.

    After each word a hiss may come that nobody asked for (a word begun again, an /s/ added): else the sibilants about
    it would be moved to explain it. To leave it out costs nothing, so that its own cost stands with the sign turned.
    """
    units: list[_Unit] = [(SILENCE, *LEAD, AT_WILL, -1)]
    phone = 0
    for number, word in enumerate(words):
        if number:
            units.append((SILENCE, *PAUSE, PAUSE_COST, -1))
        for symbol in word:
            units.append((STATE_OF[symbol.rstrip("012")], *LASTING[_lasts_like(symbol)], phone))
            phone += 1
        units.append((CLASS_OF["S"], *UNASKED, -UNASKED_COST, -1))
    units.append((SILENCE, *LEAD, AT_WILL, -1))
    kind, least, frames, left_out, owner = (np.array(column) for column in zip(*units, strict=True))
    return PhraseModel(
        kind.astype(np.int64), least.astype(np.int64), frames.astype(float), left_out.astype(float),
        owner.astype(np.int64), phone,
    )  # fmt: skip


def _lasts_like(symbol: str) -> str:
    """Kind of a phone, for how long it lasts and how rarely it is left out."""
    name = symbol.rstrip("012")
    if symbol[-1:].isdigit():
        return "reduced" if symbol.endswith("0") else "vowel"
    if name in HEARD_AS or name in AFFRICATES:
        return "sibilant"
    if name in STOPS:
        return "stop"
    if name in FAINT:
        return "faint"
    return "sonorant" if name in SONORANTS else "vowel"


def hiss_log_odds(sounds: Float32s) -> Float32s:
    """Log odds that each frame is a sibilant of any kind: (n, 40) log probabilities to (n,)."""
    share = np.exp(sounds[:, [CLASS_OF[name] for name in (*HEARD_AS, *sorted(AFFRICATES))]]).sum(axis=1)
    return np.asarray(np.log(share + LEAST_SHARE) - np.log(1.0 - share + LEAST_SHARE), dtype=np.float32)


def state_scores(sounds: Float32s, *, faint: bool = False) -> Floats:
    """Scores of the classes of a chain, from the ratios of the sounds: (n, 40) to (n, 44), at most 9 below the best.

    Neighbouring frames repeat each other: their evidence counts half. With ``faint`` a sibilant may as well be /θ f/.
    """
    hisses = [
        np.max([sounds[:, CLASS_OF[name]] - cost for name, cost in heard.items()], axis=0)
        for heard in (HEARD_FAINTLY if faint else HEARD_AS).values()
    ]
    scores = np.column_stack([sounds, *hisses]).astype(np.float64)
    return np.asarray(SCALE * np.maximum(scores, scores.max(axis=1, keepdims=True) - WORST))
