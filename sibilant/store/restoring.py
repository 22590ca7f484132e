"""A backup becomes a caseload again: everything is unpacked beside, looked at, and takes its place in one step.

What is unpacked lies in a hidden folder beside the place; its lock file is held by the process that unpacks. Killed
before the last step, the caseload is as it was; killed between the two renames of a caseload that is replaced, the next
that opens it does the second.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hmac
import os
import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import CaseloadError, InputError, RefusedError
from ..files import lock_file, output_error, paths_in, refuse_odd
from . import clips, drafts, keys, rights
from .archive import UNREADABLE, copied, described_in, mark_of
from .backing import _private
from .caseload import Ask, Caseload
from .converting import _settle_folder
from .engine import read_place
from .looking import look_at_rows, look_at_sounds
from .opening import open_caseload
from .switching import HELD, finish_restoring, half_of, whole_of

CARRIED = ("caseload.toml", "backups.json")
"""What a caseload that is replaced hands on: not records, but how the clinic has it."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What came back: rows and sounds, what is not whole, which clients; where the caseload before lies now."""

    n_rows: int
    n_sounds: int
    encrypted: bool
    made_at: str
    not_whole: tuple[str, ...]
    clients: tuple[str, ...]
    aside: Path | None


def restore_backup(
    backup: Path, folder: Path, *, ask: Ask, who: str = "", in_place: bool = False, anyway: bool = False
) -> Restored:
    """Unpack a backup, look at all of it, and put it in its place in one step.

    Parameters
    ----------
    backup : Path
        The file; a read-only medium will do.
    folder : Path
        Where the caseload is to lie: a new folder or, with ``in_place``, that of the caseload to replace, which is set
        aside beside it and never erased.
    ask : callable
        Returns the passphrase; called only where the backup is encrypted.
    who : str
        Code of the person at work, for the audit trail.
    in_place : bool
        Whether the caseload of that folder is replaced.
    anyway : bool
        Restore what is whole of a damaged backup; what is not is named.

    Raises
    ------
    InputError
        When the file is missing or no regular file.
    RefusedError
        When something stands in the folder and it is not to be replaced, or a take is under way there.
    CaseloadError
        When the backup is damaged, made by a newer program, or the passphrase is not the one.
    OutputError
        When there is no room, or the folder can't be written.
    """
    refuse_odd(backup)
    if not backup.exists():
        raise InputError(f"{backup.name}: no such file; name a backup")
    folder = folder.absolute()
    finish_restoring(folder)
    _refuse_standing(folder, in_place=in_place)
    half, whole = half_of(folder), whole_of(folder)
    rights.private_folder(half)
    with _held_by_us(half), contextlib.ExitStack() as undo:
        undo.callback(shutil.rmtree, half, ignore_errors=True)
        described, odd = _unpacked(backup, half)
        restored = _looked_at(backup, half, ask, who, (described, odd, anyway))
        for name in CARRIED if in_place else ():
            if (folder / name).is_file():
                shutil.copy2(folder / name, half / name)
        _settled(half)
        with _nobody_in(folder) if in_place else contextlib.nullcontext():
            half.rename(whole)
            undo.callback(shutil.rmtree, whole, ignore_errors=True)
            aside = _switched(whole, folder)
            undo.pop_all()
    (folder / HELD).unlink(missing_ok=True)
    return Restored(**{**restored, "aside": aside})


@contextlib.contextmanager
def _held_by_us(half: Path) -> Iterator[None]:
    try:
        stream = (half / HELD).open("a+b")
    except OSError as error:
        raise output_error(half, error) from error
    with stream:
        if not lock_file(stream, shared=False):
            raise CaseloadError(f"{half.name}: another program is restoring here; do it again")
        yield


def _refuse_standing(folder: Path, *, in_place: bool) -> None:
    there = folder.exists() and (not folder.is_dir() or any(folder.iterdir()))
    if there and not in_place:
        raise RefusedError(
            f"{folder.name}: something stands there; restore beside it (--to FOLDER), or --in-place to set that aside"
        )
    if in_place and not folder.is_dir():
        raise RefusedError(f"{folder.name}: no caseload to replace; leave --in-place away")
    if in_place:
        place = read_place(folder)
        if place.url:
            raise RefusedError(f"{folder.name}: its caseload.toml names a database; restore beside it (--to FOLDER)")
        if any(path.is_file() for path in paths_in(folder / drafts.FOLDER, "**/*")):
            raise RefusedError(f"{folder.name}: a take is under way; finish it or throw it away first")


@contextlib.contextmanager
def _nobody_in(folder: Path) -> Iterator[None]:
    """Hold the caseload that is to be replaced alone."""
    with clips.locked(rights.private_folder(folder / "audio"), shared=False) as held:
        if not held:
            raise CaseloadError(f"caseload {folder.name}: another program is at work in it; close that first")
        _refuse_standing(folder, in_place=True)
        yield


def _unpacked(backup: Path, half: Path) -> tuple[dict[str, Any], list[str]]:
    """Unpack every file that is as the list names it; return the list and the names of those that are not."""
    odd = []
    try:
        with zipfile.ZipFile(backup) as archive:
            described = described_in(archive, backup.name)
            for name, kept in described["files"].items():
                path = half / name
                if path.parent != half:
                    rights.private_folder(path.parent)
                with _private(path) as to:
                    whole = copied(archive, name, kept, to)
                if not whole:
                    odd.append(name)
                    if name.startswith("audio/"):
                        path.unlink()
    except OSError as error:
        raise output_error(half, error) from error
    except UNREADABLE as error:
        raise CaseloadError(f"{backup.name}: damaged, or not a caseload's backup; take another one") from error
    return described, odd


def _looked_at(
    backup: Path, half: Path, ask: Ask, who: str, what: tuple[dict[str, Any], list[str], bool]
) -> dict[str, Any]:
    """Open what was unpacked, compare its rows and sounds, and name what is not whole."""
    described, odd, anyway = what
    if described["encrypted"] != keys.is_encrypted(half):
        raise CaseloadError(f"{backup.name}: damaged: its key is missing; take another backup")
    try:
        with open_caseload(half, who=who, create=False, ask=ask) as one:
            marked = hmac.compare_digest(str(described.get("mark")), mark_of(described, one.keys))
            not_whole = [] if marked else ["the list of its files"]
            not_whole += [f"a byte of {name}" for name in odd if not name.startswith("audio/")]
            not_whole += _not_whole(one, described)
            if not_whole and not anyway:
                raise CaseloadError(
                    f"{backup.name}: damaged: {', '.join(not_whole[:3])}{_more(not_whole)}; take another backup, or"
                    " --anyway for what is whole"
                )
            with one.change("caseload restored", "", f"from a backup of {described['made_at']}"):
                pass
            found = {
                "n_rows": look_at_rows(one).n_rows,
                "n_sounds": sum(name.startswith("audio/") for name in described["files"]) - len(odd),
                "encrypted": one.encrypted,
                "made_at": described["made_at"],
                "not_whole": (*not_whole, *_before(described)),
                "clients": _codes(one),
            }
    except (UnicodeError, ValueError, KeyError, TypeError) as error:
        raise CaseloadError(f"{backup.name}: damaged; take another backup") from error
    return found


def _codes(one: Caseload) -> tuple[str, ...]:
    from .people import codes

    return codes(one)


def _before(described: dict[str, Any]) -> list[str]:
    return [*described["damaged_before"], *(f"sound {one}" for one in described["lost_before"])]


def _more(names: list[str]) -> str:
    return f" and {len(names) - 3} more" if len(names) > 3 else ""


def _not_whole(one: Caseload, described: dict[str, Any]) -> list[str]:
    """Name rows and sounds that are damaged and were not when the backup was taken."""
    rows = look_at_rows(one)
    sounds = look_at_sounds(one).found
    n_lost = described["rows"] - rows.n_rows
    gone = [f"{n_lost} of {described['rows']} rows are missing"] if n_lost else []
    named = [*gone, *rows.damaged, *(name for kind, found in sounds.items() if kind != "left over" for name in found)]
    before = set(_before(described))
    return [name for name in named if name not in before]


def _settled(half: Path) -> None:
    """Have the disk hold everything before the switch."""
    for path in sorted(half.rglob("*")):
        if path.is_dir():
            _settle_folder(path)
        elif path.name != HELD:
            with path.open("rb+") as stream:
                os.fsync(stream.fileno())
    _settle_folder(half)


def _switched(whole: Path, folder: Path) -> Path | None:
    """Put the restored folder in place; return where the one before lies now."""
    aside = None
    try:
        if folder.exists() and any(folder.iterdir()):
            aside = _free(folder)
            folder.rename(aside)
        elif folder.exists():
            folder.rmdir()
        whole.rename(folder)
        _settle_folder(folder.parent)
    except OSError as error:
        if aside is not None and aside.exists() and not folder.exists():
            aside.rename(folder)
        raise output_error(folder, error) from error
    return aside


def _free(folder: Path) -> Path:
    today = dt.date.today().isoformat()
    names = (f"{folder.name}.before-{today}{f'-{n}' if n else ''}" for n in range(1000))
    return next(path for name in names if not (path := folder.with_name(name)).exists())
