"""An open caseload: its folder, its database, who works in it; every change leaves a line in the audit trail."""

from __future__ import annotations

import contextlib
import datetime as dt
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType

import sqlalchemy as sa

from ..errors import CaseloadError, NoRoomError, RefusedError
from ..terms import Method
from . import owning, tally
from .checksums import sealing_rows
from .engine import FULL, Place
from .keys import (
    Keys,
    identity_of,
)
from .schema import AUDIT, SETTINGS

Known = Callable[[str], Method | None]
Clock = Callable[[], dt.datetime]
Ask = Callable[[], str]


def now() -> dt.datetime:
    """Return the present moment in UTC."""
    return dt.datetime.now(dt.UTC)


def no_method(_label: str) -> Method | None:
    """Know no method."""
    return None


class Caseload:
    """An open caseload. Read with :meth:`read`; change with :meth:`change`, which names what is done and to what."""

    def __init__(
        self,
        place: Place,
        engine: sa.Engine,
        *,
        who: str,
        clock: Clock,
        keys: Keys | None = None,
        known: Known = no_method,
    ) -> None:
        self.place, self.engine, self.who, self.clock, self.keys = place, engine, who, clock, keys
        self.known = known
        self.stands: tuple[int, int] | None = None

    @property
    def folder(self) -> Path:
        """The caseload's folder."""
        return self.place.folder

    @property
    def encrypted(self) -> bool:
        """Whether it is encrypted: its sound always, its records where they are SQLite's."""
        return self.keys is not None

    @property
    def tallied(self) -> bool:
        """Whether a tally guards its records: where they are SQLite's and encrypted."""
        return self.encrypted and self.engine.dialect.name == "sqlite"

    @property
    def database(self) -> Path | None:
        """Where its SQLite database lies; None where a database of another kind keeps the records."""
        return self.place.database(encrypted=self.encrypted)

    def standing(self) -> tuple[int, int] | None:
        """Which file its SQLite database is just now; None where there is none."""
        path = self.database
        try:
            found = path.stat() if path is not None else None
        except OSError:
            return None
        return (found.st_dev, found.st_ino) if found is not None else None

    def refuse_other_form(self) -> None:
        """Refuse to go on with a caseload that was encrypted, decrypted, restored or exchanged since it was opened.

        Raises
        ------
        CaseloadError
            Asks to do it again.
        """
        if identity_of(self.folder) != (self.keys.identity if self.keys is not None else ""):
            raise CaseloadError(
                f"caseload {self.folder.name}: it was encrypted or decrypted meanwhile; nothing was kept, do it again"
            )
        if self.stands is not None and self.standing() != self.stands:
            raise CaseloadError(
                f"caseload {self.folder.name}: another stands in its place since it was opened; nothing was kept, do it"
                " again"
            )

    @contextlib.contextmanager
    def read(self, *codes: str, everybody: bool = False) -> Iterator[sa.Connection]:
        """One consistent look at the database.

        In an encrypted caseload the rows of the clients named, or of all, are held against their digests before; that
        what belongs to the caseload itself is of one time was seen when it was opened.

        Raises
        ------
        CaseloadError
            When those rows are of different times.
        """
        self.refuse_other_form()
        with self._worded(), self.engine.connect() as connection:
            if self.tallied and everybody:
                tally.refuse_all_mixed(connection, self.database)
            elif self.tallied:
                tally.refuse_mixed_of(connection, self.database, codes)
            yield connection

    def revision(self, subject: str) -> int:
        """Return which revision of a client is current; a change made on it can then be told from a stale one."""
        with self.read(subject) as connection:
            return revision_in(connection, subject)

    @contextlib.contextmanager
    def change(
        self, action: str, subject: str, detail: str = "", *, made_on: int | None = None, also: str = ""
    ) -> Iterator[sa.Connection]:
        """One change, whole or not at all, with its line in the audit trail.

        ``made_on`` is the revision of the client that the change was made on, where it was made on one; ``also`` is
        another client whose rows it changes.

        Raises
        ------
        RefusedError
            When it would keep the same thing twice, or what it was made on was changed meanwhile.
        CaseloadError
            When the database can't be reached or written.
        """
        with self._worded(), self.engine.execution_options(writing=True).begin() as connection:
            self.refuse_other_form()
            if made_on is not None:
                _refuse_stale(connection, action, subject, made_on)
            with self.sealing(connection, subject, also):
                yield connection
                self.note(connection, action, subject, detail)

    @contextlib.contextmanager
    def sealing(self, connection: sa.Connection, *codes: str) -> Iterator[None]:
        """Give checksums to the rows that are changed inside, and bring up the digests of these clients and the tally.

        A digest that did not fit before is left as it is, so that what is missing is told until a backup mends it.
        """
        if self.tallied:
            tally.refuse_mixed_of(connection, self.database, codes)
        whole = [code for code in codes if self.tallied or not owning.misfit(connection, code)]
        with sealing_rows(connection) as touched:
            yield
        owning.renew(connection, whole)
        if self.tallied:
            tally.write(connection, touched)

    def note(self, connection: sa.Connection, action: str, subject: str, detail: str = "") -> None:
        """Write a line of the audit trail."""
        entry = {"at": self.clock(), "who": self.who, "action": action, "subject": subject, "detail": detail}
        connection.execute(AUDIT.insert().values(entry))

    @contextlib.contextmanager
    def _worded(self) -> Iterator[None]:
        """Turn the database's errors into one line with the way out."""
        try:
            yield
        except sa.exc.IntegrityError as error:
            raise RefusedError(
                f"the caseload refused to keep the same thing twice, or one that hangs on nothing ({_first(error)})"
            ) from error
        except UnicodeEncodeError as error:
            raise RefusedError("a text holds half a character, which can't be kept; write it again") from error
        except sa.exc.SQLAlchemyError as error:
            low = _first(error).lower()
            kind = NoRoomError if any(sign in low for sign in (*FULL, "readonly")) else CaseloadError
            raise kind(_worded(self.folder, error)) from error

    def setting(self, key: str) -> str:
        """Return a setting, empty when not set."""
        with self.read() as connection:
            found = connection.execute(sa.select(SETTINGS.c.value).where(SETTINGS.c.key == key)).scalar()
        return found or ""

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Caseload:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


SESSIONS_ANEW = frozenset({"session moved", "session removed", "put into the bin", "brought back from the bin"})
STALE_AFTER = {
    "judged": SESSIONS_ANEW,
    "reviewed": SESSIONS_ANEW | {"reviewed"},
    "measured again": SESSIONS_ANEW | {"reviewed", "measured again"},
    "client changed": frozenset({"client changed"}),
}
"""What another person may have done meanwhile that a change can't stand on; anything, where the change is not here."""


def revision_in(connection: sa.Connection, subject: str) -> int:
    """Return the number of the last line that the audit trail holds of a client: each change leaves one."""
    return int(connection.execute(sa.select(sa.func.max(AUDIT.c.id)).where(AUDIT.c.subject == subject)).scalar() or 0)


def _refuse_stale(connection: sa.Connection, action: str, subject: str, made_on: int) -> None:
    """Refuse a change that was made on a revision which another change has overtaken."""
    query = sa.select(AUDIT.c.action, AUDIT.c.who).where(AUDIT.c.subject == subject, AUDIT.c.id > made_on)
    for done, who in connection.execute(query.order_by(AUDIT.c.id)):
        if action not in STALE_AFTER or done in STALE_AFTER[action]:
            raise RefusedError(
                f"{subject}: {done} meanwhile (by {who}), after this was looked at; nothing was kept, look at it again"
            )


def _first(error: Exception) -> str:
    return str(getattr(error, "orig", error)).splitlines()[0][:120]


NO_ROOM = (
    "the disk is full (or fails); make room and do it again: the last state is kept; reading works, and so does"
    " removing with --erase"
)


SHARED_BYTES = 1 << 16
"""What SQLite needs beside the file, so that several can use it at a time, with room."""


def _worded(folder: Path, error: Exception) -> str:
    text = _first(error)
    low = text.lower()
    if "locked" in low and shutil.disk_usage(folder).free < SHARED_BYTES:
        low = "full"  # where there is no room for what several share, each holds the file alone
    for sign, words in (
        ("full", NO_ROOM),
        ("disk i/o", NO_ROOM),
        ("readonly", "it can be read, but not written (read-only); copy it to a folder that you may write in"),
        ("unable to open", "it can't be opened or written; choose a folder that exists and that you may write in"),
        ("locked", "another program holds it; close that and try again"),
        ("malformed", "its file is damaged; put a backup in its place"),
        ("sql logic error", "its file is damaged; put a backup in its place"),  # what SQLCipher says of a page
        ("not a database", "its file is damaged or is none, or under another key; put a backup in its place"),
        ("password authentication", "the database refused the password; set SIBILANT_DATABASE_PASSWORD"),
        ("connection", "the database of its url can't be reached; start it, or correct caseload.toml"),
    ):
        if sign in low:
            return f"caseload {folder.name}: {words}"
    return f"caseload {folder.name}: the database answered: {text}"
