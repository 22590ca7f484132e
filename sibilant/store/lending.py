"""Spreads of baselines that clients lend each other, and the numbers a verdict was given with: kept, never computed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import sqlalchemy as sa

from ..terms.change import BaselineSpread, ClinicSpread
from .caseload import Caseload
from .people import client_id
from .schema import AUDIT, CLIENTS, LENT, SESSIONS, SPREADS


def latest_changes(caseload: Caseload) -> dict[str, int]:
    """Return, by client code, the number of the latest line of its audit trail: the fingerprint of what is kept."""
    query = sa.select(AUDIT.c.subject, sa.func.max(AUDIT.c.id)).group_by(AUDIT.c.subject)
    with caseload.read() as connection:
        return {subject: int(latest) for subject, latest in connection.execute(query)}


def kept_spreads(caseload: Caseload) -> dict[str, tuple[int, tuple[BaselineSpread, ...]]]:
    """Return, by client code, the fingerprint that spreads were computed under, and the spreads."""
    query = sa.select(CLIENTS.c.code, SPREADS).join_from(SPREADS, CLIENTS, SPREADS.c.client_id == CLIENTS.c.id)
    found: dict[str, tuple[int, tuple[BaselineSpread, ...]]] = {}
    with caseload.read() as connection:
        for row in connection.execute(query.order_by(SPREADS.c.id)).mappings():
            _, before = found.get(row["code"], (0, ()))
            own = (BaselineSpread(*(row[name] for name in BaselineSpread.__slots__)),) if row["measure"] else ()
            found[row["code"]] = row["fingerprint"], (*before, *own)
    return found


def keep_spreads(caseload: Caseload, code: str, fingerprint: int, spreads: Sequence[BaselineSpread]) -> None:
    """Keep a client's spreads in place of the earlier ones; no change of the record, so no audit line.

    A client without any is kept as such, by a row with no measure.
    """
    rows = [{name: getattr(one, name) for name in BaselineSpread.__slots__} for one in spreads]
    rows = rows or [{"measure": "", "method": "", "level": "", "device_kind": "", "sd": 0.0, "df": 0}]
    caseload.refuse_other_form()
    with caseload._worded(), caseload.engine.execution_options(writing=True).begin() as connection:
        owner = client_id(connection, code)
        connection.execute(SPREADS.delete().where(SPREADS.c.client_id == owner))
        more = {"client_id": owner, "fingerprint": fingerprint}
        connection.execute(SPREADS.insert(), [{**row, **more} for row in rows])


def drop_spreads(caseload: Caseload, code: str) -> None:
    """Erase a client's spreads, as when consent to lend them is withdrawn."""
    caseload.refuse_other_form()
    with caseload._worded(), caseload.engine.execution_options(writing=True).begin() as connection:
        connection.execute(SPREADS.delete().where(SPREADS.c.client_id == client_id(connection, code)))


def kept_lent(caseload: Caseload, code: str) -> dict[tuple[str, int], ClinicSpread]:
    """Return what others lent to verdicts already given, by measure and session number."""
    with caseload.read() as connection:
        query = (
            sa.select(SESSIONS.c.number, LENT)
            .join_from(LENT, SESSIONS, LENT.c.session_id == SESSIONS.c.id)
            .where(SESSIONS.c.client_id == client_id(connection, code))
        )
        return {
            (row["measure"], row["number"]): ClinicSpread(
                row["typical"], row["spread"], row["n_clients"], row["fitted_on"]
            )
            for row in connection.execute(query).mappings()
        }


def keep_lent(caseload: Caseload, code: str, given: Mapping[tuple[str, int], ClinicSpread]) -> None:
    """Keep the numbers that verdicts were given with; those already kept stay."""
    caseload.refuse_other_form()
    with caseload._worded(), caseload.engine.execution_options(writing=True).begin() as connection:
        owner = client_id(connection, code)
        query = sa.select(SESSIONS.c.number, SESSIONS.c.id).where(SESSIONS.c.client_id == owner)
        numbers = {int(number): int(row) for number, row in connection.execute(query)}
        for (measure, session), one in given.items():
            values = {"typical": one.typical, "spread": one.spread, "n_clients": one.n_clients}
            row = {"session_id": numbers[session], "measure": measure, "fitted_on": one.fitted_on, **values}
            connection.execute(LENT.insert().values(row))
