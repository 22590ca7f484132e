"""What is kept of the work beside the probes: goals, visits, and practice, which is never a probe."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, get_args

from .vocabulary import CUES, HEARD, LEVELS, VISITS, Cue, Heard, Level, VisitKind, check_words

GoalEnd = Literal["", "met", "stopped"]


@dataclass(frozen=True, slots=True)
class Goal:
    """What is worked towards: a behaviour, at a level and cue, correct to a share in sessions running, by a day.

    ``number`` counts a client's goals from 1 as they were made; an empty cue means any. ``ended`` is said by a person;
    whether the criterion was met is counted anew from the probes, beside it.

    Raises
    ------
    ValueError
        When the behaviour is empty, or the criterion can't be one.
    WordError
        When level or cue is none of the words allowed.

    Examples
    --------
    >>> Goal(1, "says /s/", "word", "spontaneous", made_on=dt.date(2026, 1, 12)).criterion
    '80\u2009% of 20 or more sounds, 2 probes running'
    """

    number: int
    behaviour: str
    level: Level
    cue: Cue | Literal[""] = ""
    share: float = 0.8
    n_sounds: int = 20
    n_sessions: int = 2
    made_on: dt.date = dt.date.min
    by_on: dt.date | None = None
    ended: GoalEnd = ""
    ended_on: dt.date | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "level", LEVELS.read(self.level))
        object.__setattr__(self, "cue", CUES.read_or_empty(self.cue))
        check_words(self, ended=get_args(GoalEnd))
        if not self.behaviour.strip():
            raise ValueError("a goal needs the behaviour in words, such as: says /s/ at the start of words")
        if not (0 < self.share <= 1 and self.n_sounds >= 1 and self.n_sessions >= 1):
            raise ValueError("a criterion needs a share up to 100 %, one sound or more and one session or more")
        if self.by_on is not None and self.by_on < self.made_on:
            raise ValueError(f"a goal made on {self.made_on} can't be due on {self.by_on}")

    @property
    def criterion(self) -> str:
        """The criterion in words."""
        probes = "in one probe" if self.n_sessions == 1 else f"{self.n_sessions} probes running"
        return f"{100 * self.share:.0f}\u2009% of {self.n_sounds} or more sounds, {probes}"


@dataclass(frozen=True, slots=True)
class Visit:
    """One appointment: whether it was kept, by whom it was called off, and how long it was."""

    number: int
    on: dt.date
    kind: VisitKind = "attended"
    minutes: int | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", VISITS.read(self.kind))
        if self.minutes is not None and not 0 < self.minutes <= 600:
            raise ValueError(f"a visit lasts 1 to 600 minutes, not {self.minutes}")


@dataclass(frozen=True, slots=True)
class PracticeMark:
    """What was heard in one thing said in practice, and with which help."""

    said: str
    heard: Heard
    cue: Cue | Literal[""] = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "heard", HEARD.read(self.heard))
        object.__setattr__(self, "cue", CUES.read_or_empty(self.cue))


@dataclass(frozen=True, slots=True)
class PracticeRun:
    """One run of practice at a level: never a probe, never in a figure, since the words were being taught."""

    number: int
    on: dt.date
    level: Level
    marks: tuple[PracticeMark, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "level", LEVELS.read(self.level))

    def counted(self) -> tuple[tuple[str, int, int], ...]:
        """Cue, correct, said, one for each cue in the order first given; not scorable is not counted.

        Examples
        --------
        >>> run = PracticeRun(1, dt.date(2026, 3, 2), "word", (PracticeMark("sun", "correct", "model"),))
        >>> run.counted()
        (('model', 1, 1),)
        """
        kept = [mark for mark in self.marks if mark.heard != "not_scorable"]
        return tuple(
            (cue, sum(m.cue == cue and m.heard == "correct" for m in kept), sum(m.cue == cue for m in kept))
            for cue in dict.fromkeys(mark.cue for mark in kept)
        )
