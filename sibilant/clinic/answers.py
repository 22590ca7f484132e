"""What the verbs answer, field by field: rows as terminal, JSON and page show them.

A verb that tells of a whole client answers with what it was told of instead; its shape stands there. Figures are
numbers or None, never a text; a day is ISO text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NotRequired, TypedDict

from ..terms.suitability import VerdictRow


class ClientRow(TypedDict):
    """One client of the list."""

    client: str
    age: str
    sessions: int
    last: str
    note: str


class EventRow(TypedDict):
    """One event of a client, by the number that changes it."""

    event: int
    on: str
    text: str


class SessionRow(TypedDict):
    """One session, its conditions and how far it is judged; no figures."""

    session: int
    on: str
    phase: str
    list: str
    level: str
    cue: str
    device: str
    elicited: str
    verdict: str
    judged: str
    checked: str


class SessionShown(SessionRow):
    """One session with its tokens; figures of those only that the ear has judged."""

    room: str
    note: str
    bridge: bool
    client: str
    measure: str
    tokens: Sequence[Mapping[str, Any]]


class GoalRow(TypedDict):
    """One goal."""

    goal: int
    behaviour: str
    level: str
    cue: str
    criterion: str
    made: str
    by: str
    ended: str


class Criterion(TypedDict):
    """A criterion read from ``80% x2 n20``: share correct, sessions running, sounds at least."""

    share: float
    n_sessions: int
    n_sounds: int


class VisitRow(TypedDict):
    """One visit."""

    visit: int
    on: str
    kind: str
    minutes: int | str


class RunRow(TypedDict):
    """One run of practice, by help."""

    run: int
    on: str
    level: str
    cue: str
    correct: int
    said: int


class Judged(TypedDict):
    """What a rater's judgements of a session give."""

    client: str
    session: int
    rater: str
    kept: int
    judged: int
    to_judge: int
    correct: int
    scored: int
    low: float | None
    high: float | None
    rule: str
    main_rater: str


class MarkRow(TypedDict, total=False):
    """One word with the mark that stands; ``earlier`` counts those that stand no more, ``was`` is the last of them."""

    key: str
    prompt: str
    sound: str
    has_sound: bool
    heard: str
    types: list[str]
    substitute: str
    certainty: str
    line: float | None
    note: str
    earlier: int
    was: str


class Marks(TypedDict):
    """A session's words with the marks of one listener."""

    client: str
    session: int
    rater: str
    tokens: list[MarkRow]


class Tokens(TypedDict):
    """Tokens of a session to look at."""

    client: str
    session: int
    tokens: list[dict[str, Any]]


class SetWaiting(TypedDict):
    """Replies after a model that wait for a person's word on whose voice it is."""

    client: str
    session: int
    n: int
    hear: list[dict[str, Any]]
    one_by_one: list[str]
    confirmed: int


class SetConfirmed(TypedDict):
    """How many replies were confirmed as a set."""

    client: str
    session: int
    confirmed: int


class SetUndone(TypedDict):
    """How many tokens wait again."""

    client: str
    session: int
    taken_back: int


class ProbeTold(TypedDict):
    """A probe as it is told at once: words and verdict, no figures."""

    client: str
    session: int
    on: str
    phase: str
    words: list[dict[str, Any]]
    verdict: VerdictRow
    remedies: list[str]
    notes: list[str]
    recordings: list[dict[str, Any]]


class Stretch(TypedDict):
    """One stretch of sound of a take."""

    place: int
    number: int
    n_samples: int


class Spoilt(TypedDict):
    """One stretch that was asked for again, and why."""

    place: int
    reason: str


class TakeState(TypedDict):
    """A take under way, as it is kept between two words: conditions, prompts, where it stands, what was said."""

    client: str
    take: str
    begun: str
    on: str
    level: str
    cue: str
    device: str
    phase: str
    keep: str
    modelled: bool
    elicited: NotRequired[str]
    pictures: NotRequired[bool]
    sampling_rate_hz: int
    form: str
    microphone: dict[str, Any]
    prompts: list[dict[str, Any]]
    place: int
    stretches: list[Stretch]
    spoilt: list[Spoilt]


class TakeMoved(TakeState):
    """A take after one more stretch: why its word is asked again, empty where it is not."""

    again: str


DesignRow = TypedDict(
    "DesignRow",
    {
        "words": int,
        "baselines": int,
        "limit": str,
        "two probes": str,
        "alarm a probe": str,
        "alarm a year": str,
        "missed": str,
        "enough": str,
    },
)
"""One design of a plan, as it stands in the table."""


class DeviceRow(TypedDict):
    """One registered microphone and place."""

    name: str
    kind: str
    place: str
    distance_cm: float | None
    response: str
    added_on: str | None


class MeasuredAgain(TypedDict):
    """What came of measuring a client's kept sounds under the present methods."""

    client: str
    measured: int
    methods: list[str]
    own_margins: int
    without_sound: dict[int, int]
    damaged: dict[int, int]
    followed_before: str
    followed: str
    other_verdicts: list[str]


ProgressRow = TypedDict(
    "ProgressRow",
    {
        "session": int,
        "on": str,
        "phase": str,
        "level": str,
        "cue": str,
        "device": str,
        "correct": str,
        "by ear": str,
        "figure": str,
        "measured": str,
        "checked": str,
    },
    total=False,
)
"""One session of progress: conditions, accuracy by ear, the measure with its interval, as texts."""
