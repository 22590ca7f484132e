"""What belongs to nobody: takes of no client or in the other form, exports that were killed; each start sweeps them.

An export is made in a hidden folder beside its place. A marker in the caseload's folder says where, held locked by the
process that makes it; of a process that was killed the lock is gone, and the folder is taken away if it carries the
marker's own random sign, so that nothing else ever is.
"""

from __future__ import annotations

import contextlib
import json
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING

from ..errors import CaseloadError
from ..files import from_json, lock_file, make_folder, output_error, paths_in
from . import clips, drafts, sealing

if TYPE_CHECKING:
    from .caseload import Caseload

EXPORTING = ".exporting-"
SIGN = ".in-the-making"
HALF_WRITTEN = (".backups.json.*.part", "..rekeying.*.part")
"""What a killed program wrote in part: the day of a backup, another key. Whoever writes them holds the folder."""


def sweep(caseload: Caseload) -> int:
    """Take away what belongs to nobody, unless somebody is at work; return how many files and folders went."""
    n_gone = sum(_swept_export(caseload, marker) for marker in sorted(caseload.folder.glob(f"{EXPORTING}*")))
    if not _of_nobody(caseload):
        return n_gone
    with clips.if_nobody_works(caseload) as alone:
        for path in _of_nobody(caseload) if alone else ():
            with contextlib.suppress(OSError):
                shutil.rmtree(path) if path.is_dir() else path.unlink()
                n_gone += 1
    return n_gone


def _of_nobody(caseload: Caseload) -> list[Path]:
    return [*drafts.of_nobody(caseload), *(path for half in HALF_WRITTEN for path in caseload.folder.glob(half))]


@contextlib.contextmanager
def outside(caseload: Caseload, beside: Path) -> Iterator[Path]:
    """A folder beside a place outside the caseload, for plain files in the making; it goes at the end, however it ends.

    Raises
    ------
    OutputError
        When it can't be made.
    """
    sign = secrets.token_hex(16)
    folder = beside.parent.absolute() / f".{beside.name[:40]}.{sign[:8]}"
    try:
        with _marker(caseload, sign, folder):
            make_folder(folder.parent)
            try:
                folder.mkdir(mode=0o700)
                (folder / SIGN).write_text(sign, encoding="ascii")
                yield folder
            finally:
                with contextlib.suppress(OSError):
                    _erase(folder)
    except OSError as error:
        raise output_error(beside, error) from error


def _erase(folder: Path) -> None:
    """Erase a folder in the making, its sign last: killed in the middle, it is still known for what it is."""
    for path in folder.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        elif path.name != SIGN:
            path.unlink()
    shutil.rmtree(folder)


@contextlib.contextmanager
def _marker(caseload: Caseload, sign: str, folder: Path) -> Iterator[None]:
    """Say in the caseload's folder where plain files are being made; nothing where the caseload can't be written."""
    path = caseload.folder / f"{EXPORTING}{sign}"
    content = json.dumps(str(folder)).encode()
    try:
        stream = path.open("xb")
    except OSError:  # a read-only medium: an export killed in the middle then stays until its owner takes it away
        yield
        return
    try:
        with stream:
            lock_file(stream, shared=False)
            stream.write(sealing.as_kept(caseload.keys, path.name, content))
            stream.flush()
            yield
    finally:
        path.unlink(missing_ok=True)


def any_exports(caseload: Caseload) -> bool:
    """Say whether plain files of this caseload are being made outside it."""
    return any(caseload.folder.glob(f"{EXPORTING}*"))


def _swept_export(caseload: Caseload, marker: Path) -> bool:
    """Take away what a killed export left; False where it is being made just now, or can't be."""
    try:
        with marker.open("r+b") as stream:
            if not lock_file(stream, shared=False):
                return False
            if folder := _named(caseload, marker, stream):
                _erase(folder)
            marker.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def _named(caseload: Caseload, marker: Path, stream: IO[bytes]) -> Path | None:
    """The folder that a marker names, if it carries the marker's sign, or was made and nothing was put into it yet."""
    sign = marker.name.removeprefix(EXPORTING)
    try:
        folder = Path(from_json(sealing.as_made(caseload.keys, marker.name, stream.read())))
        fresh = folder.name.endswith(f".{sign[:8]}") and {path.name for path in folder.iterdir()} <= {SIGN}
        signed = fresh or (folder / SIGN).read_text(encoding="ascii") == sign
    except (CaseloadError, OSError, ValueError, TypeError):
        return None
    return folder if signed and not folder.is_symlink() else None


def count_plain(folder: Path, *, encrypted: bool) -> dict[str, int]:
    """Count, without a key, what of a caseload lies plain or unfinished: pieces of takes, and exports in the making."""
    takes = [path for path in paths_in(folder / drafts.FOLDER, "**/*") if path.is_file()]
    plain = [path for path in takes if path.suffix != sealing.SUFFIX]
    return {
        "plain_pieces_of_takes": len(plain) if encrypted else 0,
        "pieces_of_takes": len(takes),
        "exports_unfinished": len(list(folder.glob(f"{EXPORTING}*"))),
    }
