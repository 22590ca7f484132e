"""Goals, visits and practice of a client: kept, changed, taken out; the audit trail names them by number alone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError
from ..terms.care import Goal, PracticeMark, PracticeRun, Visit
from .caseload import Caseload
from .checksums import Found, readable
from .encode import dump, load
from .people import client_id
from .schema import GOALS, RUNS, VISITS


def read_goals(connection: sa.Connection, owner: int, aside: list[str]) -> tuple[Goal, ...]:
    """Return a client's goals in the order they were made."""
    return _numbered(connection, GOALS, owner, aside, goal_from)


def read_visits(connection: sa.Connection, owner: int, aside: list[str]) -> tuple[Visit, ...]:
    """Return a client's visits in the order they were kept."""
    return _numbered(connection, VISITS, owner, aside, visit_from)


def read_runs(connection: sa.Connection, owner: int, aside: list[str]) -> tuple[PracticeRun, ...]:
    """Return a client's runs of practice in the order they were kept."""
    return _numbered(connection, RUNS, owner, aside, run_from)


def _numbered(
    connection: sa.Connection,
    table: sa.Table,
    owner: int,
    aside: list[str],
    read: Callable[[int, Mapping[str, Any]], Found],
) -> tuple[Found, ...]:
    """Read rows; each is numbered by its place among all, so that a damaged one shifts no number."""
    query = sa.select(table).where(table.c.client_id == owner).order_by(table.c.id)
    rows = connection.execute(query).mappings().all()
    found = [readable(table.name, row, partial(read, n, dict(row)), aside) for n, row in enumerate(rows, start=1)]
    return tuple(one for one in found if one is not None)


def goal_from(number: int, row: Mapping[str, Any]) -> Goal:
    """Return a goal from its row."""
    return Goal(number, **{key: value for key, value in row.items() if key not in {"id", "client_id", "checksum"}})


def visit_from(number: int, row: Mapping[str, Any]) -> Visit:
    """Return a visit from its row."""
    return Visit(number, row["held_on"], row["kind"], row["minutes"])


def run_from(number: int, row: Mapping[str, Any]) -> PracticeRun:
    """Return a run of practice from its row."""
    marks = tuple(PracticeMark(**one) for one in load(row["marks"]) or ())
    return PracticeRun(number, row["done_on"], row["level"], marks)


def add_goal(caseload: Caseload, code: str, goal: Goal) -> None:
    """Keep a goal; its number is its place among the client's."""
    _insert(caseload, code, GOALS, "goal added", _goal_row(goal))


def change_goal(caseload: Caseload, code: str, goal: Goal) -> None:
    """Put a goal in the place of the one of its number.

    Raises
    ------
    CaseloadError
        When there is none of that number.
    """
    with caseload.change("goal changed", code, f"goal {goal.number}") as connection:
        number = _row_id(connection, GOALS, code, goal.number, "goal")
        connection.execute(GOALS.update().where(GOALS.c.id == number).values(**_goal_row(goal)))


def remove_goal(caseload: Caseload, code: str, number: int) -> None:
    """Take a goal out; those after it move up."""
    _delete(caseload, code, GOALS, "goal", number)


def add_visit(caseload: Caseload, code: str, on: dt.date, kind: str, minutes: int | None) -> None:
    """Keep a visit."""
    _insert(caseload, code, VISITS, "visit added", {"held_on": on, "kind": kind, "minutes": minutes})


def remove_visit(caseload: Caseload, code: str, number: int) -> None:
    """Take a visit out; those after it move up."""
    _delete(caseload, code, VISITS, "visit", number)


def add_run(caseload: Caseload, code: str, on: dt.date, level: str, marks: tuple[PracticeMark, ...]) -> None:
    """Keep a run of practice."""
    row = {"done_on": on, "level": level, "marks": dump([asdict(mark) for mark in marks])}
    _insert(caseload, code, RUNS, "practice kept", row)


def remove_run(caseload: Caseload, code: str, number: int) -> None:
    """Take a run of practice out; those after it move up."""
    _delete(caseload, code, RUNS, "practice", number)


def _goal_row(goal: Goal) -> dict[str, Any]:
    row = asdict(goal)
    row.pop("number")
    return row


def _insert(caseload: Caseload, code: str, table: sa.Table, action: str, row: Mapping[str, Any]) -> None:
    with caseload.change(action, code) as connection:
        connection.execute(table.insert().values({"client_id": client_id(connection, code), **row}))


def _delete(caseload: Caseload, code: str, table: sa.Table, what: str, number: int) -> None:
    with caseload.change(f"{what} removed", code, f"{what} {number}") as connection:
        found = _row_id(connection, table, code, number, what)
        connection.execute(table.delete().where(table.c.id == found))


def _row_id(connection: sa.Connection, table: sa.Table, code: str, number: int, what: str) -> int:
    owner = client_id(connection, code)
    rows = connection.execute(sa.select(table.c.id).where(table.c.client_id == owner).order_by(table.c.id)).scalars()
    numbers = list(rows)
    if not 1 <= number <= len(numbers):
        raise CaseloadError(f"{code}: no {what} {number}; it has {len(numbers)}")
    return int(numbers[number - 1])
