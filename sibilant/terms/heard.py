"""What was heard where a sound was not judged correct, kind by kind; and whether one word is said alike each time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from .vocabulary import HEARD, Heard, check_words

GroupedBy = Literal["probe", "position", "level", "cue"]


@dataclass(frozen=True, slots=True, order=True)
class ErrorKind:
    """One kind of error as a person marked it: distorted in which way, substituted by what, left out."""

    heard: Heard
    types: tuple[str, ...] = ()
    substitute: str = ""

    def __post_init__(self) -> None:
        check_words(self, heard=HEARD)


@dataclass(frozen=True, slots=True)
class HeardGroup:
    """One group of sounds in one probe: correct of scored, and the others by kind, the most frequent first.

    Raises
    ------
    ValueError
        When the kinds do not add up to what was not correct.
    """

    session: int
    by: GroupedBy
    value: str
    n_correct: int
    n_scored: int
    kinds: tuple[tuple[ErrorKind, int], ...] = ()

    def __post_init__(self) -> None:
        check_words(self, by=get_args(GroupedBy))
        if sum(n for _, n in self.kinds) != self.n_scored - self.n_correct:
            raise ValueError(f"{self.value}: kinds of error don't add up to {self.n_scored - self.n_correct}")


@dataclass(frozen=True, slots=True)
class WordsHeard:
    """Words of one probe by what was heard: every /s/ of them correct, or one of them not."""

    session: int
    correct: tuple[str, ...]
    other: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Consistency:
    """Words said three times in one probe: heard alike each time (correct, or with the same error), or not."""

    session: int
    n_sets: int
    n_correct: int
    n_same_error: int

    @property
    def n_mixed(self) -> int:
        """Sets that were not heard alike each time."""
        return self.n_sets - self.n_correct - self.n_same_error
