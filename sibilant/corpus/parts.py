"""What has been measured so far: one small file a recording, written whole or not at all."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from .. import files
from ..errors import OutputError
from ..terms import Method
from .bandwidth import Part
from .pieces import hash_of, key_of
from .request import PARTS, Piece


def part_path(to: Path, piece: Piece) -> Path:
    """Return the place of a piece's part; two levels, so that no folder grows beyond what a file system likes."""
    name = hashlib.sha256(piece.recording.encode()).hexdigest()
    return to / PARTS / name[:2] / f"{name[2:34]}.json"


def save_part(to: Path, piece: Piece, part: str) -> None:
    """Keep a piece's part."""
    path = part_path(to, piece)
    files.make_folder(path.parent)
    files.write_text(path, part)


def load_part(to: Path, piece: Piece) -> Part:
    """Return a piece's part; empty where there is none or it is not whole."""
    try:
        found = json.loads(part_path(to, piece).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def is_done(to: Path, piece: Piece, methods: Sequence[Method]) -> bool:
    """Whether a piece was measured before from the same sound, in the same way, by the same versions."""
    part = load_part(to, piece)
    if "lines" not in part or part.get("fault") or part.get("key") != key_of(piece, methods):
        return False
    return bool(part["sha256"] == hash_of(piece))


def hashes(pieces: Iterable[Piece]) -> dict[str, str]:
    """Return the hash of each recording's bytes as they are now."""
    return {piece.recording: hash_of(piece) for piece in pieces}


def all_parts(to: Path, pieces: Iterable[Piece]) -> Iterator[tuple[Piece, Part]]:
    """Yield each piece with its part, one part in memory at a time.

    Raises
    ------
    OutputError
        When a part is no longer there, or not whole.
    """
    for piece in pieces:
        part = load_part(to, piece)
        if "lines" not in part:
            raise OutputError(f"{to.name}: what was measured of {piece.recording} is gone; go on by --resume")
        yield piece, part


def drop_parts(to: Path) -> None:
    """Take the parts away, once the tables that hold them are whole."""
    shutil.rmtree(to / PARTS, ignore_errors=True)
