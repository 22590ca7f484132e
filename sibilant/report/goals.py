"""Goals with where they stood, where they stand and whether the criterion was met; visits; events beside the probes."""

from __future__ import annotations

import datetime as dt
from collections import Counter

from .. import progress
from ..charts.wording import day_text
from ..terms.by_ear import Accuracy, MoveUp
from ..terms.care import Goal
from ..terms.case_view import CaseView
from ..terms.document import Facts, Heading, Listing, Paragraph, Part, Table
from ..terms.summaries import SessionSummary
from ..terms.vocabulary import VISITS
from .readers import Reader, conditions_said

NOTE = "At first and now: correct by ear in the first and the last judged probe at the goal's level and help."
MET = {True: "met", False: "not met", None: "cannot be told"}


def goals_table(view: CaseView, reader: Reader) -> tuple[Part, ...]:
    """Every goal, one row each; nothing where none was typed."""
    if not view.goals:
        return ()
    header = ("Goal", "At first", "Now", "Criterion", "By the counts")
    rows = tuple(_row(view, goal, reader) for goal in view.goals)
    return (Table("Goals, counted from the probes at their level and help", header, rows, NOTE, by_person=1),)


def goals_short(view: CaseView) -> tuple[Part, ...]:
    """Every goal in one line: where it stands now and whether its criterion was met."""
    if not view.goals:
        return ()
    rows = tuple((goal.behaviour, _ends(view, goal)[-1], standing(view, goal)) for goal in view.goals)
    return (Table("Goals", ("Goal", "Now", "Criterion, by the counts"), rows, by_person=1),)


def _row(view: CaseView, goal: Goal, reader: Reader) -> tuple[str, ...]:
    first, now = _ends(view, goal)
    by = f", by {day_text(goal.by_on)}" if goal.by_on else ""
    level = conditions_said(goal.level, goal.cue, reader)
    return (f"{goal.behaviour} ({level})", first, now, f"{goal.criterion}{by}", standing(view, goal))


def _ends(view: CaseView, goal: Goal) -> tuple[str, str]:
    """The first and the last judged probe at a goal's level and help."""
    probes = progress.goal_probes(goal, view.summaries)
    if not probes:
        return "–", "no probe yet"
    return _point(probes[0]), _point(probes[-1])


def _point(probe: tuple[SessionSummary, Accuracy]) -> str:
    one, accuracy = probe
    return f"{accuracy.n_correct} of {accuracy.n_scored} on {day_text(one.on)}"


def standing(view: CaseView, goal: Goal) -> str:
    """Whether a goal's criterion was met by the counts, and what a person said of it."""
    found = progress.goal_met(goal, view.summaries)
    why = "" if found.met is not None else _why_not_told(view, goal, found)
    said = f"; {goal.ended}, said on {day_text(goal.ended_on)}" if goal.ended and goal.ended_on else ""
    return f"{MET[found.met]}{f' ({why})' if why else ''}{said}"


def _why_not_told(view: CaseView, goal: Goal, found: MoveUp) -> str:
    if len(found.sessions) < goal.n_sessions:
        return f"{len(found.sessions)} of {goal.n_sessions} probes judged at this level and help"
    days = {one.number: day_text(one.on) for one in view.summaries}
    few = next((n, a) for n, a in zip(found.sessions, found.accuracies, strict=True) if a.n_scored < goal.n_sounds)
    return f"{few[1].n_scored} sounds on {days[few[0]]}, {goal.n_sounds} asked for"


def open_goals(view: CaseView) -> tuple[Goal, ...]:
    """Goals that nobody has ended."""
    return tuple(goal for goal in view.goals if not goal.ended)


def visits_sentence(view: CaseView) -> str:
    """Return how many appointments were kept, and who called off the others; empty where none is noted."""
    if not view.visits:
        return ""
    kinds = Counter(visit.kind for visit in view.visits)
    first, last = day_text(view.visits[0].on), day_text(view.visits[-1].on)
    others = ", ".join(f"{kinds[kind]} {kind}" for kind in VISITS if kind != "attended" and kinds[kind])
    minutes = sum(visit.minutes or 0 for visit in view.visits if visit.kind == "attended")
    long = f" ({minutes} minutes)" if minutes else ""
    when = f"on {first}" if first == last else f"from {first} to {last}"
    n = len(view.visits)
    appointments = "appointment" if n == 1 else "appointments"
    return f"{kinds['attended']} of {n} {appointments} attended{long} {when}{f'; {others}' if others else ''}."


def attendance(view: CaseView, *, dates: bool = False) -> tuple[Part, ...]:
    """The sentence and, where asked for, the dates one by one."""
    said = visits_sentence(view)
    if not said:
        return ()
    rows = tuple((day_text(v.on), f"{v.kind}{f', {v.minutes} minutes' if v.minutes else ''}") for v in view.visits)
    return (Paragraph(said), *((Facts("Appointments", rows),) if dates else ()))


def events(view: CaseView, *, heading: bool = True) -> tuple[Part, ...]:
    """Dated events as a person noted them, each beside the probes that it lies between."""
    if not view.events:
        return ()
    lines = tuple(f"{day_text(event.on)}{_between(view, event.on)}: {event.text}" for event in view.events)
    return (*((Heading("Noted in this period", 3),) if heading else ()), Listing(lines, by_person=True))


def _between(view: CaseView, on: dt.date) -> str:
    before = [one.on for one in view.summaries if one.on <= on]
    after = [one.on for one in view.summaries if one.on > on]
    if before and after:
        return f" (between the probes of {day_text(before[-1])} and {day_text(after[0])})"
    if after:
        return f" (before the probe of {day_text(after[0])})"
    return f" (since the probe of {day_text(before[-1])})" if before else ""
