"""What an utterance is made of before it sounds: phones on a time line, voicing, noises."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .hiss import Envelope, Hiss
from .phones import Phone
from .speakers import Speaker
from .tract import Voicing

VOWEL_RMS = 0.08
"""Expected RMS of a stressed vowel (-22 dB re full scale)."""


@dataclass(slots=True)
class Sound:
    """One phone on the time line (built up while planning, then only read)."""

    phone: str
    kind: Phone
    stressed: bool
    word: int
    slot: int = 0
    start_s: float = 0.0
    end_s: float = 0.0
    release_s: float = 0.0
    released: bool = True

    @property
    def open_s(self) -> float:
        """When a stop's closure ends."""
        return self.end_s - self.release_s


@dataclass(frozen=True, slots=True)
class SibilantPlan:
    """How the prompt's sibilants are to be said; ``kinds`` one per sibilant, or one for all."""

    kinds: tuple[str, ...] = ("",)
    level_db: float | None = None
    durations: Mapping[str, float] = field(default_factory=dict)

    def kind_of(self, index: int, speaker: Speaker) -> str:
        """Return the way the ``index``-th sibilant (0-based) is said."""
        kind = self.kinds[index] if len(self.kinds) > 1 else self.kinds[0]
        return kind or speaker.s_type


@dataclass(frozen=True, slots=True)
class MadeSibilant:
    """A sibilant of the score before its edges are known."""

    sound: Sound
    hiss: Hiss
    index: int
    kind: str
    level_db: float
    doubled: bool


@dataclass(slots=True)
class Score:
    """Everything that will sound: phones, voicing stretches, tracks and noises."""

    sounds: list[Sound]
    end_s: float
    voicing: list[Voicing] = field(default_factory=list)
    aspiration: list[Envelope] = field(default_factory=list)
    aspiration_gain: list[float] = field(default_factory=list)
    noises: list[Hiss] = field(default_factory=list)
    sibilants: list[MadeSibilant] = field(default_factory=list)
    omitted: list[int] = field(default_factory=list)


def near(sounds: list[Sound], i: int) -> tuple[Sound | None, Sound | None]:
    """Return the sounds before and after the ``i``-th (None at the ends)."""
    return (sounds[i - 1] if i else None), (sounds[i + 1] if i + 1 < len(sounds) else None)
