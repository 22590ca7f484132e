"""Where the caseload lies, what is warned of, and what was used last."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from .. import methods, ranges, store
from ..errors import CaseloadError, MethodError, UsageError
from ..terms import Method
from ..terms.clinic import Client
from ..terms.codes import is_client_code
from ..terms.reference import ReferenceRange
from .holding import Held
from .reminders import reminders

OWN_RANGES = "ranges.csv"

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


@dataclass(frozen=True, slots=True)
class CaseloadHandle:
    """The caseload as a door opens it and hands it on: the only way to all that is kept.

    It knows the place, the clock, who works in it (empty: ``SIBILANT_WHO``), and the way to its key, defaults and the
    user's own ranges. It holds nothing that another program may change: each step looks again, so that one kept for
    hours, as the page keeps it, sees a caseload encrypted, a session moved and a range added meanwhile.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     caseload = CaseloadHandle(Path(folder) / "caseload")
    ...     with caseload.opened(create=True) as one:
    ...         one.encrypted, caseload.ranges()
    (False, ())
    """

    folder: Path
    who: str = ""
    clock: store.Clock = store.now
    held: Held = field(default_factory=lambda: Held(_asked), repr=False, compare=False)

    @contextlib.contextmanager
    def opened(self, *, who: str = "", create: bool = False) -> Iterator[store.Caseload]:
        """Open it for one step; ``who`` stands in the audit trail for the person of the handle.

        Raises
        ------
        CaseloadError
            When there is none and none is to be made, or it can't be opened.
        """
        person = who or self.who or os.environ.get("SIBILANT_WHO", "")
        with store.open_caseload(
            self.folder,
            who=person,
            create=create,
            clock=self.clock,
            ask=self.passphrase,
            known=_known_method,
        ) as one:
            yield one

    def passphrase(self) -> str:
        """Return its passphrase: from ``SIBILANT_PASSPHRASE``, or asked in the terminal once, and again after idling.

        Raises
        ------
        CaseloadError
            When nobody is there to be asked, or the page that holds it is locked.
        """
        return self.held.passphrase(self.folder, self.idle_s())

    def idle_s(self) -> float:
        """Return after how many seconds without use the passphrase is forgotten; 0 where never."""
        return 60.0 * store.read_place(self.folder).lock_after_minutes

    def today(self) -> dt.date:
        """Today by its clock, where this machine is."""
        return self.clock().astimezone().date()

    def ranges(self) -> tuple[ReferenceRange, ...]:
        """Return the user's own ranges kept with it, as they stand now.

        Raises
        ------
        ListError
            When their file can't be read.
        """
        kept = self.folder / OWN_RANGES
        return ranges.read_own_ranges(kept) if kept.is_file() else ()


def usual_folder(folder: Path | None = None) -> Path:
    """Return the caseload's folder: the one given, else ``SIBILANT_CASELOAD``, else one in the user's data folder."""
    if folder is not None:
        return folder
    if named := os.environ.get("SIBILANT_CASELOAD"):
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("sibilant", appauthor=False) / "caseload"


def opened(
    caseload: CaseloadHandle, *, who: str = "", create: bool = False
) -> contextlib.AbstractContextManager[store.Caseload]:
    """Open a caseload for one step (see ``CaseloadHandle.opened``)."""
    return caseload.opened(who=who, create=create)


def _known_method(label: str) -> Method | None:
    try:
        return methods.get_method(label)
    except MethodError:
        return None


def _asked(folder: Path) -> str:
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
        return (UNENCRYPTED, *cloud_cautions(folder), *map(str, reminders(folder)))
    elsewhere = store.read_place(folder).database(encrypted=True) is None
    return (*((RECORDS_ELSEWHERE,) if elsewhere else ()), *cloud_cautions(folder), *map(str, reminders(folder)))


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
    return int(last) if same and last.isdecimal() and int(last) in kept else kept[-1]


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
