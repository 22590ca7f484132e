"""The last step of restoring a backup, for whoever opens the caseload next after a kill."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

from ..errors import CaseloadError
from ..files import lock_file

HELD = ".restoring"
"""The file whose lock says that a process is unpacking here."""


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
