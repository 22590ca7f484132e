"""Everything of one client that is shown anywhere, computed once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .by_ear import AccuracyCell, Additions, Agreement, EarAndFigure, MoveUp, Presence, WordsGained
from .care import Goal, PracticeRun, Visit
from .change import BeforeAfter, Change, MeasurementError, PhaseEffect, Trend
from .clinic import Client, Device, EarlierProbe, Event
from .groups import ContextCell, Contrast, SetOfThree
from .heard import Consistency, HeardGroup, WordsHeard
from .summaries import MeasureSummary, SessionSummary, SpreadPoint, SustainedHold
from .vocabulary import PHASES, Phase, check_words


@dataclass(frozen=True, slots=True)
class CaseView:
    """Everything a chart or a report needs of one client, computed once.

    ``changes``, ``errors``, ``trends`` and ``effects`` are in the order of ``measures``, the main one first; those
    of other measures are exploratory. ``voiced`` and ``str_cluster`` hold /z/ and /str/, which are never in the main
    figures. ``joins`` are sentences that say what was and was not joined; ``questions`` ask the clinician what nobody
    stated (when therapy started, a device, a cue); ``asked_of_devices`` what several clients' figures make worth asking
    of a device, for the clinic and never for a report; ``own_comparisons`` are changes of the main measure less what
    was probed beside it at the same sessions;
    ``presence`` is filled where /s/ was left out. ``reference`` is what the probes that later
    ones are compared with are called, ``reference_sessions`` their numbers.
    """

    client: Client
    measures: tuple[str, ...]
    summaries: tuple[SessionSummary, ...]
    errors: tuple[MeasurementError, ...] = ()
    changes: tuple[Change, ...] = ()
    trends: tuple[Trend, ...] = ()
    effects: tuple[PhaseEffect, ...] = ()
    contexts: tuple[ContextCell, ...] = ()
    sets_of_three: tuple[SetOfThree, ...] = ()
    additions: tuple[Additions, ...] = ()
    contrasts: tuple[Contrast, ...] = ()
    sustained: tuple[SustainedHold, ...] = ()
    spreads: tuple[SpreadPoint, ...] = ()
    generalisation: tuple[AccuracyCell, ...] = ()
    gained: WordsGained | None = None
    before_after: tuple[BeforeAfter, ...] = ()
    move_up: MoveUp | None = None
    agreement: Agreement | None = None
    voiced: Mapping[int, MeasureSummary] = field(default_factory=dict)
    str_cluster: Mapping[int, MeasureSummary] = field(default_factory=dict)
    events: tuple[Event, ...] = ()
    devices: tuple[Device, ...] = ()
    earlier: tuple[EarlierProbe, ...] = ()
    joins: tuple[str, ...] = ()
    made_on: dt.date | None = None
    questions: tuple[str, ...] = ()
    presence: tuple[Presence, ...] = ()
    reference: Phase = "baseline"
    reference_sessions: tuple[int, ...] = ()
    contrasts_beside: tuple[Contrast, ...] = ()
    ear_and_figure: EarAndFigure | None = None
    advice: tuple[str, ...] = ()
    heard: tuple[HeardGroup, ...] = ()
    words_heard: tuple[WordsHeard, ...] = ()
    consistency: tuple[Consistency, ...] = ()
    goals: tuple[Goal, ...] = ()
    visits: tuple[Visit, ...] = ()
    runs: tuple[PracticeRun, ...] = ()
    asked_of_devices: tuple[str, ...] = ()
    own_comparisons: tuple[Change, ...] = ()

    def __post_init__(self) -> None:
        for name in ("voiced", "str_cluster"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))
        check_words(self, reference=PHASES)

    @property
    def main_measure(self) -> str:
        """The measure chosen at the start."""
        return self.measures[0]

    def changes_of(self, key: str) -> tuple[Change, ...]:
        """Changes of one measure, by session."""
        return tuple(change for change in self.changes if change.key == key)

    def error_of(self, key: str) -> MeasurementError | None:
        """The baseline's error of one measure."""
        return next((error for error in self.errors if error.key == key), None)

    @property
    def last(self) -> SessionSummary | None:
        """The latest session."""
        return self.summaries[-1] if self.summaries else None
