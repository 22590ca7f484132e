"""An open caseload: its folder, its database, who works in it; every change leaves a line in the audit trail."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType

import sqlalchemy as sa

from ..errors import CaseloadError, NoRoomError, RefusedError
from . import clips, leftovers, rights
from .checksums import SEALED, seal, sealing_rows
from .engine import FULL, Place, is_read_only, make_engine, read_place
from .keys import (
    KEY_FILE,
    Keys,
    identity_of,
    is_encrypted,
    need_extra,
    passphrase_from_environment,
    read_key_file,
    subkeys,
    unwrap,
)
from .migrate import bring_up, format_of
from .schema import AUDIT, FORMAT, SETTINGS

Clock = Callable[[], dt.datetime]
Ask = Callable[[], str]


def now() -> dt.datetime:
    """Return the present moment in UTC."""
    return dt.datetime.now(dt.UTC)


class Caseload:
    """An open caseload. Read with :meth:`read`; change with :meth:`change`, which names what is done and to what."""

    def __init__(self, place: Place, engine: sa.Engine, *, who: str, clock: Clock, keys: Keys | None = None) -> None:
        self.place, self.engine, self.who, self.clock, self.keys = place, engine, who, clock, keys

    @property
    def folder(self) -> Path:
        """The caseload's folder."""
        return self.place.folder

    @property
    def encrypted(self) -> bool:
        """Whether it is encrypted: its sound always, its records where they are SQLite's."""
        return self.keys is not None

    def refuse_other_form(self) -> None:
        """Refuse to go on with a caseload that was encrypted, decrypted or exchanged since it was opened.

        Raises
        ------
        CaseloadError
            Asks to do it again.
        """
        if identity_of(self.folder) != (self.keys.identity if self.keys is not None else ""):
            raise CaseloadError(
                f"caseload {self.folder.name}: it was encrypted or decrypted meanwhile; nothing was kept, do it again"
            )

    @contextlib.contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """One consistent look at the database."""
        self.refuse_other_form()
        with self._worded(), self.engine.connect() as connection:
            yield connection

    @contextlib.contextmanager
    def change(self, action: str, subject: str, detail: str = "") -> Iterator[sa.Connection]:
        """One change, whole or not at all, with its line in the audit trail.

        Raises
        ------
        RefusedError
            When it would keep the same thing twice.
        CaseloadError
            When the database can't be reached or written.
        """
        with self._worded(), self.engine.execution_options(writing=True).begin() as connection:
            self.refuse_other_form()
            with sealing_rows(connection):
                yield connection
                self.note(connection, action, subject, detail)

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


def open_caseload(
    folder: Path, *, who: str = "", create: bool = True, clock: Clock = now, ask: Ask = passphrase_from_environment
) -> Caseload:
    """Open the caseload in a folder, making or bringing it up to this program's format where needed.

    Parameters
    ----------
    folder : Path
        Where it lies; ``caseload.toml`` in it may name a database by URL.
    who : str
        Code of the person at work, for the audit trail.
    create : bool
        Whether a caseload is made where there is none.
    clock : callable
        Returns the present moment; tests give their own.
    ask : callable
        Returns the passphrase; called only where the caseload is encrypted. Default: from the environment.

    Returns
    -------
    Caseload
        Open, at this program's format; close it, or use it in a ``with``.

    Raises
    ------
    CaseloadError
        When there is none and none is to be made, it is newer than this program, locked, damaged, or unwritable, or
        encrypted and the passphrase is missing or not the one.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, open_caseload(Path(folder) / "caseload") as caseload:
    ...     caseload.setting("format"), caseload.encrypted
    ('3', False)
    """
    place = read_place(folder)
    _check_place(place, create=create)
    keys = unlock(place, ask) if is_encrypted(folder) else None
    if create and not folder.exists():
        rights.private_folder(folder)
    rights.close_caseload(place)
    database = place.database(encrypted=keys is not None)
    if database is not None and not database.exists() and database.parent.is_dir():
        rights.make_private(database)  # SQLite would make it by the umask, and what stands beside it like it
    caseload = Caseload(place, make_engine(place, keys), who=who or "not stated", clock=clock, keys=keys)
    with contextlib.ExitStack() as until_ready:
        until_ready.callback(caseload.close)
        with caseload._worded():
            _bring_up(caseload)
        if not is_read_only(folder):
            clips.finish(caseload)
            leftovers.sweep(caseload)
        until_ready.pop_all()
    return caseload


def unlock(place: Place, ask: Ask) -> Keys:
    """Return the sub-keys of an encrypted caseload.

    Raises
    ------
    CaseloadError
        When the extra is not installed, ``key.json`` is damaged or newer, the passphrase is missing or not the one, or
        ``caseload.toml`` leads encrypted records to another database.
    """
    kept = read_key_file(place.folder)
    if kept.records_too != (place.database(encrypted=True) is not None):
        raise CaseloadError(
            f"caseload {place.folder.name}: caseload.toml names another kind of database than it was encrypted with;"
            " put its url back as it was, or decrypt before you change it"
        )
    need_extra()
    return subkeys(unwrap(kept, ask()))


def _check_place(place: Place, *, create: bool) -> None:
    """Refuse where there is no caseload and none is to be made, or where a part of an encrypted one is missing."""
    plain, sealed = (place.database(encrypted=encrypted) for encrypted in (False, True))
    if plain is None or sealed is None:
        return
    name = place.folder.name
    if is_encrypted(place.folder):
        if not sealed.exists():
            raise CaseloadError(f"{name}: encrypted, but {sealed.name} is missing; put it back from a backup")
    elif sealed.exists() and not plain.exists():
        raise CaseloadError(
            f"{name}: encrypted, but {KEY_FILE} is missing; put it back from a backup, or: sibilant caseload passphrase"
            " --recover"
        )
    elif not create and not place.url and not plain.exists():
        raise CaseloadError(
            f"{name}: no caseload here; start one with: sibilant client add (or name its folder by --caseload)"
        )


def _bring_up(caseload: Caseload) -> None:
    with caseload.engine.connect() as connection:
        ready = format_of(connection) == FORMAT
    if ready:
        return
    with caseload.engine.execution_options(writing=True).begin() as connection:
        bring_up(connection)
        for table in SEALED:
            seal(connection, table, fresh=False)
        connection.execute(SETTINGS.delete().where(SETTINGS.c.key == "format"))
        connection.execute(SETTINGS.insert().values(key="format", value=str(FORMAT)))


def _first(error: Exception) -> str:
    return str(getattr(error, "orig", error)).splitlines()[0][:120]


NO_ROOM = "the disk is full (or fails); make room and do it again: the last state is kept; reading and removing work"


def _worded(folder: Path, error: Exception) -> str:
    text = _first(error)
    low = text.lower()
    for sign, words in (
        ("full", NO_ROOM),
        ("disk i/o", NO_ROOM),
        ("readonly", "it can be read, but not written (read-only); copy it to a folder that you may write in"),
        ("unable to open", "it can't be opened or written; choose a folder that exists and that you may write in"),
        ("locked", "another program holds it; close that and try again"),
        ("malformed", "its file is damaged; put a backup in its place"),
        ("not a database", "its file is damaged or is none, or under another key; put a backup in its place"),
        ("password authentication", "the database refused the password; set SIBILANT_DATABASE_PASSWORD"),
        ("connection", "the database of its url can't be reached; start it, or correct caseload.toml"),
    ):
        if sign in low:
            return f"caseload {folder.name}: {words}"
    return f"caseload {folder.name}: the database answered: {text}"
