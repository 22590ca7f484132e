"""What people said of tokens: judgements, corrections, and the stored orders of blind judging."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError
from ..terms import Measurement
from ..terms.clinic import MethodChoice
from ..terms.kept import Correction, Judgement
from .caseload import Caseload
from .checksums import readable
from .encode import dump, load, measured_text, read_measured
from .people import client_id, keep_choice
from .schema import CORRECTIONS, JUDGEMENTS, MEASUREMENTS, ORDERS, TOKENS
from .sessions import keep_methods, measurement_row, method_key, session_id


def token_ids(connection: sa.Connection, session: int) -> dict[str, int]:
    """Return the row number of each token key of a session."""
    query = sa.select(TOKENS.c.key, TOKENS.c.id).where(TOKENS.c.session_id == session)
    return {key: number for key, number in connection.execute(query)}  # noqa: C416 - a row is not a pair to mypy


def _known(ids: Mapping[str, int], key: str, number: int) -> int:
    if key not in ids:
        raise CaseloadError(f"session {number}: no token {key}; sibilant session show lists them")
    return ids[key]


def add_judgements(
    caseload: Caseload, code: str, number: int, judgements: Sequence[Judgement], *, made_on: int | None = None
) -> None:
    """Keep judgements made by people; earlier ones stay, the latest of a rater's turn stands.

    Raises
    ------
    CaseloadError
        When a token is not in the session.
    RefusedError
        When a session was moved or removed after the revision that they were made on.
    """
    raters = ", ".join(sorted({judgement.rater for judgement in judgements}))
    detail = f"session {number}: {len(judgements)} by {raters}"
    with caseload.change("judged", code, detail, made_on=made_on) as connection:
        ids = token_ids(connection, session_id(connection, code, number))
        rows = [_judgement_row(judgement, _known(ids, judgement.token, number)) for judgement in judgements]
        if rows:
            connection.execute(JUDGEMENTS.insert(), rows)


def _judgement_row(judgement: Judgement, token: int) -> dict[str, Any]:
    row = asdict(judgement)
    del row["token"]
    row["judged_at"] = row.pop("on")
    row["types"] = dump(list(judgement.types)) if judgement.types else ""
    return {**row, "token_id": token}


def judgement_from(row: Mapping[str, Any], key: str) -> Judgement:
    """Return a judgement from its row."""
    kept = {
        name: value for name, value in row.items() if name not in {"id", "token_id", "judged_at", "types", "checksum"}
    }
    return Judgement(token=key, on=row["judged_at"], types=tuple(load(row["types"]) or ()), **kept)


def add_corrections(
    caseload: Caseload,
    code: str,
    number: int,
    corrections: Sequence[Correction],
    measured: Sequence[Measurement] = (),
    *,
    made_on: int | None = None,
) -> None:
    """Keep a person's corrections beside the automatic values, and what was measured again between the new edges.

    Raises
    ------
    RefusedError
        When somebody corrected, moved or removed after the revision that they were made on.
    """
    people = ", ".join(sorted({correction.by for correction in corrections}))
    detail = f"session {number}: {len(corrections)} tokens by {people}; " + "; ".join(
        _correction_text(correction) for correction in corrections
    )
    with caseload.change("reviewed", code, detail, made_on=made_on) as connection:
        ids = token_ids(connection, session_id(connection, code, number))
        rows = [_correction_row(one, _known(ids, one.token, number)) for one in corrections]
        if rows:
            connection.execute(CORRECTIONS.insert(), rows)
        keep_methods(connection, [one.method for one in measured])
        fresh = [measurement_row(_known(ids, one.sound_id, number), one, "reviewed") for one in measured]
        for row in fresh:
            same = sa.and_(*(MEASUREMENTS.c[name] == row[name] for name in ("token_id", "method", "boundary")))
            connection.execute(MEASUREMENTS.delete().where(same))
        if fresh:
            connection.execute(MEASUREMENTS.insert(), fresh)


def add_measured(
    caseload: Caseload,
    code: str,
    measured: Sequence[tuple[int, str, Measurement]],
    *,
    followed: MethodChoice | None = None,
    made_on: int | None = None,
) -> int:
    """Keep sounds measured again, all or none, beside what is kept of them; return how many are new.

    Parameters
    ----------
    caseload : Caseload
        Opened.
    code : str
        The client's code.
    measured : sequence of (session, boundary, measurement)
        ``boundary`` is ``automatic`` or ``reviewed``. What is kept under the same method and boundary stays; values
        that it lacks are added to it.
    followed : MethodChoice, optional
        What the client was followed under before, where that changes by it.
    made_on : int, optional
        As of which change of the client it was measured.

    Raises
    ------
    RefusedError
        When somebody corrected, moved or removed after the revision that it was made on.
    """
    detail = f"{len(measured)} measurements of {len({(number, one.sound_id) for number, _, one in measured})} sounds"
    with caseload.change("measured again", code, detail, made_on=made_on) as connection:
        keep_methods(connection, [one.method for _, _, one in measured])
        rows, n_added = [], 0
        for number in sorted({number for number, _, _ in measured}):
            session = session_id(connection, code, number)
            ids, there = token_ids(connection, session), _measured_of(connection, session)
            for of, boundary, one in measured:
                if of != number:
                    continue
                token = _known(ids, one.sound_id, number)
                kept = there.get((token, method_key(one.method), boundary))
                if kept is None:
                    rows.append(measurement_row(token, one, boundary))
                else:
                    n_added += _add_to(connection, kept, one)
        if rows:
            connection.execute(MEASUREMENTS.insert(), rows)
        if followed is not None:
            keep_choice(connection, client_id(connection, code), followed)
    return len(rows) + n_added


def _measured_of(connection: sa.Connection, session: int) -> dict[tuple[int, str, str], tuple[int, str]]:
    """Which measurements of a session's sounds are kept: the number and text of each."""
    query = sa.select(MEASUREMENTS).join(TOKENS, TOKENS.c.id == MEASUREMENTS.c.token_id)
    found = connection.execute(query.where(TOKENS.c.session_id == session))
    return {(row.token_id, row.method, row.boundary): (row.id, row.measured) for row in found}


def _add_to(connection: sa.Connection, kept: tuple[int, str], fresh: Measurement) -> bool:
    """Add the values that a kept measurement lacks, with their flags; say whether there were any."""
    number, text = kept
    measures, *_ = found = read_measured(text, fresh.method.label)
    if fresh.measures.values.keys() <= measures.values.keys():
        return False
    values = {**fresh.measures.values, **measures.values}
    flags = tuple(dict.fromkeys((*measures.flags, *fresh.measures.flags)))
    added = Measurement(fresh.sound_id, fresh.method, replace(measures, values=values, flags=flags), *found[1:])
    row = MEASUREMENTS.update().where(MEASUREMENTS.c.id == number)
    connection.execute(row.values(measured=measured_text(added)))
    return True


def _correction_text(correction: Correction) -> str:
    given = {key: value for key, value in asdict(correction).items() if key not in {"token", "by", "on"}}
    said = ", ".join(f"{key} {value}" for key, value in given.items() if value is not None)
    return f"{correction.token} {said or 'checked, unchanged'}"


def _correction_row(correction: Correction, token: int) -> dict[str, Any]:
    row = asdict(correction)
    del row["token"]
    row["corrected_at"] = row.pop("on")
    return {**row, "token_id": token}


def correction_from(row: Mapping[str, Any], key: str) -> Correction:
    """Return a correction from its row."""
    kept = {name: value for name, value in row.items() if name not in {"id", "token_id", "corrected_at", "checksum"}}
    return Correction(token=key, on=row["corrected_at"], **kept)


def judging_order(caseload: Caseload, code: str, number: int, rater: str, turn: int) -> tuple[str, ...]:
    """Return the stored order of a rater's turn, empty when none is stored."""
    with caseload.read(code) as connection:
        query = sa.select(ORDERS).where(
            ORDERS.c.session_id == session_id(connection, code, number),
            ORDERS.c.rater == rater,
            ORDERS.c.turn == turn,
        )
        row = connection.execute(query).mappings().first()
    if row is None:
        return ()
    found = readable("judging_orders", row, lambda: tuple(load(row["token_keys"])), [])
    if found is None:
        raise CaseloadError(f"{code}: the stored order of {rater}'s turn {turn} is damaged; put a backup in its place")
    return found


def keep_order(caseload: Caseload, code: str, number: int, rater: str, turn: int, keys: Sequence[str]) -> None:
    """Store the random order of a rater's turn, so that judging can stop and go on, and be checked."""
    with caseload.change("judging order drawn", code, f"session {number}: {rater}, turn {turn}") as connection:
        row = {
            "session_id": session_id(connection, code, number),
            "rater": rater,
            "turn": turn,
            "token_keys": dump(list(keys)),
        }
        connection.execute(ORDERS.insert().values(row))
