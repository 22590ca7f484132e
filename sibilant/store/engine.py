"""Where a caseload's database lies, and how it is opened: SQLite in the folder, encrypted or not, or another by URL."""

from __future__ import annotations

import os
import sqlite3
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError
from .keys import Keys

PASSWORD_FROM = "SIBILANT_DATABASE_PASSWORD"
BUSY_MS = 20_000  # that a writer waits for another
FULL = ("disk i/o error", "disk is full")
"""How SQLite words that it found no room: for what it keeps beside the database, and for the database."""
MOST = {"lock_after_minutes": 1440, "bin_days": 3650}
"""Whole numbers of ``caseload.toml`` with their largest."""
SEALED_DATABASE = ".sealed"
SYNCHRONISED = (
    "dropbox",
    "onedrive",
    "google drive",
    "googledrive",
    "my drive",
    "icloud",
    "mobile documents",
    "nextcloud",
    "owncloud",
    "syncthing",
    "box sync",
    "pcloud",
)


@dataclass(frozen=True, slots=True)
class Place:
    """A caseload's folder and what ``caseload.toml`` says.

    A database URL (empty: SQLite), the ear-first switch, after how many minutes without use the passphrase is asked
    again (0: never), and how many days what is removed lies in the bin (0: there is none).
    """

    folder: Path
    url: str = ""
    ear_first: bool = True
    lock_after_minutes: int = 15
    bin_days: int = 30

    def database(self, *, encrypted: bool) -> Path | None:
        """Where the SQLite database lies, plain or encrypted; None where a URL names a database of another kind."""
        plain = self.folder / "caseload.sqlite"
        if self.url:
            url = _url(self.url)
            if url.get_backend_name() != "sqlite" or not url.database:
                return None
            plain = Path(url.database)
        return plain.with_suffix(SEALED_DATABASE) if encrypted else plain


def read_place(folder: Path) -> Place:
    """Read ``caseload.toml`` in a folder, if there is one.

    Raises
    ------
    CaseloadError
        When it can't be read, has unknown keys, or holds a password.
    """
    path = folder / "caseload.toml"
    if not path.exists():
        return Place(folder)
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise CaseloadError(f"caseload.toml: can't be read ({error}); correct it, or take it away") from error
    kinds: dict[str, type] = {"url": str, "ear_first": bool, **dict.fromkeys(MOST, int)}
    for key, value in content.items():
        if key not in kinds:
            raise CaseloadError(f"caseload.toml: unknown key {key}; known are {', '.join(kinds)}")
        if type(value) is not kinds[key]:
            raise CaseloadError(
                "caseload.toml: url is a text in quotes, ear_first is true or false, the others are whole numbers"
            )
        if key in MOST and isinstance(value, int) and not 0 <= value <= MOST[key]:
            raise CaseloadError(f"caseload.toml: {key} goes from 0 to {MOST[key]}")
    return Place(folder, **content)


def looks_synchronised(folder: Path) -> str:
    """Return the part of a path that looks synchronised to a cloud, empty when none does.

    Examples
    --------
    >>> looks_synchronised(Path("/home/me/Dropbox/caseload"))
    'Dropbox'
    """
    for part in folder.absolute().parts:
        if any(name in part.lower() for name in SYNCHRONISED):
            return part
    return ""


def make_engine(place: Place, keys: Keys | None = None) -> sa.Engine:
    """Return the engine of a caseload; nothing is opened yet. With keys its SQLite database is an encrypted one.

    Raises
    ------
    CaseloadError
        When the URL can't be understood or holds a password, or its driver is not installed.
    """
    if (path := place.database(encrypted=keys is not None)) is not None:
        return sqlite_engine(path, keys)
    url = _url(place.url)
    if url.get_backend_name() == "postgresql" and "+" not in url.drivername:
        url = url.set(drivername="postgresql+psycopg")
    if password := os.environ.get(PASSWORD_FROM):
        url = url.set(password=password)
    try:
        return sa.create_engine(url, pool_pre_ping=True)
    except (sa.exc.NoSuchModuleError, ImportError) as error:
        raise CaseloadError(
            f"caseload.toml: no driver for {url.drivername}; install sibilant[postgres] for PostgreSQL"
        ) from error


def _url(text: str) -> sa.URL:
    try:
        url = sa.make_url(text)
    except sa.exc.ArgumentError as error:
        raise CaseloadError("caseload.toml: the url can't be understood; see docs/caseload.md for examples") from error
    if url.password:
        raise CaseloadError(f"caseload.toml: a password stands in the url; take it out and set {PASSWORD_FROM}")
    return url


def sqlite_engine(path: Path, keys: Keys | None = None) -> sa.Engine:
    """Return the engine of a SQLite file, plain or (with keys) encrypted by SQLCipher.

    On a read-only medium it is read as it stands there. On a full disk what SQLite keeps beside it for several programs
    at work is held in memory, so that reading goes on, for one program at a time.

    Raises
    ------
    CaseloadError
        When it lies on a read-only medium and was not closed when it was copied there.
    """
    url = sa.URL.create("sqlite", database=str(path))
    still = is_read_only(path)
    if still and (log := path.with_name(f"{path.name}-wal")).exists() and log.stat().st_size:
        raise CaseloadError(
            f"caseload {path.parent.name}: on a read-only medium, and not closed when it was copied there; copy its"
            " folder to a disk that can be written, and read it there"
        )
    if keys is None:
        engine = sa.create_engine(url, creator=lambda: _opened(partial(_open_plain, path, still=still), still=still))
    else:
        from sqlcipher3 import dbapi2

        sealed = partial(open_sealed, path, keys, still=still)
        engine = sa.create_engine(url, module=dbapi2, creator=lambda: _opened(sealed, still=still))

    @sa.event.listens_for(engine, "connect")
    def _settings(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # transactions are begun below, not by the driver
        connection.text_factory = _text
        cursor = connection.cursor()
        for pragma in ("foreign_keys=ON", "secure_delete=ON"):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        writing = connection.get_execution_options().get("writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def is_read_only(path: Path) -> bool:
    """Say whether a file lies on a medium that can't be written."""
    return path.exists() and hasattr(os, "statvfs") and bool(os.statvfs(path).f_flag & os.ST_RDONLY)


def _address(path: Path, *, still: bool) -> str:
    """SQLite's address of a file; ``still``: nothing can change it, so nothing is looked for or kept beside it."""
    return f"{path.absolute().as_uri()}{'?mode=ro&immutable=1' if still else ''}"


def _opened(make: Callable[[], Any], *, still: bool) -> Any:
    """Open a connection that several programs can use at a time or, where the disk has no room for that, alone."""
    connection = make()
    connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
    if still:
        return connection
    try:
        _several(connection)
    except Exception as error:
        connection.close()
        if not any(sign in str(error).lower() for sign in FULL):
            raise
        connection = make()
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        connection.execute("PRAGMA locking_mode=EXCLUSIVE")
        _several(connection)
    return connection


def _several(connection: Any) -> None:
    try:
        connection.execute("PRAGMA journal_mode=WAL").fetchall()
        connection.execute("SELECT count(*) FROM sqlite_master").fetchall()
    except (UnicodeDecodeError, MemoryError) as error:
        # What SQLite says of a damaged schema quotes it, and that need not be text; of a page that it can't open
        # SQLCipher also says that there is no memory.
        raise connection.DatabaseError("database disk image is malformed") from error


def _open_plain(path: Path, *, still: bool) -> sqlite3.Connection:
    return sqlite3.connect(_address(path, still=still), uri=True, check_same_thread=False)


def _text(content: bytes) -> str:
    """Return a text cell; one that is damaged is handed on, for the row's checksum to notice, instead of failing."""
    return content.decode("utf-8", "surrogateescape")


def open_sealed(path: Path, keys: Keys, *, still: bool = False) -> Any:
    """Open an encrypted SQLite file: the raw key goes to SQLCipher alone, which writes nothing to the terminal."""
    from sqlcipher3 import dbapi2

    connection = dbapi2.connect(_address(path, still=still), uri=True, check_same_thread=False)
    for pragma in ("cipher_log_level = NONE", f'key = "{raw_key(keys)}"', "temp_store = MEMORY"):
        connection.execute(f"PRAGMA {pragma}")
    return connection


def raw_key(keys: Keys) -> str:
    """Return the database's key as SQLCipher takes a raw key."""
    return f"x'{keys.database.hex()}'"
