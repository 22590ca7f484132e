"""Clients, their events and devices: nouns come in and become rows, rows come out as nouns.

Each change leaves its line in the audit trail.
"""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Callable, Mapping
from dataclasses import asdict, fields, replace
from functools import partial
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError, RefusedError
from ..terms.clinic import Client, Consent, Device, EarlierProbe, Event, MethodChoice, MoveUpRule, Retention
from ..terms.codes import CODE_LETTERS, check_letter
from ..terms.therapy import Therapy
from .caseload import Caseload
from .checksums import is_whole, readable, say_set_aside
from .encode import dump, load
from .schema import AUDIT, BINNED, CHOICES, CLIENTS, DEVICES, EARLIER, EVENTS

POOLED = dump({"pooled": True})[1:-1]
"""What the text of a consent holds that was given to being pooled; whether it was withdrawn the consent says."""


def new_code(taken: set[str], *, choose: Callable[[str], str] = secrets.choice) -> str:
    """Draw a random client code that is not taken: no initials, no birth date, no look-alikes."""
    while True:
        three = "".join(choose(CODE_LETTERS) for _ in range(3))
        last = check_letter(three)
        if last is not None and (code := f"C-{three}{last}") not in taken:
            return code


def codes(caseload: Caseload) -> tuple[str, ...]:
    """Return the codes of all clients, in order."""
    with caseload.read() as connection:
        return tuple(connection.execute(sa.select(CLIENTS.c.code).order_by(CLIENTS.c.code)).scalars())


def add_client(caseload: Caseload, client: Client) -> Client:
    """Keep a new client.

    Raises
    ------
    RefusedError
        When the code is taken.
    """
    if client.code in codes(caseload):
        raise RefusedError(f"{client.code}: this code is taken; leave --code out to have one drawn")
    with caseload.read() as connection:
        if connection.execute(sa.select(BINNED.c.id).where(BINNED.c.code == client.code)).first() is not None:
            raise RefusedError(f"{client.code}: lies in the bin; bring it back, or leave --code out to have one drawn")
    added = client if client.added_on is not None else replace(client, added_on=caseload.clock().date())
    with caseload.change("client added", client.code) as connection:
        connection.execute(CLIENTS.insert().values(**_client_row(added)))
    return added


def get_client(caseload: Caseload, code: str) -> Client:
    """Return a client.

    Raises
    ------
    CaseloadError
        When there is none of that code.
    """
    with caseload.read(code) as connection:
        row = connection.execute(sa.select(CLIENTS).where(CLIENTS.c.code == code)).mappings().first()
    if row is None:
        raise CaseloadError(f"{code[:20]}: no client of this code; sibilant client list shows them")
    found = readable("clients", row, lambda: client_from(dict(row)), [])
    if found is None:
        raise CaseloadError(f"{code}: the client's row is damaged; sibilant caseload check names it, a backup mends it")
    return found


def clients(caseload: Caseload, *, pooled: bool = False) -> tuple[Client, ...]:
    """Return all clients by code, or those who agreed to be pooled; one whose row is damaged is set aside and named."""
    aside: list[str] = []
    query = sa.select(CLIENTS).order_by(CLIENTS.c.code)
    with caseload.read() as connection:
        rows = connection.execute(query.where(CLIENTS.c.consent.contains(POOLED)) if pooled else query).mappings().all()
    found = [readable("clients", row, partial(client_from, dict(row)), aside) for row in rows]
    say_set_aside("clients", aside)
    return tuple(client for client in found if client is not None)


def change_client(
    caseload: Caseload,
    code: str,
    changed: Mapping[str, Any],
    *,
    choice: MethodChoice | None = None,
    made_on: int | None = None,
) -> Client:
    """Change fields of a client; the audit trail names each field with the value before and after.

    ``choice`` is kept with it where another method is followed from now on.

    Raises
    ------
    RefusedError
        When the client was changed after the revision that this was made on.
    """
    before = get_client(caseload, code)
    after = replace(before, **changed)
    old, new = _client_row(before), _client_row(after)
    differing = {key: value for key, value in new.items() if value != old[key]}
    if not differing:
        return after
    detail = "; ".join(f"{key}: {old[key]!s} -> {value!s}" for key, value in sorted(differing.items()))
    with caseload.change("client changed", code, detail, made_on=made_on) as connection:
        connection.execute(CLIENTS.update().where(CLIENTS.c.code == code).values(**differing))
        if choice is not None:
            keep_choice(connection, client_id(connection, code), choice)
    return after


def keep_choice(connection: sa.Connection, owner: int, choice: MethodChoice) -> None:
    """Keep the row of a choice."""
    row = {"client_id": owner, "chosen_on": choice.on, "method": choice.method, "before": choice.before}
    connection.execute(CHOICES.insert().values(**row))


def choice_from(row: Mapping[str, Any]) -> MethodChoice:
    """Return a choice of method from its row."""
    return MethodChoice(row["chosen_on"], row["method"], row["before"])


def _client_row(client: Client) -> dict[str, Any]:
    row = {field.name: getattr(client, field.name) for field in fields(Client)}
    row["reference_group"] = row.pop("group")
    row["move_up"] = dump(asdict(client.move_up)) if client.move_up is not None else ""
    row["retention"] = dump(asdict(client.retention))
    row["treated"] = dump({word: day.isoformat() for word, day in sorted(client.treated.items())})
    row["therapy"] = dump(client.therapy.as_dict()) if client.therapy is not None else ""
    row["consent"] = ""
    if client.consent is not None:
        kept = asdict(client.consent)
        row["consent"] = dump(
            {key: value.isoformat() if isinstance(value, dt.date) else value for key, value in kept.items()}
        )
    return row


def client_from(row: Mapping[str, Any]) -> Client:
    """Return a client from its row."""
    kept = {key: value for key, value in row.items() if key not in {"id", "reference_group", "checksum"}}
    kept["group"] = row["reference_group"]
    move_up, consent = load(row["move_up"]), load(row["consent"])
    kept["move_up"] = MoveUpRule(**move_up) if move_up is not None else None
    kept["retention"] = Retention(**(load(row["retention"]) or {}))
    kept["treated"] = {word: dt.date.fromisoformat(day) for word, day in (load(row["treated"]) or {}).items()}
    kept["consent"] = _consent(consent) if consent is not None else None
    therapy = load(row["therapy"])
    kept["therapy"] = Therapy.from_dict(therapy) if therapy is not None else None
    return Client(**kept)


def _consent(kept: dict[str, Any]) -> Consent:
    for name in ("given_on", "withdrawn_on"):
        kept[name] = dt.date.fromisoformat(kept[name]) if kept[name] else None
    return Consent(**kept)


def client_id(connection: sa.Connection, code: str) -> int:
    """Return a client's row number.

    Raises
    ------
    CaseloadError
        When there is none of that code.
    """
    found = connection.execute(sa.select(CLIENTS.c.id).where(CLIENTS.c.code == code)).scalar()
    if found is None:
        raise CaseloadError(f"{code[:20]}: no client of this code; sibilant client list shows them")
    return int(found)


def add_event(caseload: Caseload, code: str, event: Event) -> None:
    """Keep a dated event of a client."""
    with caseload.change("event added", code, _told(event)) as connection:
        row = {"client_id": client_id(connection, code), "happened_on": event.on, "what": event.text}
        connection.execute(EVENTS.insert().values(row))


def events_of(caseload: Caseload, code: str) -> tuple[Event, ...]:
    """Return a client's events in the order they were kept."""
    with caseload.read(code) as connection:
        query = sa.select(EVENTS).where(EVENTS.c.client_id == client_id(connection, code)).order_by(EVENTS.c.id)
        rows = connection.execute(query).mappings().all()
    aside: list[str] = []
    found = [readable("events", row, partial(event_from, dict(row)), aside) for row in rows]
    say_set_aside(code, aside)
    return tuple(event for event in found if event is not None)


def event_from(row: Mapping[str, Any]) -> Event:
    """Return an event from its row."""
    return Event(row["happened_on"], row["what"])


def remove_event(caseload: Caseload, code: str, place: int) -> Event:
    """Take out the event at a 1-based place in the order they were kept; its words leave the audit trail too.

    Raises
    ------
    CaseloadError
        When there is none at that place.
    """
    kept = events_of(caseload, code)
    if not 1 <= place <= len(kept):
        raise CaseloadError(f"{code}: no event {place}; it has {len(kept)} (sibilant event {code} --list)")
    event = kept[place - 1]
    with caseload.change("event removed", code, event.on.isoformat()) as connection:
        query = sa.select(EVENTS).where(EVENTS.c.client_id == client_id(connection, code)).order_by(EVENTS.c.id)
        whole = [row["id"] for row in connection.execute(query).mappings() if is_whole("events", row)]
        number = whole[place - 1]
        connection.execute(EVENTS.delete().where(EVENTS.c.id == number))
        told = AUDIT.c.detail == _told(event)
        connection.execute(
            AUDIT.update().where(AUDIT.c.subject == code, told).values(detail=f"{event.on.isoformat()}: (removed)")
        )
    return event


def _told(event: Event) -> str:
    return f"{event.on.isoformat()}: {event.text}"


def add_device(caseload: Caseload, device: Device) -> None:
    """Register a microphone and place.

    Raises
    ------
    RefusedError
        When the name is taken.
    """
    if any(one.name == device.name for one in devices(caseload)):
        raise RefusedError(f"{device.name[:40]}: a device of this name is registered already; choose another name")
    with caseload.change("device added", device.name) as connection:
        connection.execute(DEVICES.insert().values(asdict(device)))


def devices(caseload: Caseload) -> tuple[Device, ...]:
    """Return all registered devices by name."""
    with caseload.read() as connection:
        return read_devices(connection)


def read_devices(connection: sa.Connection) -> tuple[Device, ...]:
    """Return all registered devices by name, within one look at the database."""
    rows = connection.execute(sa.select(DEVICES).order_by(DEVICES.c.name)).mappings().all()
    aside: list[str] = []
    found = [readable("devices", row, partial(_device_from, dict(row)), aside) for row in rows]
    say_set_aside("devices", aside)
    return tuple(device for device in found if device is not None)


def _device_from(row: Mapping[str, Any]) -> Device:
    return Device(**{key: value for key, value in row.items() if key not in {"id", "checksum"}})


def add_earlier(caseload: Caseload, code: str, probes: tuple[EarlierProbe, ...]) -> None:
    """Keep an earlier hand-made probe table with its source."""
    source = ", ".join(sorted({probe.source for probe in probes}))
    with caseload.change("earlier probes imported", code, f"{len(probes)} rows; source: {source}") as connection:
        owner = client_id(connection, code)
        rows = [{**asdict(probe), "client_id": owner} for probe in probes]
        for row in rows:
            row["held_on"] = row.pop("on")
        connection.execute(EARLIER.insert(), rows)
