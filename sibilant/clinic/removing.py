"""Removal: into the bin for the clinic's own number of days, or erased at once; and what lies in the bin."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from .. import store
from ..errors import CaseloadError
from ..terms.clinic import Receipt
from .caseload import CaseloadHandle, client_or_last, opened, used
from .receipts import BinRow, BinWay, BroughtBack


def remove_client(
    caseload: CaseloadHandle, code: str, what: Literal["audio", "all"], *, erase: bool = False
) -> Receipt:
    """Put a client's sound or everything into the bin, or erase it at once; the receipt says which.

    It is erased where ``erase`` asks for it (a request for erasure), where consent was withdrawn, and where the clinic
    keeps no bin. What of a client lies in the bin already is then erased too.

    Raises
    ------
    RefusedError
        When the client is on hold.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        if erase and name not in store.codes(one) and (lies := store.entries(one, name)):
            return store.erase_binned(one, lies, name)
        if erase or _never_binned(one, name):
            return store.remove_client(one, name, what)
        return store.put_client(one, name, what, _until(one))


def remove_session(caseload: CaseloadHandle, code: str | None, number: int, *, erase: bool = False) -> Receipt:
    """Put a session into the bin, or erase it at once, as :func:`remove_client` does.

    Raises
    ------
    RefusedError
        When the client is on hold.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        lies = _in_bin(one, name, number)
        if erase and lies and number not in [session.number for session in store.sessions(one, name)]:
            return store.erase_binned(one, lies, name)
        if erase or _never_binned(one, name):
            return store.remove_session(one, name, number)
        return store.put_session(one, name, number, _until(one))


def _never_binned(one: store.Caseload, code: str) -> bool:
    """Say whether what is removed of a client is erased at once: consent was withdrawn, or there is no bin."""
    consent = store.get_client(one, code).consent
    return one.place.bin_days == 0 or (consent is not None and consent.withdrawn_on is not None)


def way_of(caseload: CaseloadHandle, code: str) -> BinWay:
    """Return how many days what is removed of a client lies in the bin, or why it is erased ``at_once``."""
    with opened(caseload) as one:
        days = one.place.bin_days
        why = "this clinic keeps no bin" if not days else "consent was withdrawn"
        return {"days": days, "at_once": why if _never_binned(one, code) else ""}


def _until(one: store.Caseload) -> dt.date:
    return store.day_of(one) + dt.timedelta(days=one.place.bin_days)


def _in_bin(one: store.Caseload, code: str, number: int | None) -> tuple[store.Entry, ...]:
    """What of a client lies in the bin: a session, or without a number what is no session; the latest first."""
    return tuple(entry for entry in store.entries(one, code) if entry.number == number)


def restore_client(caseload: CaseloadHandle, code: str) -> BroughtBack:
    """Bring back from the bin what was put there last of a client: everything, or the sound.

    Raises
    ------
    CaseloadError
        When nothing of the client lies there.
    RefusedError
        When the code, or one of the recordings, is kept again by now.
    """
    with opened(caseload) as one:
        return _brought_back(one, client_or_last(one, code), None)


def restore_session(caseload: CaseloadHandle, code: str | None, number: int) -> BroughtBack:
    """Bring a session back from the bin; under another number where its own is taken by now.

    Raises
    ------
    CaseloadError
        When it does not lie there.
    RefusedError
        When one of its recordings is kept again by now.
    """
    with opened(caseload) as one:
        return _brought_back(one, client_or_last(one, code), number)


def _brought_back(one: store.Caseload, name: str, number: int | None) -> BroughtBack:
    lies = _in_bin(one, name, number)
    if not lies:
        what = f"session {number} of {name}" if number is not None else name
        raise CaseloadError(f"{what}: not in the bin; sibilant client bin lists what is")
    now = store.bring_back(one, lies[0])
    used(one, name)
    return {"client": name, "brought_back": lies[0].told, "session": now}


def list_bin(caseload: CaseloadHandle) -> list[BinRow]:
    """Return one row for each thing in the bin, the latest first: whose, what, since and until when."""
    with opened(caseload) as one:
        return [
            {
                "client": entry.code,
                "what": entry.kind,
                "session": entry.number,
                "since": entry.since.date().isoformat(),
                "until": entry.until.isoformat(),
            }
            for entry in store.entries(one)
        ]


def erase_withdrawn(one: store.Caseload, code: str) -> None:
    """Erase what lies in the bin of a client whose consent was withdrawn, and tell the receipt through the log."""
    if lies := store.entries(one, code):
        store.say_erased(store.erase_binned(one, lies, code))
