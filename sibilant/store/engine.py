"""Where a caseload's database lies, and how it is opened: SQLite in the folder, or another by URL."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from ..errors import CaseloadError

PASSWORD_FROM = "SIBILANT_DATABASE_PASSWORD"
BUSY_MS = 20_000
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
    """A caseload's folder and what ``caseload.toml`` says: a database URL (empty: SQLite), and the ear-first switch."""

    folder: Path
    url: str = ""
    ear_first: bool = True


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
    unknown = content.keys() - {"url", "ear_first"}
    if unknown:
        raise CaseloadError(f"caseload.toml: unknown key {min(unknown)}; known are url and ear_first")
    url, ear_first = content.get("url", ""), content.get("ear_first", True)
    if not isinstance(url, str) or not isinstance(ear_first, bool):
        raise CaseloadError("caseload.toml: url is a text in quotes, ear_first is true or false")
    return Place(folder, url, ear_first)


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


def make_engine(place: Place) -> sa.Engine:
    """Return the engine of a caseload; nothing is opened yet.

    Raises
    ------
    CaseloadError
        When the URL can't be understood or holds a password, or its driver is not installed.
    """
    if not place.url:
        return _sqlite(place.folder / "caseload.sqlite")
    try:
        url = sa.make_url(place.url)
    except sa.exc.ArgumentError as error:
        raise CaseloadError("caseload.toml: the url can't be understood; see docs/caseload.md for examples") from error
    if url.password:
        raise CaseloadError(f"caseload.toml: a password stands in the url; take it out and set {PASSWORD_FROM}")
    if url.get_backend_name() == "sqlite" and url.database:
        return _sqlite(Path(url.database))
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


def _sqlite(path: Path) -> sa.Engine:
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)))

    @sa.event.listens_for(engine, "connect")
    def _settings(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # transactions are begun below, not by the driver
        cursor = connection.cursor()
        for pragma in (f"busy_timeout={BUSY_MS}", "journal_mode=WAL", "foreign_keys=ON", "secure_delete=ON"):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        writing = connection.get_execution_options().get("writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine
