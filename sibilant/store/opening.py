"""A caseload is opened: its key had, its tables brought up to date, what a killed program left finished."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from ..errors import CaseloadError, NoRoomError
from . import clips, leftovers, owning, removal, rights, tally
from .caseload import Ask, Caseload, Clock, Known, no_method, now
from .checksums import SEALED, seal
from .engine import Place, is_read_only, make_engine, read_place
from .keys import (
    KEY_FILE,
    Keys,
    is_encrypted,
    need_extra,
    passphrase_from_environment,
    read_key_file,
    subkeys,
    unwrap,
)
from .migrate import bring_up, format_of
from .schema import FORMAT, SETTINGS
from .switching import finish_rekeying, finish_restoring

SHORTER = 10
"""The format whose rows are a third as long as before."""


def open_caseload(
    folder: Path,
    *,
    who: str = "",
    create: bool = True,
    clock: Clock = now,
    ask: Ask = passphrase_from_environment,
    known: Known = no_method,
    accept_mixed: bool = False,
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
    known : callable
        Returns the program's own method of a label, or None; it stands in for a damaged definition.
    accept_mixed : bool
        Whether an encrypted caseload whose parts are of different times is taken as it is.

    Returns
    -------
    Caseload
        Open, at this program's format; close it, or use it in a ``with``.

    Raises
    ------
    CaseloadError
        When there is none and none is to be made, it is newer than this program, locked, damaged, or unwritable, or
        encrypted and the passphrase is missing or not the one, or its parts are of different times.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, open_caseload(Path(folder) / "caseload") as caseload:
    ...     caseload.setting("format").isdecimal(), caseload.encrypted
    (True, False)
    """
    finish_restoring(folder)
    finish_rekeying(folder)
    place = read_place(folder)
    _check_place(place, create=create)
    keys = unlock(place, ask) if is_encrypted(folder) else None
    if create and not folder.exists():
        rights.private_folder(folder)
    rights.close_caseload(place)
    database = place.database(encrypted=keys is not None)
    if database is not None and not database.exists() and database.parent.is_dir():
        rights.make_private(database)  # SQLite would make it by the umask, and what stands beside it like it
    caseload = Caseload(place, make_engine(place, keys), who=who or "not stated", clock=clock, keys=keys, known=known)
    with contextlib.ExitStack() as until_ready:
        until_ready.callback(caseload.close)
        with caseload._worded():
            _bring_up(caseload)
            _look_at_tally(caseload, accept=accept_mixed)
        caseload.stands = caseload.standing()
        if not is_read_only(folder):
            clips.finish(caseload)
            leftovers.sweep(caseload)
            removal.sweep_bin(caseload)
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
    no_core_dumps()
    return subkeys(unwrap(kept, ask()))


def no_core_dumps() -> None:
    """Have a crash of this process leave no picture of its memory, keys and passphrase in it, on the disk."""
    try:
        import resource
    except ImportError:  # a system without such limits
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


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
        before = format_of(connection)
    if before == FORMAT:
        return
    with _age_told(caseload), caseload.engine.execution_options(writing=True).begin() as connection:
        bring_up(connection)
        for table in SEALED:
            seal(connection, table, fresh=False)
        owning.renew_all(connection)
        connection.execute(SETTINGS.delete().where(SETTINGS.c.key == "format"))
        connection.execute(SETTINGS.insert().values(key="format", value=str(FORMAT)))
        if caseload.tallied:
            tally.erase(connection)
            tally.write(connection)
    if 0 < before < SHORTER and caseload.engine.dialect.name == "sqlite":
        _give_back(caseload)


@contextlib.contextmanager
def _age_told(caseload: Caseload) -> Iterator[None]:
    """Where there is no room, say that it is wanted for an older form: reading works only once that is brought up."""
    try:
        with caseload._worded():
            yield
    except NoRoomError as error:
        raise NoRoomError(
            f"caseload {caseload.folder.name}: kept by an earlier version, and to be read by this one it is written"
            " anew, but its disk is full or read-only; make room, or copy its folder to where there is room: nothing"
            " was changed"
        ) from error


def _give_back(caseload: Caseload) -> None:
    """Give the disk back the room that rows no longer need; where there is none to write the file anew, it stays."""
    with contextlib.suppress(NoRoomError), caseload._worded(), caseload.engine.connect() as connection:
        connection.rollback()
        raw = connection.connection.cursor()
        raw.execute("VACUUM")
        raw.close()


def _look_at_tally(caseload: Caseload, *, accept: bool) -> None:
    path = caseload.database
    if not caseload.tallied or path is None:
        return
    if accept:
        with caseload.engine.execution_options(writing=True).begin() as connection:
            owning.renew_all(connection)
            tally.erase(connection)
            tally.write(connection)
        return
    with caseload.engine.connect() as connection:
        tally.refuse_mixed(connection, path)
