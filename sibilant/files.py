"""Bytes and a place come in; a file that is there whole or not at all goes out.

Hashes and names that every system takes stand beside it: what is half written, or named after a person, is never
found later.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import secrets
import stat
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

from .errors import InputError, OutputError

_AT_ONCE, _EXCLUSIVE = 1, 2  # LOCKFILE_FAIL_IMMEDIATELY and LOCKFILE_EXCLUSIVE_LOCK of the Windows API
_LOCKED_BYTE = 1 << 62
MOST_LOOKS = 1000  # at what others change meanwhile, before it is told


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes as 64 hexadecimal digits, read in blocks of 1 MiB."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


@contextlib.contextmanager
def whole_file(path: Path, *, private: bool = False) -> Iterator[IO[bytes]]:
    """Open a file beside ``path`` for writing and move it there when whole; on any failure leave ``path`` as it was.

    The file is as open to others as the umask lets new files be, or as the file that it replaces was; a ``private``
    one is its owner's alone from its first byte, whatever stood there.

    Raises
    ------
    OutputError
        When the place can't be written (missing folder, read-only, full, or a folder stands there).
    """
    if path.is_dir():
        raise OutputError(f"{path.name}: a file was to be written here, but a folder stands in its place; name a file")
    temporary = path.with_name(f".{path.name[:40]}.{secrets.token_hex(8)}.part")
    made = False
    try:
        handle = _created(temporary, None if private else path)
        made = True
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(path)
    except OSError as error:
        raise output_error(path, error) from error
    finally:
        if made:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


def _created(fresh: Path, like: Path | None) -> int:
    """Make a new file and return its handle: with the mode of the file ``like`` if there is one, private for None."""
    new = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    if like is None:
        return os.open(fresh, new, 0o600)
    try:
        kept = stat.S_IMODE(like.stat().st_mode) & 0o777
    except FileNotFoundError:
        return os.open(fresh, new, 0o666)
    handle = os.open(fresh, new, 0o600)
    fresh.chmod(kept)
    return handle


def output_error(path: Path, error: OSError) -> OutputError:
    """Word an operating-system error of writing as one line with the way out."""
    reason = error.strerror or type(error).__name__
    way_out = "choose a folder that exists, is writable and has room"
    if isinstance(error, PermissionError) and path.is_file():  # Windows doesn't replace a file that is open elsewhere
        way_out = f"close it where it is open, or {way_out}"
    return OutputError(f"{path.name}: can't be written ({reason.lower()}); {way_out}")


def lock_file(stream: IO[bytes], *, shared: bool) -> bool:
    """Lock an open file: shared waits; alone does not, and says whether it was had. Closing it, or our end, lets go.

    ``flock`` where there is one, ``LockFileEx`` on Windows; both hold between processes and between two openings of
    one file in one process.
    """
    try:
        import fcntl
    except ImportError:
        return _lock_on_windows(stream, shared=shared)
    try:
        fcntl.flock(stream, fcntl.LOCK_SH if shared else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _lock_on_windows(stream: IO[bytes], *, shared: bool) -> bool:
    """Lock a byte far beyond the end of any file here, for Windows forbids others to read what is locked alone."""
    import ctypes
    import importlib

    handle = importlib.import_module("msvcrt").get_osfhandle(stream.fileno())
    place = (ctypes.c_uint64 * 4)(0, 0, _LOCKED_BYTE, 0)  # OVERLAPPED: two status words, the offset, no event
    how = 0 if shared else _EXCLUSIVE | _AT_ONCE
    kernel = importlib.import_module("ctypes").windll.kernel32
    return bool(kernel.LockFileEx(ctypes.c_void_p(handle), how, 0, 1, 0, ctypes.byref(place)))


def write_bytes(path: Path, content: bytes, *, private: bool = False) -> None:
    """Write a whole file atomically; ``private``: readable by its owner alone."""
    with whole_file(path, private=private) as stream:
        stream.write(content)


def write_text(path: Path, content: str, *, private: bool = False) -> None:
    """Write a whole text file atomically as UTF-8 without a mark; ``private``: readable by its owner alone."""
    write_bytes(path, content.encode("utf-8"), private=private)


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


def from_json(text: str | bytes, *, constant: Callable[[str], Any] | None = None) -> Any:
    """Return what JSON from outside holds; ``constant`` is given ``NaN`` and its like.

    Raises
    ------
    ValueError
        When it is none, or nested deeper than anything of ours.

    Examples
    --------
    >>> from_json('{"a": [1]}')
    {'a': [1]}
    """
    try:
        return json.loads(text, parse_constant=constant)
    except RecursionError as error:
        raise ValueError("nested too deep") from error


def paths_in(folder: Path, pattern: str) -> list[Path]:
    """Return what a folder holds by a pattern, sorted; looked at again where something goes while it is looked at.

    Raises
    ------
    OutputError
        When it can't be looked at.
    """
    for _ in range(MOST_LOOKS):
        try:
            return sorted(folder.glob(pattern))
        except FileNotFoundError:  # a folder inside that another thread or program took away just then
            continue
        except OSError as error:
            raise output_error(folder, error) from error
    raise OutputError(f"{folder.name}: others change it all the time; do it again")


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
