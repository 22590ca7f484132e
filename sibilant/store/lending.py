"""What clients lend each other, and with what a verdict was given: kept, never computed."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from functools import partial
from typing import Any

import sqlalchemy as sa

from ..errors import NoRoomError
from ..terms.lending import BaselineSpread, ClinicSpread, DeviceProbe, Given, Grounds, Lender
from .caseload import Caseload
from .checksums import is_whole, readable
from .encode import dump, load
from .people import client_id
from .schema import AUDIT, CLIENTS, LENDERS, LENT, SESSIONS

LentKey = tuple[str, int]
"""Measure and session number."""


def latest_changes(caseload: Caseload) -> dict[str, int]:
    """Return, by client code, the number of the latest line of its audit trail: the fingerprint of what is kept."""
    query = sa.select(AUDIT.c.subject, sa.func.max(AUDIT.c.id)).group_by(AUDIT.c.subject)
    with caseload.read() as connection:
        return {subject: int(latest) for subject, latest in connection.execute(query)}


def kept_lenders(caseload: Caseload) -> dict[str, tuple[str, Lender]]:
    """Return, by client code, the fingerprint that what it lends was computed under, and what it lends.

    A damaged row counts as none: it is made anew from the record.
    """
    query = sa.select(CLIENTS.c.code, LENDERS).join_from(LENDERS, CLIENTS, LENDERS.c.client_id == CLIENTS.c.id)
    with caseload.read() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
    found = {row.pop("code"): (row["fingerprint"], readable("lenders", row, partial(_lender, row), [])) for row in rows}
    return {code: (fingerprint, lender) for code, (fingerprint, lender) in found.items() if lender is not None}


def _lender(row: Mapping[str, Any]) -> Lender:
    content = load(row["content"])
    probes = (DeviceProbe(**{**one, "on": dt.date.fromisoformat(one["on"])}) for one in content["probes"])
    return Lender(tuple(BaselineSpread(**one) for one in content["spreads"]), tuple(probes))


def keep_lender(caseload: Caseload, code: str, fingerprint: str, lender: Lender) -> None:
    """Keep what a client lends in place of what was kept before; no change of the record, so no audit line."""
    probes = [{**asdict(one), "on": one.on.isoformat()} for one in lender.probes]
    content = dump({"spreads": [asdict(one) for one in lender.spreads], "probes": probes})
    with contextlib.suppress(NoRoomError), _beside_the_record(caseload, code) as connection:
        owner = client_id(connection, code)
        connection.execute(LENDERS.delete().where(LENDERS.c.client_id == owner))
        connection.execute(LENDERS.insert().values(client_id=owner, fingerprint=fingerprint, content=content))


def drop_lender(caseload: Caseload, code: str) -> None:
    """Erase what a client lends, as when consent to it is withdrawn."""
    with contextlib.suppress(NoRoomError), _beside_the_record(caseload, code) as connection:
        connection.execute(LENDERS.delete().where(LENDERS.c.client_id == client_id(connection, code)))


@contextlib.contextmanager
def _beside_the_record(caseload: Caseload, code: str) -> Iterator[sa.Connection]:
    """Write what is not of the record, sealed like it.

    Raises
    ------
    NoRoomError
        On a full disk or a read-only medium: nothing is kept then, and reading goes on without.
    """
    caseload.refuse_other_form()
    writing = caseload.engine.execution_options(writing=True)
    with caseload._worded(), writing.begin() as connection, caseload.sealing(connection, code):
        yield connection


def read_given(connection: sa.Connection, owner: int, aside: list[str]) -> dict[LentKey, Given]:
    """Return with what verdicts were given, by measure and session number; damaged rows are named in ``aside``."""
    query = sa.select(SESSIONS.c.number, LENT).join_from(LENT, SESSIONS, LENT.c.session_id == SESSIONS.c.id)
    rows = [dict(row) for row in connection.execute(query.where(SESSIONS.c.client_id == owner)).mappings()]
    found = {
        (row["measure"], row.pop("number")): readable("lent", row, partial(given_from, row), aside) for row in rows
    }
    return {place: one for place, one in found.items() if one is not None}


def given_from(row: Mapping[str, Any]) -> Given:
    """Return with what a verdict was given, from its row.

    Raises
    ------
    ValueError
        When its numbers can't be those of other clients.
    """
    grounds = None
    if row["method"]:
        baseline = tuple(int(number) for number in row["baseline"].split())
        grounds = Grounds(row["method"], row["level"], row["device_kind"], baseline)
    if (row["typical"] is None) != (row["spread"] is None):
        raise ValueError("a typical SD and its log spread come together")
    lent = None
    if row["typical"] is not None:
        lent = ClinicSpread(row["typical"], row["spread"], row["n_clients"], row["fitted_on"])
    return Given(grounds, lent, row["n_clients"], row["fitted_on"])


def keep_given(caseload: Caseload, code: str, given: Mapping[LentKey, Given]) -> None:
    """Keep with what verdicts were given, in place of what was kept of the same measure and session.

    A damaged row stays, so that it is named until a backup mends it.
    """
    with contextlib.suppress(NoRoomError), _beside_the_record(caseload, code) as connection:
        owner = client_id(connection, code)
        query = sa.select(SESSIONS.c.number, SESSIONS.c.id).where(SESSIONS.c.client_id == owner)
        numbers = {int(number): int(row) for number, row in connection.execute(query)}
        for (measure, session), one in given.items():
            place = (LENT.c.session_id == numbers[session]) & (LENT.c.measure == measure)
            there = connection.execute(sa.select(LENT).where(place)).mappings().first()
            if there is None or is_whole("lent", there):
                connection.execute(LENT.delete().where(place))
                connection.execute(LENT.insert().values(session_id=numbers[session], measure=measure, **_row(one)))


def _row(one: Given) -> dict[str, Any]:
    lent, grounds = one.lent, one.grounds or Grounds("", "", "")
    return {
        "typical": lent.typical if lent is not None else None,
        "spread": lent.spread if lent is not None else None,
        "n_clients": one.n_clients,
        "fitted_on": one.on,
        "method": grounds.method,
        "level": grounds.level,
        "device_kind": grounds.device_kind,
        "baseline": " ".join(str(number) for number in grounds.baseline),
    }
