"""A caseload is its owner's alone: folders 0700 and files 0600, whatever they were before and whatever the umask."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from ..errors import CaseloadError
from ..files import make_folder, output_error
from .engine import Place
from .keys import KEY_FILE

OTHERS = 0o077  # all rights of group and others
OWN_FOLDERS = ("audio", "takes", "bin")
SIDES = ("", "-wal", "-shm", "-journal")


def private_folder(path: Path) -> Path:
    """Make a folder where there is none, and close it to others."""
    make_folder(path)
    close(path)
    return path


def close(path: Path) -> None:
    """Take a file or folder from everybody but its owner; one on a read-only medium stays as it is.

    Raises
    ------
    CaseloadError
        When others can get at it and it is not this user's to close.
    """
    if os.name != "posix":
        return
    try:
        if (mode := path.stat().st_mode) & OTHERS:
            path.chmod(mode & 0o7777 & ~OTHERS)
    except FileNotFoundError:  # or it went just now, as what SQLite keeps beside its file does
        return
    except OSError as error:
        if error.errno == errno.EROFS:
            return
        raise CaseloadError(
            f"{path.name}: others on this machine can get at it, and it is not yours to close; have its owner take"
            " their rights away (chmod -R go= on the caseload's folder), or use a folder of your own"
        ) from error


def close_caseload(place: Place) -> None:
    """Close what belongs to a caseload, and its folder too where nothing else lies in it.

    Raises
    ------
    CaseloadError
        When others can get at it and it is not this user's to close.
    """
    for name in OWN_FOLDERS:
        close(place.folder / name)
    close(place.folder / KEY_FILE)
    for form in (False, True):
        if (database := place.database(encrypted=form)) is not None:
            for side in SIDES:
                close(database.with_name(f"{database.name}{side}"))
    if place.folder.is_dir() and place.folder.stat().st_mode & OTHERS and _nothing_else(place.folder):
        close(place.folder)


def _nothing_else(folder: Path) -> bool:
    own = {*OWN_FOLDERS, KEY_FILE}
    return all(one.name in own or one.name.startswith((".", "caseload.")) for one in folder.iterdir())


def make_private(path: Path) -> None:
    """Make an empty file that only its owner can read, where there is none.

    Raises
    ------
    OutputError
        When it can't be made.
    """
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600))
    except OSError as error:
        raise output_error(path, error) from error
