"""What a caseload keeps: clients under codes, sessions, devices, events, consent, and the case of one client whole."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

from .care import Goal, PracticeRun, Visit
from .kept import KeptToken
from .lending import Given
from .therapy import Therapy
from .vocabulary import (
    CUES,
    ELICITED,
    KEEPS,
    LEVELS,
    PHASES,
    Cue,
    Elicited,
    Keep,
    Level,
    Phase,
    check_words,
)

Direction = Literal["higher", "lower", "longer", "shorter", "none"]


@dataclass(frozen=True, slots=True)
class Consent:
    """What was agreed to and by whom; uses beyond the clinic's own work are off until ticked."""

    given_on: dt.date
    by: str = ""
    recording: bool = True
    teaching: bool = False
    research: bool = False
    withdrawn_on: dt.date | None = None
    note: str = ""
    pooled: bool = False

    @property
    def lends(self) -> bool:
        """Whether the spread of this client's baseline may lend strength to other clients of the clinic."""
        return self.pooled and self.withdrawn_on is None


@dataclass(frozen=True, slots=True)
class Retention:
    """The clinic's own rule for keeping: the tool invents no period. ``months`` None: no reminder."""

    text: str = ""
    months: int | None = None


@dataclass(frozen=True, slots=True)
class MoveUpRule:
    """The clinic's own rule for moving up a level: a share correct in sessions running, each of enough tokens."""

    share: float = 0.8
    n_sessions: int = 2
    n_tokens: int = 20
    source: str = "common practice, no source"

    def __post_init__(self) -> None:
        if not (0 < self.share <= 1 and self.n_sessions >= 1 and self.n_tokens >= 1):
            raise ValueError("a move-up rule needs a share in (0, 1], one session or more and one token or more")

    @property
    def text(self) -> str:
        """The rule in words."""
        return (
            f"{100 * self.share:.0f} % correct of {self.n_tokens} or more tokens in {self.n_sessions} sessions running"
        )


@dataclass(frozen=True, slots=True)
class Client:
    """A person known by a code: no name, no birth date; the age is kept in months with the day it held.

    ``group`` is the reference group asked for (empty: none, the default); ``main_measure`` and ``direction`` are
    chosen at the start; ``treated`` holds the words on practice sheets with the day each became treated;
    ``therapy`` is None until someone says when therapy ran: phases are then a question, never a guess.
    """

    code: str
    age_months: int
    age_on: dt.date
    group: str = ""
    language: str = ""
    dialect: str = ""
    reason: str = ""
    hearing: str = ""
    hearing_on: dt.date | None = None
    main_measure: str = "centroid_hz"
    direction: Direction = "none"
    method: str = "house-15k"
    list_form: str = ""
    move_up: MoveUpRule | None = None
    retention: Retention = Retention()
    consent: Consent | None = None
    treated: Mapping[str, dt.date] = field(default_factory=dict)
    held: str = ""
    added_on: dt.date | None = None
    invented: bool = False
    therapy: Therapy | None = None

    def __post_init__(self) -> None:
        check_words(self, direction=get_args(Direction))
        if self.age_months < 0:
            raise ValueError("an age in months is not below zero")
        object.__setattr__(self, "treated", MappingProxyType(dict(self.treated)))

    def age_months_on(self, day: dt.date) -> int:
        """Age in whole months on a day; it moves with the date.

        Examples
        --------
        >>> Client("C-7QXK", 80, dt.date(2026, 1, 15)).age_months_on(dt.date(2026, 7, 14))
        85
        """
        months = 12 * (day.year - self.age_on.year) + day.month - self.age_on.month
        return self.age_months + months - (day.day < self.age_on.day)


@dataclass(frozen=True, slots=True)
class MethodChoice:
    """A day on which the method that a client is followed under became another, and what was followed ``before``.

    ``method`` is the clinician's choice; empty where kept sounds were measured again and the newest version counts.
    """

    on: dt.date
    method: str
    before: str = ""


@dataclass(frozen=True, slots=True)
class Device:
    """A registered microphone and place: a change of either breaks the line on a chart."""

    name: str
    kind: str = ""
    place: str = ""
    distance_cm: float | None = None
    response: str = ""
    added_on: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """Something dated that may bear on the figures: a lost tooth, an illness, a new brace."""

    on: dt.date
    text: str


@dataclass(frozen=True, slots=True)
class Session:
    """One probe of one client. ``recordings`` are the hashes of the files heard; their names are never kept.

    ``list_form`` is the word list's name; ``verdict`` the recordings' suitability in a word; ``bridge`` marks a probe
    made with two devices at once; ``elicited`` is how the words were had (empty: not stated). Level and cue are empty
    where they are not stated.

    Raises
    ------
    WordError
        When level, cue, phase, what is kept or how the words were had is none of the words allowed.
    """

    client: str
    number: int
    on: dt.date
    level: Level | Literal[""] = "word"
    cue: Cue | Literal[""] = "spontaneous"
    device: str = ""
    room: str = ""
    list_form: str = ""
    phase: Phase = "baseline"
    modelled: bool = False
    bridge: bool = False
    keep: Keep = "words"
    verdict: str = ""
    note: str = ""
    recordings: tuple[str, ...] = ()
    elicited: Elicited | Literal[""] = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "level", LEVELS.read_or_empty(self.level))
        object.__setattr__(self, "cue", CUES.read_or_empty(self.cue))
        object.__setattr__(self, "phase", PHASES.read(self.phase))
        object.__setattr__(self, "keep", KEEPS.read(self.keep))
        object.__setattr__(self, "elicited", ELICITED.read_or_empty(self.elicited))

    @property
    def label(self) -> str:
        """Code and number as tables print it, such as ``C-7QXK-03``."""
        return f"{self.client}-{self.number:02d}"


@dataclass(frozen=True, slots=True)
class EarlierProbe:
    """One line of an earlier, hand-made probe table, kept with its source and never joined with measured ones."""

    on: dt.date
    source: str
    level: str = ""
    cue: str = ""
    list_form: str = ""
    n_correct: int | None = None
    n_scored: int | None = None
    measure: str = ""
    value: float | None = None
    sd: float | None = None
    n: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One line of the audit trail: who did what to what, and when."""

    at: dt.datetime
    who: str
    action: str
    subject: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a removal erased, and what it could not reach (copies, backups, exports).

    ``in_bin`` is what was not erased but put into the bin, from where it can be brought back ``until`` a day.
    """

    client: str
    on: dt.datetime
    erased: tuple[str, ...]
    not_reached: tuple[str, ...]
    in_bin: tuple[str, ...] = ()
    until: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """All that was observed of one client, as the store hands it over: values only, nothing computed.

    ``set_aside`` names rows that are damaged and were left out. ``given`` holds, by measure and session, with what
    verdicts were given; ``choices`` the methods chosen by hand, oldest first. ``revision`` says as of which change of
    the client it was read: a change made on it is refused where another has overtaken it.
    """

    client: Client
    sessions: tuple[Session, ...] = ()
    tokens: tuple[KeptToken, ...] = ()
    events: tuple[Event, ...] = ()
    devices: tuple[Device, ...] = ()
    earlier: tuple[EarlierProbe, ...] = ()
    ear_first: bool = True
    set_aside: tuple[str, ...] = ()
    choices: tuple[MethodChoice, ...] = ()
    given: Mapping[tuple[str, int], Given] = field(default_factory=dict)
    goals: tuple[Goal, ...] = ()
    visits: tuple[Visit, ...] = ()
    runs: tuple[PracticeRun, ...] = ()
    revision: int = field(default=0, compare=False)
    _by_session: Mapping[int, tuple[KeptToken, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        found: dict[int, list[KeptToken]] = {}
        for token in self.tokens:
            found.setdefault(token.session, []).append(token)
        object.__setattr__(self, "_by_session", MappingProxyType({n: tuple(own) for n, own in found.items()}))

    def tokens_of(self, number: int) -> tuple[KeptToken, ...]:
        """Tokens of one session."""
        return self._by_session.get(number, ())

    def opens_session(self, number: int) -> bool:
        """Whether figures and pictures of a session may be seen: its whole set is judged, or that is switched off.

        A set is every expected sibilant in an attempt that counts; what was not heard, a foil, and frication between
        words hold nothing up. Figures seen between two judgements would lead the ear in those that are left.
        """
        return not self.ear_first or all(t.judgements for t in self.tokens_of(number) if t.awaits_the_ear)

    def opens(self, token: KeptToken) -> bool:
        """Whether a token's figures may be seen: it is judged and so is its session's set, or that is switched off."""
        return not self.ear_first or (bool(token.judgements) and self.opens_session(token.session))
