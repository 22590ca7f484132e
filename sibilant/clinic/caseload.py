"""Where the caseload lies, what is warned of, and what was used last."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from .. import methods, store
from ..errors import CaseloadError, MethodError, UsageError
from ..terms import Method
from ..terms.clinic import Client, is_client_code
from .reminders import reminders

UNENCRYPTED = (
    "the caseload is not encrypted (sibilant caseload encrypt does it): keep invented data in it, or keep its folder"
    " on an encrypted disk, only; treat every recording as identifying"
)
RECORDS_ELSEWHERE = (
    "the sound is encrypted, the records lie in the database of caseload.toml's url: their protection is its operator's"
)
NO_CLOUD = (
    "the caseload's folder looks synchronised to a cloud ({part}); move it to a folder that stays on this machine"
)


def folder_of(option: Path | None = None) -> Path:
    """Return the caseload's folder: as asked, or ``SIBILANT_CASELOAD``, or the user's data folder."""
    if option is not None:
        return option
    if named := os.environ.get("SIBILANT_CASELOAD"):
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("sibilant", appauthor=False) / "caseload"


@contextlib.contextmanager
def opened(option: Path | None = None, *, who: str = "", create: bool = False) -> Iterator[store.Caseload]:
    """Open the caseload; ``who`` falls back to ``SIBILANT_WHO`` for the audit trail."""
    person = who or os.environ.get("SIBILANT_WHO", "")
    folder = folder_of(option)
    with store.open_caseload(
        folder, who=person, create=create, ask=lambda: passphrase_for(folder), known=_known_method
    ) as caseload:
        yield caseload


def _known_method(label: str) -> Method | None:
    try:
        return methods.get_method(label)
    except MethodError:
        return None


def passphrase_for(folder: Path) -> str:
    """Return the passphrase of an encrypted caseload, from ``SIBILANT_PASSPHRASE`` or asked once in the terminal."""
    return os.environ.get(store.PASSPHRASE_FROM) or _asked_once(folder.absolute())


@lru_cache(maxsize=4)
def _asked_once(folder: Path) -> str:
    """Ask for a caseload's passphrase; a process asks once, however often it opens the caseload."""
    return secret(store.PASSPHRASE_FROM, f"passphrase of caseload {folder.name}")


def secret(variable: str, words: str, *, twice: bool = False) -> str:
    """Return a secret: from an environment variable, or asked in the terminal without showing it; never an argument.

    Raises
    ------
    CaseloadError
        When the variable is not set and nobody is there to be asked, or two answers differ.
    """
    if given := os.environ.get(variable):
        return given
    if not (sys.stdin and sys.stdin.isatty()):
        raise CaseloadError(f"{words}: needed, and nobody to ask; set {variable}, or work in a terminal")
    import getpass

    first = getpass.getpass(f"{words}: ")
    if twice and getpass.getpass("the same again: ") != first:
        raise CaseloadError(f"{words}: the two differ; nothing was changed, do it again")
    return first


def cautions(folder: Path) -> tuple[str, ...]:
    """Return what must be said when sound or clients are put into a caseload."""
    if not store.is_encrypted(folder):
        return (UNENCRYPTED, *cloud_cautions(folder), *reminders(folder))
    elsewhere = store.read_place(folder).database(encrypted=True) is None
    return (*((RECORDS_ELSEWHERE,) if elsewhere else ()), *cloud_cautions(folder), *reminders(folder))


def cloud_cautions(folder: Path) -> tuple[str, ...]:
    """Return what must be said of a folder that looks synchronised to a cloud."""
    part = store.looks_synchronised(folder)
    return (NO_CLOUD.format(part=part),) if part else ()


def client_or_last(caseload: store.Caseload, code: str | None) -> str:
    """Return the code asked for, in capitals, or the one used last.

    Raises
    ------
    UsageError
        When none is asked for and none was used, or the code can't be one.
    """
    if not code:
        last = caseload.setting("last_client")
        if not is_client_code(last):
            raise UsageError("no client named and none used before; name one, as in C-7QXK")
        return last
    if not is_client_code(code):
        raise UsageError(
            f"{code[:20]}: not a client code (C- and four letters, the last one a check); look it up again"
        )
    return code.upper()


def session_or_last(caseload: store.Caseload, code: str, number: int | None) -> int:
    """Return the session asked for, or the one used last for this client, or the client's latest.

    Raises
    ------
    UsageError
        When the client has no session yet.
    CaseloadError
        When there is none of that number.
    """
    kept = [session.number for session in store.sessions(caseload, code)]
    if not kept:
        raise UsageError(f"{code}: no session yet; sibilant probe {code} RECORDING keeps one")
    if number is not None and number not in kept:
        raise CaseloadError(f"{code}: no session {number}; there are: {', '.join(map(str, kept))}")
    if number is not None:
        return number
    last = caseload.setting("last_session")
    same = caseload.setting("last_client") == code
    return int(last) if same and last.isdigit() and int(last) in kept else kept[-1]


def day_or_last(caseload: store.Caseload, day: dt.date | None) -> dt.date:
    """Return the day asked for, or today; a day used last stands only while it is today's work.

    The last day given is kept for the same calendar day, so that a pile of earlier recordings need not name it twice.
    """
    if day is not None:
        return day
    last, given_on = caseload.setting("last_day"), caseload.setting("last_day_given_on")
    today = store.day_of(caseload)
    if not last or given_on != today.isoformat():
        return today
    with contextlib.suppress(ValueError):
        return dt.date.fromisoformat(last)
    return today


def day_known(caseload: store.Caseload, day: dt.date, what: str, client: Client | None = None) -> dt.date:
    """Return a day after checking that it has come and, for a client, does not lie before birth.

    Raises
    ------
    UsageError
        When it lies after today by the caseload's clock, or before the client was born by the age on record.
    """
    today = store.day_of(caseload)
    if day > today:
        raise UsageError(f"{what} on {day}: later than today ({today}); give the day it was")
    if client is not None and client.age_months_on(day) < 0:
        age = f"{client.age_months // 12}y{client.age_months % 12}m on {client.age_on}"
        raise UsageError(f"{what} on {day}: {client.code} was not born yet (age {age}); correct the day or the age")
    return day


def used(caseload: store.Caseload, code: str, number: int | None = None, day: dt.date | None = None) -> None:
    """Remember what was used, as the next command's defaults."""
    values = {"last_client": code}
    if number is not None:
        values["last_session"] = str(number)
    if day is not None:
        values |= {"last_day": day.isoformat(), "last_day_given_on": store.day_of(caseload).isoformat()}
    store.remember(caseload, values)
