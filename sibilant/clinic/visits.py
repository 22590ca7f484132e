"""Visits: whether an appointment was kept, by whom it was called off, how long it was."""

from __future__ import annotations

import datetime as dt

from .. import store
from ..errors import UsageError
from ..terms.care import Visit
from ..terms.vocabulary import VISITS
from .answers import VisitRow
from .caseload import CaseloadHandle, client_or_last, day_known, opened, used


def add_visit(
    caseload: CaseloadHandle,
    code: str | None,
    kind: str = "attended",
    *,
    on: dt.date | None = None,
    minutes: int | None = None,
) -> str:
    """Keep a visit of a client, today's unless another day is said; return the client's code.

    Raises
    ------
    UsageError
        When the day has not come, or the length can't be one.
    WordError
        For another kind.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        day = day_known(one, on or store.day_of(one), "a visit", store.get_client(one, name))
        try:
            visit = Visit(1, day, VISITS.read(kind), minutes)
        except ValueError as wrong:
            raise UsageError(str(wrong)) from wrong
        store.add_visit(one, name, visit.on, visit.kind, visit.minutes)
        used(one, name)
        return name


def remove_visit(caseload: CaseloadHandle, code: str | None, number: int) -> None:
    """Take out a visit that was kept by mistake."""
    with opened(caseload) as one:
        store.remove_visit(one, client_or_last(one, code), number)


def list_visits(caseload: CaseloadHandle, code: str | None) -> list[VisitRow]:
    """Return one row a visit."""
    with opened(caseload) as one:
        return visit_rows(store.read_case(one, client_or_last(one, code)).visits)


def visit_rows(visits: tuple[Visit, ...]) -> list[VisitRow]:
    """Return visits as rows to be shown, in the order of their days."""
    ordered = sorted(visits, key=lambda visit: (visit.on, visit.number))
    return [
        {"visit": one.number, "on": one.on.isoformat(), "kind": one.kind, "minutes": one.minutes or ""}
        for one in ordered
    ]
