"""Clients, their events, and devices: kept, shown, changed, held, removed with a receipt."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from .. import methods, store
from ..errors import UsageError
from ..progress import followed
from ..terms import MEASURES
from ..terms.clinic import Case, Client, Consent, Device, Event, MethodChoice, MoveUpRule
from ..terms.codes import is_client_code
from .answers import ClientRow, DeviceRow, EventRow
from .caseload import CaseloadHandle, cautions, client_or_last, day_known, opened, used
from .plain import plain
from .removing import erase_withdrawn
from .therapy import read_therapy

OLDEST_YEARS = 120  # an age beyond is a slip of the pen
DIRECTIONS = ("higher", "lower", "longer", "shorter", "none")


def read_age(text: str) -> int:
    """Return an age in months from ``7y4m``, ``7;4``, ``7y`` or ``88m``.

    Raises
    ------
    UsageError
        When it is none of these.

    Examples
    --------
    >>> read_age("7y4m"), read_age("7;4"), read_age("34y")
    (88, 88, 408)
    """
    found = re.fullmatch(r"\s*(?:(\d{1,3})\s*[y;])?\s*(?:(\d{1,3})\s*m?)?\s*", text.lower())
    if found is None or not any(found.groups()) or (found[1] is None and not text.lower().rstrip().endswith("m")):
        raise UsageError(f"age {text[:12]!r}: write years and months, as in 7y4m")
    months = 12 * int(found[1] or 0) + int(found[2] or 0)
    if (found[1] is not None and int(found[2] or 0) > 11) or months > 12 * OLDEST_YEARS:
        raise UsageError(f"age {text[:12]!r}: months go from 0 to 11, years to {OLDEST_YEARS}; write it as in 7y4m")
    return months


def age_text(months: int) -> str:
    """Return an age as it is written here.

    Examples
    --------
    >>> age_text(88)
    '7y4m'
    """
    return f"{months // 12}y{months % 12}m"


def read_move_up(text: str) -> MoveUpRule:
    """Return the clinic's rule from ``80% x2 n20``: share, sessions running, tokens.

    Raises
    ------
    UsageError
        When it can't be understood.

    Examples
    --------
    >>> read_move_up("90% x3 n10").text
    '90 % correct of 10 or more tokens in 3 sessions running'
    """
    share, n_sessions, n_tokens = parts_of_rule(text, f"rule {text[:30]!r}: write share, sessions running and tokens")
    return MoveUpRule(share, n_sessions, n_tokens, "the clinic's own rule")


def parts_of_rule(text: str, wanted: str, left_out: tuple[int, int] = (0, 0)) -> tuple[float, int, int]:
    """Return share, sessions running and sounds of ``80% x2 n20``.

    ``left_out`` stands for either of the last two where it is not written; 0: it must be.

    Raises
    ------
    UsageError
        Begins with ``wanted``: when it can't be understood, or a part is 0.

    Examples
    --------
    >>> parts_of_rule("90% n10", "write a rule", (2, 20))
    (0.9, 2, 10)
    """
    found = re.fullmatch(r"\s*(\d{1,3})\s*%\s*(?:x\s*(\d{1,2})\s*)?(?:n\s*(\d{1,3})\s*)?", text.lower())
    share, *beside = map(int, (found[1], found[2] or left_out[0], found[3] or left_out[1])) if found else (0, 0, 0)
    if not 0 < share <= 100 or 0 in beside:
        raise UsageError(f"{wanted}, as in '80% x2 n20'")
    return share / 100, beside[0], beside[1]


def add_client(
    caseload: CaseloadHandle,
    age: str,
    *,
    code: str = "",
    on: dt.date | None = None,
    fields: Mapping[str, Any] | None = None,
) -> tuple[Client, tuple[str, ...]]:
    """Keep a new client under a random code; return it with what must be said of the caseload.

    ``fields`` are those of :class:`~sibilant.terms.clinic.Client`, checked here.

    Raises
    ------
    UsageError
        When an age, a code or a field can't be.
    """
    with opened(caseload, create=True) as one:
        today = day_known(one, on or store.day_of(one), "the age")
        wanted = code.upper() or store.new_code(set(store.codes(one)))
        if not is_client_code(wanted):
            raise UsageError(f"{code[:20]}: not a client code; leave --code out to have one drawn")
        plain_client = Client(wanted, read_age(age), today)
        client = replace(plain_client, **checked(fields or {}, plain_client, today))
        _days_known(one, client)
        added = store.add_client(one, client)
        used(one, wanted)
        return added, cautions(one.folder)


def checked(fields: Mapping[str, Any], client: Client, today: dt.date) -> dict[str, Any]:
    """Return fields of a client after checking measure, direction and method.

    ``consent``, ``retention`` and ``therapy`` (see ``read_therapy``) may be given in part, as mappings; what is not
    given stays as it is.

    Raises
    ------
    UsageError
        When one is not known, or consent is changed where nobody has given any.
    """
    found = dict(fields)
    if (key := fields.get("main_measure")) is not None and key not in MEASURES:
        raise UsageError(f"measure {str(key)[:40]!r} is not known; docs/measures.md lists them, such as centroid_hz")
    if (direction := fields.get("direction")) is not None and direction not in DIRECTIONS:
        raise UsageError(f"direction {str(direction)[:20]!r} is none of {', '.join(DIRECTIONS)}")
    if (name := fields.get("method")) is not None:
        methods.get_method(name)
    if isinstance(consent := fields.get("consent"), Mapping):
        found["consent"] = _consent(consent, client.consent, today)
    if isinstance(kept := fields.get("retention"), Mapping):
        found["retention"] = replace(client.retention, **kept)
    if isinstance(said := fields.get("therapy"), Mapping):
        found["therapy"] = read_therapy(said, client.therapy)
    return found


def _days_known(one: store.Caseload, client: Client) -> None:
    """Refuse a client whose consent, hearing or treated words carry a day that has not come."""
    consent = client.consent
    days = {"a hearing check": client.hearing_on, **{f"the word {word}": day for word, day in client.treated.items()}}
    if consent is not None:
        days |= {"consent given": consent.given_on, "consent withdrawn": consent.withdrawn_on}
    for what, day in days.items():
        if day is not None:
            day_known(one, day, what)


def _consent(changed: Mapping[str, Any], before: Consent | None, today: dt.date) -> Consent:
    if before is None and not changed.get("by"):
        raise UsageError("--consent-by: no consent is on record yet; say who gave it, such as parent")
    return replace(before or Consent(today), **changed)


def list_clients(caseload: CaseloadHandle) -> list[ClientRow]:
    """Return one row a client: code, age today, sessions, last session, what needs a look."""
    with opened(caseload) as one:
        today = store.day_of(one)
        rows: list[ClientRow] = []
        for client in store.clients(one):
            held = store.sessions(one, client.code)
            rows.append(
                {
                    "client": client.code,
                    "age": age_text(client.age_months_on(today)),
                    "sessions": len(held),
                    "last": held[-1].on.isoformat() if held else "",
                    "note": "; ".join(reminders(client, held[-1].on if held else None, today)),
                }
            )
    return rows


def reminders(client: Client, last: dt.date | None, today: dt.date) -> list[str]:
    """Return what a clinician may want to see to: hearing, consent, hold, the clinic's own retention rule."""
    found = []
    if client.invented:
        found.append("Invented data – not a person")
    if not client.hearing:
        found.append("hearing status unknown")
    if client.therapy is None:
        found.append("not stated when therapy starts")
    if client.consent is None:
        found.append("no consent on record")
    elif client.consent.withdrawn_on is not None:
        found.append("consent withdrawn")
    if client.held:
        found.append(f"on hold: {client.held}")
    months = client.retention.months
    since = last or client.added_on
    if months is not None and since is not None and (today - since).days > months * 30.4375:
        found.append(f"past the clinic's own time for keeping ({client.retention.text or f'{months} months'})")
    return found


def show_client(caseload: CaseloadHandle, code: str | None) -> dict[str, Any]:
    """Return all that is kept of a client but its tokens, the audit trail included."""
    return client_at_hand(caseload, code)[0]


def client_at_hand(caseload: CaseloadHandle, code: str | None) -> tuple[dict[str, Any], Case]:
    """Return what ``show_client`` gives, and the whole case it was taken from, read once."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        case = store.read_case(one, name)
        today = store.day_of(one)
        last = case.sessions[-1].on if case.sessions else None
        used(one, name)
        told = {
            **plain(case.client),
            "age": age_text(case.client.age_months_on(today)),
            "therapy": case.client.therapy.text if case.client.therapy is not None else "not stated",
            "events": [{"on": event.on.isoformat(), "text": event.text} for event in case.events],
            "sessions": [session.number for session in case.sessions],
            "reminders": reminders(case.client, last, today),
            "audit": [
                {
                    "at": entry.at.isoformat(timespec="seconds"),
                    "who": entry.who,
                    "did": entry.action,
                    "to": entry.detail,
                }
                for entry in store.audit_trail(one, name)
            ],
        }
        return told, case


def change_client(
    caseload: CaseloadHandle,
    code: str | None,
    fields: Mapping[str, Any],
    *,
    age: str | None = None,
    on: dt.date | None = None,
) -> Client:
    """Change fields of a client, or the age and the day it holds; each change is in the audit trail.

    Another method is kept with its day and with what was followed before it.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        today, revision = store.day_of(one), one.revision(name)
        before = store.get_client(one, name)
        wanted = checked(fields, before, today)
        if age is not None:
            wanted |= {"age_months": read_age(age), "age_on": day_known(one, on or today, "the age")}
        _days_known(one, replace(before, **wanted))
        choice = None
        if wanted.get("method", before.method) != before.method:
            choice = MethodChoice(today, wanted["method"], followed(store.read_case(one, name)).method)
        changed = store.change_client(one, name, wanted, choice=choice, made_on=revision)
        if changed.consent is not None and changed.consent.withdrawn_on is not None and not changed.held:
            erase_withdrawn(one, name)
        used(one, name)
        return changed


def treat_words(
    caseload: CaseloadHandle, code: str | None, words: tuple[str, ...], on: dt.date | None = None
) -> Client:
    """Mark words as treated from a day on: they leave the default score from then."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        day = day_known(one, on or store.day_of(one), "treated words")
        revision, before = one.revision(name), store.get_client(one, name).treated
        added = {word.casefold().strip(): day for word in words if word.strip()}
        return store.change_client(one, name, {"treated": {**added, **before}}, made_on=revision)


def hold_client(caseload: CaseloadHandle, code: str | None, reason: str) -> Client:
    """Block removal for a reason, or let go with an empty one."""
    return change_client(caseload, code, {"held": reason})


def add_event(caseload: CaseloadHandle, code: str | None, text: str, on: dt.date | None = None) -> tuple[str, Event]:
    """Keep a dated event; return the client it was kept for, which may be the one used last, and the event.

    Raises
    ------
    UsageError
        When the day has not come, or the client was not born yet.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        event = Event(on or store.day_of(one), text)
        day_known(one, event.on, "an event", store.get_client(one, name))
        store.add_event(one, name, event)
        used(one, name)
        return name, event


def list_events(caseload: CaseloadHandle, code: str | None) -> list[EventRow]:
    """Return one row an event, numbered as they were kept."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        kept = store.events_of(one, name)
        return [{"event": n, "on": e.on.isoformat(), "text": e.text} for n, e in enumerate(kept, start=1)]


def remove_event(caseload: CaseloadHandle, code: str | None, place: int) -> tuple[str, Event]:
    """Take out an event, such as one whose text names somebody; return whose it was, and the event."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        return name, store.remove_event(one, name, place)


def add_device(caseload: CaseloadHandle, device: Device) -> Device:
    """Register a microphone and place."""
    with opened(caseload, create=True) as one:
        registered = replace(device, added_on=device.added_on or store.day_of(one))
        store.add_device(one, registered)
        return registered


def list_devices(caseload: CaseloadHandle) -> list[DeviceRow]:
    """Return one row a device."""
    with opened(caseload) as one:
        return [
            {
                "name": device.name,
                "kind": device.kind,
                "place": device.place,
                "distance_cm": device.distance_cm,
                "response": device.response,
                "added_on": device.added_on.isoformat() if device.added_on is not None else None,
            }
            for device in store.devices(one)
        ]
