"""A kept sound with all that people said of it: judgements by ear, corrections of the machine."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .measurement import Measurement
from .sound import Sound
from .vocabulary import (
    CUES,
    HEARD,
    LEVELS,
    VOICES,
    Heard,
    Voice,
    check_words,
)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a named person heard in one token; nothing but a person makes one.

    ``token`` is the token's key in its session; ``line`` is a place on a 0 to 100 line where one was used;
    ``blind`` says that it was judged in stored random order without date, phase or figures; ``turn`` counts a
    rater's passes through the session from 1.
    """

    token: str
    heard: Heard
    rater: str
    on: dt.datetime
    types: tuple[str, ...] = ()
    substitute: str = ""
    certainty: str = ""
    line: float | None = None
    cue: str = ""
    self_corrected: bool = False
    note: str = ""
    blind: bool = False
    turn: int = 1

    def __post_init__(self) -> None:
        object.__setattr__(self, "heard", HEARD.read(self.heard))
        object.__setattr__(self, "cue", CUES.find(self.cue) or self.cue)  # free text in older caseloads
        if not self.rater:
            raise ValueError("a judgement needs the code of the person who made it")
        if self.line is not None and not 0 <= self.line <= 100:
            raise ValueError(f"a place on the line is 0 to 100; got {self.line}")


AS_SET = " (as a set)"


@dataclass(frozen=True, slots=True)
class Correction:
    """A person's correction of one token, kept beside the automatic values; None leaves a value as it was.

    ``by`` ends in ``(as a set)`` where the person confirmed a whole set after hearing a few of it.
    """

    token: str
    by: str
    on: dt.datetime
    onset_s: float | None = None
    offset_s: float | None = None
    voice: Voice | None = None
    counts: bool | None = None

    def __post_init__(self) -> None:
        check_words(self, voice=VOICES)

    @property
    def as_set(self) -> bool:
        """Whether it was said of a whole set at once, not of this token by itself."""
        return self.by.endswith(AS_SET)


@dataclass(frozen=True, slots=True)
class KeptToken:
    """One token as kept: a sound, measured once under each method, judged by none, one or several people.

    ``sound`` has reviewed boundaries applied; ``measurements`` holds one per method label; ``reviewed`` says that a
    person has looked at it; ``clip`` is the hash of its kept word.
    """

    sound: Sound
    session: int
    measurements: Mapping[str, Measurement] = field(default_factory=dict)
    judgements: tuple[Judgement, ...] = ()
    corrections: tuple[Correction, ...] = ()
    treated: bool | None = None
    cue: str = ""
    level: str = ""
    clip: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "measurements", MappingProxyType(dict(self.measurements)))
        check_words(self, level=("", *LEVELS), cue=("", *CUES))

    @property
    def key(self) -> str:
        """What names it within its session: prompt, attempt, slot."""
        return self.sound.id

    @property
    def prompt_index(self) -> int:
        """Place of its prompt in the session's list, from 1."""
        return self.sound.prompt_index

    @property
    def prompt(self) -> str:
        """What was to be said."""
        return self.sound.prompt_text

    @property
    def attempt(self) -> int:
        """Which attempt at its prompt it belongs to, from 1; 0 for a prompt not heard."""
        return self.sound.attempt

    @property
    def reviewed(self) -> bool:
        """Whether a person has checked this token by itself."""
        return any(not correction.as_set for correction in self.corrections)

    @property
    def awaits_the_ear(self) -> bool:
        """Whether it is an expected sibilant in an attempt that counts and may be the client's."""
        return self.sound.slot is not None and self.sound.may_count

    @property
    def flags(self) -> tuple[str, ...]:
        """Reasons for care, those that the first measurement saw included."""
        return next((one.flags for one in self.measurements.values()), self.sound.flags)

    @property
    def bandwidth_hz(self) -> float | None:
        """Up to where the sound has energy, which hangs on no method; None where it was not measured."""
        return next((one.bandwidth_hz for one in self.measurements.values()), None)
