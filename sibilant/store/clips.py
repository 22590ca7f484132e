"""Kept sound: lossless, named by the hash of its bytes, checked when read, and never left behind half-kept.

A marker stands in the folder while sound is being kept or erased. A process that is killed leaves its marker; the next
one that opens the caseload then takes away every clip that no row names.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING

import sqlalchemy as sa

from ..errors import CaseloadError
from ..files import make_folder, output_error, sha256_of, write_bytes
from .schema import CLIPS, RECORDINGS

if TYPE_CHECKING:
    from .caseload import Caseload

MARKER = ".unfinished-"
MAKING = ".making-"


def audio_folder(caseload: Caseload) -> Path:
    """Where kept sound lies, beside the database."""
    return caseload.folder / "audio"


def clip_path(caseload: Caseload, sha256: str, suffix: str) -> Path:
    """Return where a clip lies by its hash."""
    return audio_folder(caseload) / sha256[:2] / f"{sha256}{suffix}"


def keep_clip(caseload: Caseload, content: bytes, suffix: str) -> str:
    """Write a clip under the hash of its bytes and return the hash; one already there is left as it is."""
    sha256 = hashlib.sha256(content).hexdigest()
    path = clip_path(caseload, sha256, suffix)
    if not path.exists():
        make_folder(path.parent)
        write_bytes(path, content)
    return sha256


def read_clip(caseload: Caseload, sha256: str, suffix: str) -> Path:
    """Return the path of a kept clip after checking its hash.

    Raises
    ------
    CaseloadError
        When it is gone or its bytes have changed.
    """
    path = clip_path(caseload, sha256, suffix)
    if not path.exists():
        raise CaseloadError(f"clip {sha256[:12]}: not in the caseload's audio folder; put it back from a backup")
    if sha256_of(path) != sha256:
        raise CaseloadError(f"clip {sha256[:12]}: its bytes have changed since it was kept; put it back from a backup")
    return path


@contextlib.contextmanager
def making(caseload: Caseload) -> Iterator[Path]:
    """A folder inside the caseload in which sound may be made ready; it is taken away afterwards, also after a kill."""
    folder = make_folder(audio_folder(caseload))
    with tempfile.TemporaryDirectory(prefix=MAKING, dir=folder) as name:
        yield Path(name)


@contextlib.contextmanager
def at_work(caseload: Caseload) -> Iterator[None]:
    """Hold the marker while sound is kept or erased; after a failure it stays, and the next to open clears up."""
    folder = make_folder(audio_folder(caseload))
    marker = folder / f"{MARKER}{os.getpid()}-{secrets.token_hex(4)}"
    with _lock(folder, shared=True):
        try:
            marker.touch()
        except OSError as error:
            raise output_error(folder, error) from error
        yield
        with contextlib.suppress(OSError):
            marker.unlink(missing_ok=True)


def finish(caseload: Caseload) -> int:
    """Take away clips that no row names, if a marker of unfinished work stands and nobody is at work.

    Returns
    -------
    int
        How many clips were taken away.
    """
    folder = audio_folder(caseload)
    markers = list(folder.glob(f"{MARKER}*")) if folder.is_dir() else []
    if not markers:
        return 0
    with _lock(folder, shared=False) as held:
        if not held:
            return 0
        n_erased = len(sweep(caseload))
        for marker in markers:
            with contextlib.suppress(OSError):
                marker.unlink(missing_ok=True)
    return n_erased


def sweep(caseload: Caseload) -> list[str]:
    """Erase every clip and every half-written file that no row names; return the hashes (or names) erased."""
    named = named_clips(caseload)
    erased = []
    for path in sorted(audio_folder(caseload).glob("??/*")):
        if path.stem not in named:
            with contextlib.suppress(OSError):
                path.unlink()
                erased.append(path.stem)
    for folder in audio_folder(caseload).glob(f"{MAKING}*"):
        shutil.rmtree(folder, ignore_errors=True)
    return erased


def named_clips(caseload: Caseload) -> set[str]:
    """Return the hashes of all clips that a row names."""
    with caseload.read() as connection:
        words = connection.execute(sa.select(CLIPS.c.sha256)).scalars()
        whole = connection.execute(sa.select(RECORDINGS.c.clip_sha256)).scalars()
        return {sha256 for sha256 in (*words, *whole) if sha256}


@contextlib.contextmanager
def _lock(folder: Path, *, shared: bool) -> Iterator[bool]:
    """Lock the folder: shared waits; alone does not, and says whether it was had. The system lets go when we die."""
    try:
        with (folder / ".lock").open("a+b") as stream:
            yield _take(stream, shared=shared)
    except PermissionError as error:
        raise output_error(folder, error) from error


def _take(stream: IO[bytes], *, shared: bool) -> bool:
    try:
        import fcntl
    except ImportError:  # a system without fcntl: one worker at a time is then the user's care
        return True
    try:
        fcntl.flock(stream, fcntl.LOCK_SH if shared else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
