"""Which sessions stand on one line: same device, level, cue and list form; what is not joined is said aloud."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..terms.clinic import Session
from ..terms.summaries import MeasureSummary
from ..terms.therapy import NOT_STATED, REFERENCES
from ..terms.vocabulary import Phase
from .alike import Conditions, numbered, reasons_between, settled
from .change import LEAST_BASELINE, Bridge, bridge


def first_baseline(sessions: Sequence[Session]) -> Session | None:
    """Return the first session of the baseline (or reference), or the first of all where none is called so."""
    return next((session for session in sessions if session.phase in REFERENCES), sessions[0] if sessions else None)


def baseline_of(sessions: Sequence[Session], *, main: bool = False) -> list[Session]:
    """Return the sessions of one line that later ones are compared with, one a day (the first of a day counts).

    A baseline where it has three days; else a reference under treatment where it has; on the main line without
    either the first three of those whose phase nobody stated.
    """
    found = {phase: _one_a_day(sessions, phase) for phase in REFERENCES}
    full = [probes for probes in found.values() if len(probes) >= LEAST_BASELINE]
    chosen = next(iter(full), None) or next((probes for probes in found.values() if probes), [])
    return chosen or (_one_a_day(sessions, NOT_STATED)[:LEAST_BASELINE] if main else [])


def _one_a_day(sessions: Sequence[Session], phase: str) -> list[Session]:
    days: dict[object, Session] = {}
    for session in sessions:
        if session.phase == phase and not session.bridge:
            days.setdefault(session.on, session)
    return list(days.values())


@dataclass(frozen=True, slots=True)
class Series:
    """Sessions alike in their conditions, with the baseline that they are judged against.

    ``offset_of`` holds the bridge by which sessions of another device are brought to this baseline, if there is one.
    """

    conditions: Conditions
    sessions: tuple[Session, ...]
    baseline: tuple[Session, ...]
    main: bool
    sentence: str = ""
    apart: tuple[str, ...] = ()

    @property
    def reference(self) -> Phase:
        """What the sessions compared with are called: a baseline, a reference under treatment, or not stated."""
        return self.baseline[0].phase if self.baseline else "baseline"

    @property
    def later(self) -> tuple[Session, ...]:
        """The sessions that are compared with the baseline (or reference)."""
        reach = self.baseline[-1].on if self.baseline and self.reference == NOT_STATED else dt.date.min
        return tuple(
            one
            for one in self.sessions
            if not one.bridge and one.phase not in REFERENCES and (one.phase != NOT_STATED or one.on > reach)
        )


def series_of(sessions: Sequence[Session]) -> tuple[Series, ...]:
    """Return the lines, the first baseline's first; another line needs its own baseline of three, or a bridge."""
    anchor = first_baseline(sessions)
    if anchor is None:
        return ()
    there, alike_of = settled(sessions, anchor)
    groups: dict[Conditions, list[Session]] = defaultdict(list)
    groups[there] = []
    for session in sessions:
        groups[alike_of[session.number]].append(session)
    main = groups.pop(there)
    found = [Series(there, tuple(main), tuple(baseline_of(main, main=True)), True)]
    for alike, members in groups.items():
        why = reasons_between(alike, there)
        own = baseline_of(members)
        plural = numbered([session.number for session in members])
        if len(own) >= LEAST_BASELINE:
            sentence = f"{plural} not joined: {'; '.join(why)}; judged against a baseline of its own"
            found.append(Series(alike, tuple(members), tuple(own), False, sentence, why))
        else:
            sentence = f"{plural} not joined: {'; '.join(why)}"
            found.append(Series(alike, tuple(members), (), False, sentence, why))
    return tuple(found)


def bridge_to(
    line: Series,
    main: Series,
    summaries: dict[int, MeasureSummary],
    under: Callable[[Session, str], MeasureSummary],
) -> tuple[Bridge, Session, Session] | None:
    """Return the bridge between two lines that differ in the device alone: one probe on both devices, on one day.

    Both are taken under the new device's method, which ``under`` gives for the old one's probe.
    """
    if line.conditions[1:] != main.conditions[1:]:
        return None
    for new in (session for session in line.sessions if session.bridge):
        for old in (session for session in main.sessions if session.bridge and session.on == new.on):
            if old.number in summaries and new.number in summaries:
                fresh = summaries[new.number]
                found = bridge(new.device, under(old, fresh.method) if fresh.apart else summaries[old.number], fresh)
                if found is not None:
                    return found, old, new
    return None
