"""The file of a backup: an uncompressed ZIP archive, its list of files with their hashes, and the mark on that list."""

from __future__ import annotations

import hashlib
import hmac
import json
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

from ..errors import CaseloadError, OutputError
from . import keys

NAMES = re.compile(r"caseload\.(sqlite|sealed)|key\.json|audio/[0-9a-f]{2}/[0-9a-f]{64}\.(flac|wav|sealed)")
MANIFEST = "backup.json"
FORM, FORMAT = "sibilant-caseload-backup", 1  # told in the first entry
BLOCK = 1 << 20  # bytes read at a time
MOST_MANIFEST = 1 << 28  # bytes; more is no manifest of ours


def mark_of(described: Mapping[str, Any], by: keys.Keys | None) -> str:
    """Return the mark that vouches for a backup's list: HMAC-SHA256 (RFC 2104) with a key, SHA-256 without."""
    content = json.dumps({key: value for key, value in described.items() if key != "mark"}, sort_keys=True).encode()
    if by is None:
        return hashlib.sha256(content).hexdigest()
    return hmac.new(by.marks, b"backup " + content, hashlib.sha256).hexdigest()


def described_in(archive: zipfile.ZipFile, name: str) -> dict[str, Any]:
    """Read a backup's list, its form checked; its mark is compared by :func:`checked`.

    Raises
    ------
    CaseloadError
        When it is none, is damaged, or is of a newer program.
    """
    try:
        info = archive.getinfo(MANIFEST)
        if info.file_size > MOST_MANIFEST or info.compress_type != zipfile.ZIP_STORED:
            raise ValueError("size")
        described = json.loads(archive.read(info))
        if described["form"] != FORM:
            raise ValueError("form")
        newer = described["format"] > FORMAT
        names = list(described["files"])
        sizes = [(kept["bytes"] + 0, str(kept["sha256"])) for kept in described["files"].values()]
        lists = [*described["damaged_before"], *described["lost_before"]]
        odd = [one for one in names if not NAMES.fullmatch(one)] + [one for one in lists if not isinstance(one, str)]
        odd += [] if type(described["rows"]) is int else ["rows"]
        if (
            odd
            or not isinstance(described["encrypted"], bool)
            or not isinstance(described["made_at"], str)
            or not sizes
        ):
            raise ValueError("names")
    except UNREADABLE as error:
        raise CaseloadError(f"{name}: damaged, or not a caseload's backup; take another one") from error
    if newer:
        raise CaseloadError(f"{name}: a newer sibilant made this backup; install that")
    return dict(described)


UNREADABLE = (
    OSError, ValueError, KeyError, TypeError, AttributeError, zipfile.BadZipFile, RuntimeError, NotImplementedError,
    EOFError, RecursionError, OverflowError,
)  # fmt: skip
"""All that the archive's reader raises on damage."""


def copied(archive: zipfile.ZipFile, name: str, kept: Mapping[str, Any], to: IO[bytes] | None) -> bool:
    """Read one file of a backup, copy it where asked, and say whether it is as the list names it."""
    digest = hashlib.sha256()
    try:
        info = archive.getinfo(name)
        if info.compress_type != zipfile.ZIP_STORED or info.file_size != kept["bytes"]:
            return False
        with archive.open(info) as entry:
            while block := entry.read(BLOCK):
                digest.update(block)
                _written(to, block)
    except _NoPlaceError as error:
        raise error.why from error
    except (OSError, EOFError, KeyError, zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError):
        return False
    return hmac.compare_digest(digest.hexdigest(), kept["sha256"])


class _NoPlaceError(Exception):
    """What is read could not be written: not the archive's fault."""

    def __init__(self, why: OSError) -> None:
        super().__init__(str(why))
        self.why = why


def _written(to: IO[bytes] | None, block: bytes) -> None:
    try:
        if to is not None:
            to.write(block)
    except OSError as error:
        raise _NoPlaceError(error) from error


def read_back(path: Path, by: keys.Keys | None) -> None:
    """Read a backup from the disk and compare every byte with its list.

    Raises
    ------
    OutputError
        When a byte is not as it was written.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            described = described_in(archive, path.name)
            whole = all(copied(archive, name, kept, None) for name, kept in described["files"].items())
            whole = whole and hmac.compare_digest(described["mark"], mark_of(described, by))
    except (*UNREADABLE, CaseloadError):
        whole = False
    if not whole:
        raise OutputError("the backup was not read back as it was written; use another disk")
