"""The last steps of restoring a backup and of another key, for whoever opens the caseload next after a kill."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

from .. import files
from ..errors import CaseloadError
from ..files import lock_file
from . import clips, keys, rights
from .engine import Place, read_place

HELD = ".restoring"
"""The file whose lock says that a process is unpacking here."""


REKEYING = ".rekeying"
"""Holds the identity of the key that is to come, from just before the switch until the records are in place."""


def half_of(folder: Path) -> Path:
    """Where a backup is unpacked before it takes a folder's place."""
    return folder.with_name(f".{folder.name}.restoring")


def whole_of(folder: Path) -> Path:
    """Where it lies once it is whole."""
    return folder.with_name(f".{folder.name}.restored")


def finish_restoring(folder: Path) -> None:
    """Do the last step of a restoring that was killed before it, or take away what it left.

    Raises
    ------
    CaseloadError
        When another program is restoring it just now.
    """
    folder = folder.absolute()
    for path in (half_of(folder), whole_of(folder)):
        if not path.is_dir():
            continue
        if not _left(path):
            raise CaseloadError(f"caseload {folder.name}: another program is restoring it; do it again")
        if path == whole_of(folder) and not folder.exists():
            path.rename(folder)
        else:
            shutil.rmtree(path, ignore_errors=True)
    if (folder / HELD).exists():
        (folder / HELD).unlink(missing_ok=True)


def _left(path: Path) -> bool:
    """Say whether the process that unpacked here is gone."""
    with contextlib.suppress(OSError), (path / HELD).open("r+b") as stream:
        return lock_file(stream, shared=False)
    return True


def announce_rekeying(folder: Path, identity: str) -> None:
    """Say which key is to come, before ``key.json`` is replaced."""
    files.write_text(folder / REKEYING, identity, private=True)


def end_rekeying(place: Place) -> None:
    """Put the records under the new key in their place, once ``key.json`` is that key's; nothing where none is due."""
    noted = place.folder / REKEYING
    target = place.database(encrypted=True)
    if not noted.exists():
        return
    if _is_switched(place.folder) and target is not None and (made := clips.half_made(target)).exists():
        clips.erase_database(target)  # the old one's side files must never meet the new one
        made.replace(target)
    noted.unlink(missing_ok=True)


def finish_rekeying(folder: Path) -> None:
    """Do the last step of a change of key that was killed after the switch; wait for one that is at it just now."""
    if not (folder / REKEYING).exists():
        return
    place = read_place(folder)
    with clips.locked(rights.private_folder(folder / "audio"), shared=False) as held:
        if held:
            end_rekeying(place)
            return
    if _is_switched(folder):
        with clips.locked(folder / "audio", shared=True):
            pass


def _is_switched(folder: Path) -> bool:
    try:
        return keys.identity_of(folder) == (folder / REKEYING).read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return False
