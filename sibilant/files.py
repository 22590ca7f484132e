"""Atomic writes, hashes and safe names."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from .errors import InputError, OutputError


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes as 64 hexadecimal digits, read in blocks of 1 MiB."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """Open a file beside ``path`` for writing and move it there when whole; on any failure leave ``path`` as it was.

    Raises
    ------
    OutputError
        When the place can't be written (missing folder, read-only, full, or a folder stands there).
    """
    if path.is_dir():
        raise OutputError(f"{path.name}: a file was to be written here, but a folder stands in its place; name a file")
    temporary = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent or Path())
        temporary = Path(name)
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(0o644)
        temporary.replace(path)
    except OSError as error:
        raise output_error(path, error) from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


def output_error(path: Path, error: OSError) -> OutputError:
    """Word an operating-system error of writing as one line with the way out."""
    reason = error.strerror or type(error).__name__
    return OutputError(
        f"{path.name}: can't be written ({reason.lower()}); choose a folder that exists, is writable and has room"
    )


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file atomically."""
    with whole_file(path) as stream:
        stream.write(content)


def write_text(path: Path, content: str) -> None:
    """Write a whole text file atomically as UTF-8 without a mark."""
    write_bytes(path, content.encode("utf-8"))


def refuse_odd(path: Path) -> None:
    """Refuse what is no regular file: a device or a pipe may never end.

    Raises
    ------
    InputError
        When something other than a regular file stands at ``path``.
    """
    if path.exists() and not path.is_file():
        kind = "a folder" if path.is_dir() else "a device, pipe or socket"
        raise InputError(f"{path.name}: {kind}, where a file was asked for; name a regular file")


def read_bytes(path: Path, *, most: int) -> bytes:
    """Return a regular file's bytes, of ``most`` bytes or fewer.

    Raises
    ------
    InputError
        When it is missing, no regular file, larger, or can't be read.
    """
    refuse_odd(path)
    try:
        size = path.stat().st_size
        if size > most:
            raise InputError(f"{path.name}: {size >> 20} MiB, at most {most >> 20} MiB; split it")
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path.name}: can't be read ({(error.strerror or 'error').lower()})") from error


def make_folder(path: Path) -> Path:
    """Make a folder and its parents, or say in one line why not."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise output_error(path, error) from error
    return path


def safe_name(text: str) -> str:
    """Return a file name part with only letters, digits, dot, dash and underscore.

    Examples
    --------
    >>> safe_name("a/b: c")
    'a-b-c'
    """
    return re.sub(r"[^\w.-]+", "-", text).strip("-.") or "unnamed"
