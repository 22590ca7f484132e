"""Kept sound: lossless, named by the hash of its bytes (or sealed), checked when read, never left behind half-kept.

A marker stands in the folder while sound is being kept or erased. A process that is killed leaves its marker; the next
one that opens the caseload then takes away every clip that no row names, and every one in the other form (plain in an
encrypted caseload, sealed in a plain one), which a killed encryption or decryption leaves.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from ..errors import CaseloadError
from ..files import lock_file, output_error, paths_in, sha256_of, write_bytes
from . import keys, rights, sealing
from .schema import BINNED_SOUNDS, CLIPS, RECORDINGS

if TYPE_CHECKING:
    from .caseload import Caseload

MARKER = ".unfinished-"
CHANGING = f"{MARKER}form-"
MAKING = ".making-"
"""Where versions before encryption made sound ready; a killed one may have left such a folder."""


def audio_folder(caseload: Caseload) -> Path:
    """Where kept sound lies, beside the database."""
    return caseload.folder / "audio"


def clip_path(caseload: Caseload, sha256: str, suffix: str) -> Path:
    """Return where a clip lies: by its hash, or in an encrypted caseload by a name that its hash gives with the key."""
    if caseload.keys is None:
        return audio_folder(caseload) / sha256[:2] / f"{sha256}{suffix}"
    name = sealing.name_of(caseload.keys, sha256)
    return audio_folder(caseload) / name[:2] / f"{name}{sealing.SUFFIX}"


def keep_clip(caseload: Caseload, content: bytes, suffix: str) -> str:
    """Write a clip, sealed where the caseload is, and return the hash of its bytes; one already there is left."""
    sha256 = hashlib.sha256(content).hexdigest()
    path = clip_path(caseload, sha256, suffix)
    if not path.exists():
        rights.private_folder(path.parent)
        write_bytes(path, sealing.as_kept(caseload.keys, path.stem, content))
        rights.close(path)
    return sha256


def write_clip(caseload: Caseload, sha256: str, suffix: str, content: bytes) -> None:
    """Write a clip in the caseload's form; that it is whole and on the disk is the caller's to see to."""
    path = clip_path(caseload, sha256, suffix)
    rights.private_folder(path.parent)
    try:
        path.write_bytes(sealing.as_kept(caseload.keys, path.stem, content))
        rights.close(path)
    except OSError as error:
        raise output_error(path, error) from error


def clip_bytes(caseload: Caseload, sha256: str, suffix: str) -> bytes:
    """Return the bytes of a kept clip after checking its hash; an encrypted one is opened in memory only.

    Raises
    ------
    CaseloadError
        When it is gone or its bytes have changed.
    """
    path = clip_path(caseload, sha256, suffix)
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise CaseloadError(_gone(path)) from error
    except OSError as error:
        raise CaseloadError(f"clip {path.stem[:12]}: can't be read; see to the rights of the audio folder") from error
    content = sealing.as_made(caseload.keys, path.stem, content)
    if hashlib.sha256(content).hexdigest() != sha256:
        raise CaseloadError(_changed(path))
    return content


def read_clip(caseload: Caseload, sha256: str, suffix: str) -> Path:
    """Return the path of a kept clip after checking its hash; of an encrypted one use :func:`clip_bytes`.

    Raises
    ------
    CaseloadError
        When it is gone, its bytes have changed, or it is encrypted: it is then never written out to a file.
    """
    path = clip_path(caseload, sha256, suffix)
    if caseload.keys is not None:
        raise CaseloadError(f"clip {path.stem[:12]}: encrypted, so there is no file of it to open; listen on the page")
    if not path.exists():
        raise CaseloadError(_gone(path))
    if sha256_of(path) != sha256:
        raise CaseloadError(_changed(path))
    return path


def _gone(path: Path) -> str:
    return f"clip {path.stem[:12]}: not in the caseload's audio folder; put it back from a backup"


def _changed(path: Path) -> str:
    return f"clip {path.stem[:12]}: its bytes have changed since it was kept; put it back from a backup"


@contextlib.contextmanager
def at_work(caseload: Caseload) -> Iterator[None]:
    """Hold the marker while sound is kept or erased; after a failure it stays, and the next to open clears up.

    Raises
    ------
    CaseloadError
        When the caseload was encrypted or decrypted since it was opened.
    """
    with together(caseload), _marked(audio_folder(caseload), MARKER):
        yield


@contextlib.contextmanager
def together(caseload: Caseload) -> Iterator[None]:
    """Hold the folder with others at work, so that no other form is given to anything meanwhile.

    Raises
    ------
    CaseloadError
        When the caseload was encrypted or decrypted since it was opened.
    """
    with locked(rights.private_folder(audio_folder(caseload)), shared=True):
        caseload.refuse_other_form()
        yield


@contextlib.contextmanager
def if_nobody_works(caseload: Caseload) -> Iterator[bool]:
    """Hold the folder alone if it can be had at once and the caseload has the form it was opened in; say whether."""
    with locked(rights.private_folder(audio_folder(caseload)), shared=False) as held:
        yield held and keys.identity_of(caseload.folder) == (caseload.keys.identity if caseload.keys else "")


@contextlib.contextmanager
def alone(caseload: Caseload) -> Iterator[None]:
    """Hold the folder alone while every file of it takes its other form; a failure is cleared up at once.

    Raises
    ------
    CaseloadError
        When another program keeps or erases sound just now.
    """
    folder = rights.private_folder(audio_folder(caseload))
    with locked(folder, shared=False) as held:
        if not held:
            raise CaseloadError(f"caseload {caseload.folder.name}: another program is at work in it; close that first")
        caseload.refuse_other_form()
        with _marked(folder, CHANGING):
            yield


@contextlib.contextmanager
def _marked(folder: Path, kind: str) -> Iterator[None]:
    marker = folder / f"{kind}{os.getpid()}-{secrets.token_hex(4)}"
    try:
        marker.touch()
    except OSError as error:
        raise output_error(folder, error) from error
    yield
    with contextlib.suppress(OSError):
        marker.unlink(missing_ok=True)


def finish(caseload: Caseload) -> int:
    """Take away what no row names, and what has the other form, if a marker stands and nobody is at work.

    Returns
    -------
    int
        How many clips were taken away.
    """
    folder = audio_folder(caseload)
    markers = list(folder.glob(f"{MARKER}*")) if folder.is_dir() else []
    if not markers:
        return 0
    with locked(folder, shared=False) as held:
        if not held:
            return 0
        n_erased = len(sweep(caseload))
        if any(marker.name.startswith(CHANGING) for marker in markers):
            erase_other_form(caseload)
        for marker in markers:
            with contextlib.suppress(OSError):
                marker.unlink(missing_ok=True)
    return n_erased


def sweep(caseload: Caseload) -> list[str]:
    """Erase every clip and every half-written file that no row names; return the hashes (or names) erased."""
    named = named_clips(caseload)
    erased = []
    for path in clip_files(caseload):
        if not is_named(caseload, path, named):
            with contextlib.suppress(OSError):
                path.unlink()
                erased.append(path.stem)
    for folder in audio_folder(caseload).glob(f"{MAKING}*"):
        shutil.rmtree(folder, ignore_errors=True)
    for folder in audio_folder(caseload).glob("??"):  # an empty one would still tell how a hash begins
        with contextlib.suppress(OSError):
            folder.rmdir()
    return erased


def erase_files(caseload: Caseload, gone: set[str]) -> tuple[str, ...]:
    """Erase the files of these names, without suffix; return a line for each, with the start of its name."""
    erased = []
    for path in clip_files(caseload):
        if path.stem in gone:
            path.unlink(missing_ok=True)
            erased.append(f"sound {path.stem[:12]}")
    return tuple(erased)


def clip_files(caseload: Caseload) -> list[Path]:
    """Return every file of kept sound, whatever its form, half-written ones included."""
    return paths_in(audio_folder(caseload), "??/*")


def is_named(caseload: Caseload, path: Path, named: set[str]) -> bool:
    """Say whether a file is the clip of one of these names (see :func:`named_clips`), in the caseload's form."""
    return path.stem in named and (path.suffix == sealing.SUFFIX) == (caseload.keys is not None)


def named_clips(caseload: Caseload) -> set[str]:
    """Return the file names, without suffix, of all clips that a row names: hashes, or names of sealed ones."""
    return file_names(caseload, {sha256 for sha256, _ in clips_of_rows(caseload)})


def file_names(caseload: Caseload, hashes: set[str]) -> set[str]:
    """Return the file names, without suffix, of clips by their hashes: those, or names of sealed ones."""
    by = caseload.keys
    return {sealing.name_of(by, sha256) if by is not None else sha256 for sha256 in hashes}


def clips_of_rows(caseload: Caseload) -> set[tuple[str, str]]:
    """Return hash and suffix of all clips that a row names, in the bin too."""
    with caseload.read(everybody=True) as connection:
        words = connection.execute(sa.select(CLIPS.c.sha256, CLIPS.c.suffix)).all()
        whole = connection.execute(sa.select(RECORDINGS.c.clip_sha256, RECORDINGS.c.clip_suffix)).all()
        in_bin = sa.select(BINNED_SOUNDS.c.sha256, BINNED_SOUNDS.c.suffix).where(BINNED_SOUNDS.c.kept.is_(sa.true()))
        binned = connection.execute(in_bin).all()
    return {(sha256, suffix) for sha256, suffix in (*words, *whole, *binned) if sha256}


def erase_other_form(caseload: Caseload) -> None:
    """Erase what stands beside the sound: the database in the form the caseload does not have, what is half made."""
    keys.erase_half_written(caseload.folder)
    encrypted = caseload.keys is not None
    own, other = (caseload.place.database(encrypted=form) for form in (encrypted, not encrypted))
    if own is None or other is None:
        return
    for path in (other, half_made(own), half_made(other)):
        erase_database(path)


def erase_database(path: Path) -> None:
    """Erase a SQLite file and those that stand beside it."""
    for side in ("", "-wal", "-shm", "-journal"):
        path.with_name(f"{path.name}{side}").unlink(missing_ok=True)


def half_made(path: Path) -> Path:
    """Where a database is made before it takes its place."""
    return path.with_name(f"{path.name}.made")


@contextlib.contextmanager
def locked(folder: Path, *, shared: bool) -> Iterator[bool]:
    """Lock the folder: shared waits; alone does not, and says whether it was had. The system lets go when we die."""
    try:
        stream = (folder / ".lock").open("a+b")
    except OSError as error:
        raise output_error(folder, error) from error
    with stream:
        yield lock_file(stream, shared=shared)
