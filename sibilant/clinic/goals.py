"""Goals of a client, typed once; and the clinic's own bank of phrases for what is worked towards."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from .. import store
from ..errors import CaseloadError, UsageError, WordError
from ..terms.care import Goal
from .answers import Criterion, GoalRow
from .caseload import CaseloadHandle, client_or_last, opened, used
from .clients import parts_of_rule

PHRASES = "phrases"
MOST_PHRASES, MOST_LETTERS = 200, 200  # phrases kept, and letters of one


def read_criterion(text: str) -> Criterion:
    """Return share, sessions running and sounds from ``80% x2 n20``; what is left out is two sessions of twenty.

    Raises
    ------
    UsageError
        When it can't be understood.

    Examples
    --------
    >>> read_criterion("90% x3 n10")
    {'share': 0.9, 'n_sessions': 3, 'n_sounds': 10}
    """
    wanted = f"criterion {text[:30]!r}: write share, sessions running and sounds"
    share, n_sessions, n_sounds = parts_of_rule(text, wanted, (2, 20))
    return {"share": share, "n_sessions": n_sessions, "n_sounds": n_sounds}


def add_goal(caseload: CaseloadHandle, code: str | None, behaviour: str, fields: Mapping[str, Any]) -> Goal:
    """Keep a goal of a client and its phrase in the clinic's bank; ``fields`` are those of ``Goal``.

    Raises
    ------
    UsageError
        When a field can't be.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        number = len(store.read_case(one, name).goals) + 1
        goal = _made(number, behaviour, {"made_on": store.day_of(one), **fields})
        store.add_goal(one, name, goal)
        used(one, name)
    keep_phrase(caseload, goal.behaviour)
    return goal


def _made(number: int, behaviour: str, fields: Mapping[str, Any]) -> Goal:
    try:
        return Goal(number, behaviour.strip()[:MOST_LETTERS], **fields)
    except (ValueError, WordError) as wrong:
        raise UsageError(str(wrong)) from wrong


def change_goal(caseload: CaseloadHandle, code: str | None, number: int, fields: Mapping[str, Any]) -> Goal:
    """Change fields of a goal, or say that it ended: ``met`` or ``stopped``, by a person's word.

    Raises
    ------
    UsageError
        When a field can't be.
    CaseloadError
        When the client has no such goal.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        before = _goal_of(store.read_case(one, name).goals, name, number)
        wanted = dict(fields)
        if "ended" in wanted:
            wanted["ended_on"] = (wanted.get("ended_on") or store.day_of(one)) if wanted["ended"] else None
        try:
            after = replace(before, **wanted)
        except (ValueError, WordError) as wrong:
            raise UsageError(str(wrong)) from wrong
        store.change_goal(one, name, after)
        used(one, name)
    return after


def _goal_of(goals: tuple[Goal, ...], code: str, number: int) -> Goal:
    found = next((goal for goal in goals if goal.number == number), None)
    if found is None:
        raise CaseloadError(f"{code}: no goal {number}; it has {len(goals)} (sibilant goal list {code})")
    return found


def remove_goal(caseload: CaseloadHandle, code: str | None, number: int) -> None:
    """Take out a goal that was typed by mistake; one that is over is ended instead."""
    with opened(caseload) as one:
        store.remove_goal(one, client_or_last(one, code), number)


def list_goals(caseload: CaseloadHandle, code: str | None) -> list[GoalRow]:
    """Return one row a goal."""
    with opened(caseload) as one:
        return goal_rows(store.read_case(one, client_or_last(one, code)).goals)


def goal_rows(goals: tuple[Goal, ...]) -> list[GoalRow]:
    """Return goals as rows to be shown."""
    return [
        {
            "goal": goal.number,
            "behaviour": goal.behaviour,
            "level": goal.level,
            "cue": goal.cue,
            "criterion": goal.criterion,
            "made": _day(goal.made_on),
            "by": _day(goal.by_on),
            "ended": f"{goal.ended} on {_day(goal.ended_on)}" if goal.ended else "",
        }
        for goal in goals
    ]


def _day(day: dt.date | None) -> str:
    return day.isoformat() if day is not None else ""


def phrases(caseload: CaseloadHandle) -> tuple[str, ...]:
    """Return the clinic's own phrases for what is worked towards, in order of the alphabet."""
    with opened(caseload, create=True) as one:
        return tuple(json.loads(one.setting(PHRASES) or "[]"))


def keep_phrase(caseload: CaseloadHandle, phrase: str) -> tuple[str, ...]:
    """Keep a phrase in the clinic's bank, once.

    Raises
    ------
    UsageError
        When it is empty, or the bank is full.
    """
    wanted = " ".join(phrase.split())[:MOST_LETTERS]
    if not wanted:
        raise UsageError("a phrase is empty; write what is worked towards, such as: says /s/ at the start of words")
    kept = {*phrases(caseload), wanted}
    if len(kept) > MOST_PHRASES:
        raise UsageError(f"the bank holds {MOST_PHRASES} phrases; take one out first")
    return _keep_phrases(caseload, kept)


def drop_phrase(caseload: CaseloadHandle, phrase: str) -> tuple[str, ...]:
    """Take a phrase out of the clinic's bank; goals that were made with it stay as they are."""
    return _keep_phrases(caseload, set(phrases(caseload)) - {phrase})


def _keep_phrases(caseload: CaseloadHandle, kept: set[str]) -> tuple[str, ...]:
    ordered = sorted(kept, key=str.casefold)
    with opened(caseload) as one:
        store.remember(one, {PHRASES: json.dumps(ordered, ensure_ascii=False)})
    return tuple(ordered)
