"""Whether the disk has room for a caseload's other form, which is made whole beside the one that stands."""

from __future__ import annotations

import contextlib
import errno
import shutil
from collections.abc import Iterator

from ..errors import NoRoomError, RefusedError, SibilantError
from . import clips, sealing
from .caseload import Caseload

BLOCK_BYTES, ROOM_BYTES = 4096, 1 << 17
"""What a file's length is rounded up to on the disk; what folders, key and lines of the trail take, with room."""


@contextlib.contextmanager
def room_for(old: Caseload, new: Caseload) -> Iterator[None]:
    """Refuse what the disk has no room for, before it is begun, and once more where it failed in the middle.

    Raises
    ------
    NoRoomError
        With what is needed and what there is.
    """
    _refuse_small(old, new)
    try:
        yield
    except SibilantError as error:
        cause = error.__cause__
        full = isinstance(cause, OSError) and cause.errno in (errno.ENOSPC, errno.EDQUOT)
        if full or not isinstance(error, RefusedError):
            _refuse_small(old, new, full=full)
        raise


def _refuse_small(old: Caseload, new: Caseload, *, full: bool = False) -> None:
    free, needed = shutil.disk_usage(old.folder).free, _needed_bytes(old, new)
    if free < needed or full:
        raise NoRoomError(
            f"caseload {old.folder.name}: its new form needs {needed / 1e6:.1f} MB beside the old one, and the disk has"
            f" {free / 1e6:.1f} MB; make room and do it again; nothing was changed"
        )


def _needed_bytes(old: Caseload, new: Caseload) -> int:
    """What the new form takes on the disk beside the old one: the sound, and the records with what goes round them."""
    paths = [path for path in clips.clip_files(old) if (path.suffix == sealing.SUFFIX) == old.encrypted]
    sizes = [path.stat().st_size for path in paths]
    if new.encrypted and not old.encrypted:
        sizes = [sealing.padded_bytes(size + sealing.HEAD_BYTES) + sealing.HEAD_BYTES for size in sizes]
    source = old.place.database(encrypted=old.encrypted)
    records = 2 * source.stat().st_size if source is not None else 0
    return sum(-(-size // BLOCK_BYTES) * BLOCK_BYTES for size in sizes) + records + ROOM_BYTES
