"""A backup: one file, taken while others work, checked while it is written and once it stands.

It is an ordinary ZIP archive without compression: unpacked by hand it is a caseload's folder. An encrypted caseload's
holds the encrypted records, the sealed sounds and ``key.json``, and opens by the same passphrase and recovery code; a
plain caseload's is plain, or sealed under a passphrase of its own. ``backup.json``, written last, names every file with
its hash; its mark, keyed where there is a key, vouches for the list.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from ..errors import CaseloadError, NoRoomError, RefusedError
from ..files import output_error
from . import clips, keys, leftovers, rights, sealing, tally
from .archive import BLOCK, FORM, FORMAT, MANIFEST, mark_of, read_back
from .caseload import Caseload
from .converting import _nothing_written, _settle_folder
from .engine import FULL, Place, _open_plain, is_read_only, make_engine, open_sealed, raw_key
from .looking import look_at_rows

PASSES = (False, False, True)
"""Whether writing waits in a pass; what was erased in the middle of one has it taken again."""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds; ``lost`` names sounds and rows that were damaged before it was taken."""

    n_rows: int
    n_sounds: int
    n_bytes: int
    encrypted: bool
    lost: tuple[str, ...]


def write_backup(
    caseload: Caseload, to: Path, *, passphrase: str = "", tell: Callable[[str], None] = lambda _code: None
) -> BackedUp:
    """Write a caseload into one new file, as it stood at one moment, while others may go on working.

    Parameters
    ----------
    caseload : Caseload
        Open; on a read-only medium too.
    to : Path
        A new file, outside the caseload's folder.
    passphrase : str
        Of a plain caseload's backup, where it is to be sealed; empty: the backup is in the caseload's form.
    tell : callable
        Is given the recovery code of a backup that has a passphrase of its own.

    Raises
    ------
    RefusedError
        When the file exists or lies in the caseload's folder, or the caseload is encrypted and a passphrase was given.
    CaseloadError
        When the records lie in a database of another kind, or the caseload took another form meanwhile.
    OutputError, NoRoomError
        When the file can't be written whole.
    """
    _refuse_place(caseload, to)
    by, key_file, code = _keys_of(caseload, passphrase)
    with leftovers.outside(caseload, to) as made, _held(caseload):
        if key_file is not None:
            keys.write_key_file(made, key_file)
        for waits in PASSES:
            with _nothing_written(caseload) if waits else contextlib.nullcontext():
                done, erased = _one_pass(caseload, made, by)
            if not erased:
                break
        read_back(made / "whole", by)
        if code:
            tell(code)
        _put(made / "whole", to)
    return done


def _refuse_place(caseload: Caseload, to: Path) -> None:
    name = caseload.folder.name
    if caseload.place.database(encrypted=caseload.encrypted) is None:
        raise CaseloadError(
            f"caseload {name}: its records lie in the database of caseload.toml's url; have its operator back that up,"
            " and copy the folder for the sound"
        )
    if to.exists():
        raise RefusedError(f"{to.name}: something stands there already, and a backup replaces nothing; name a new file")
    if caseload.folder.resolve() in to.absolute().parent.resolve().joinpath(to.name).parents:
        raise RefusedError(f"{to.name}: lies in the caseload's folder and would be lost with it; name another place")


def _keys_of(caseload: Caseload, passphrase: str) -> tuple[keys.Keys | None, keys.KeyFile | None, str]:
    """The keys a backup is sealed by, the key file it carries, and the recovery code to tell."""
    if not passphrase:
        return caseload.keys, keys.read_key_file(caseload.folder) if caseload.encrypted else None, ""
    if caseload.encrypted:
        raise RefusedError(
            f"caseload {caseload.folder.name}: encrypted, and so is its backup, by the same passphrase; leave the"
            " backup's own away"
        )
    keys.need_extra()
    key = keys.new_key()
    return keys.subkeys(key), keys.wrap(key, keys.checked_passphrase(passphrase)), keys.recovery_code(key)


@contextlib.contextmanager
def _held(caseload: Caseload) -> Iterator[None]:
    """Keep the caseload in its form while it is read; on a read-only medium nothing can change it."""
    if is_read_only(caseload.folder):
        yield
        return
    with clips.together(caseload):
        yield


def _one_pass(caseload: Caseload, made: Path, by: keys.Keys | None) -> tuple[BackedUp, bool]:
    """Write the whole file once; say whether a sound of it was erased meanwhile, so that it has to be taken again."""
    place = Place(made)
    database = place.database(encrypted=by is not None)
    assert database is not None
    clips.erase_database(database)
    with _worded(caseload):
        snapshot(caseload, database, by)
    copy = Caseload(place, make_engine(place, by), who=caseload.who, clock=caseload.clock, keys=by)
    with contextlib.closing(copy):
        if copy.tallied:  # the count in the file's head does not come along
            with copy.engine.execution_options(writing=True).begin() as connection:
                tally.write(connection)
        looked = look_at_rows(copy)
        named = sorted((str(one), str(suffix)) for one, suffix in clips.clips_of_rows(copy))
    described: dict[str, Any] = {
        "form": FORM,
        "format": FORMAT,
        "made_at": caseload.clock().isoformat(timespec="seconds"),
        "encrypted": by is not None,
        "rows": looked.n_rows,
        "damaged_before": list(looked.damaged),
    }
    lost = _write(caseload, made, (by, named, described))
    still_named = {str(one) for one, _ in clips.clips_of_rows(caseload)} if lost else set()
    names = (*looked.damaged, *(f"sound {one[:12]}" for one in lost))
    n_bytes = (made / "whole").stat().st_size
    done = BackedUp(looked.n_rows, len(named) - len(lost), n_bytes, by is not None, names)
    return done, bool(set(lost) - still_named)


@contextlib.contextmanager
def _worded(caseload: Caseload) -> Iterator[None]:
    try:
        yield
    except Exception as error:  # of sqlite3 or of sqlcipher3, which has a tree of its own
        if type(error).__module__.split(".")[0] not in {"sqlite3", "sqlcipher3", "_sqlite3"}:
            raise
        low = str(error).lower()
        if any(sign in low for sign in FULL):
            raise NoRoomError(
                f"caseload {caseload.folder.name}: no room for its backup; choose another disk"
            ) from error
        raise CaseloadError(
            f"caseload {caseload.folder.name}: its records can't be copied ({low[:80]}); sibilant caseload check tells"
            " more"
        ) from error


def snapshot(caseload: Caseload, target: Path, by: keys.Keys | None) -> None:
    """Copy a SQLite database as it stands at one moment: by its own backup, or into the encrypted form in one look."""
    source = caseload.place.database(encrypted=caseload.encrypted)
    assert source is not None
    still = is_read_only(source)
    rights.make_private(target)
    if by is None:
        plain = contextlib.closing(_open_plain(source, still=still))
        with plain as old, contextlib.closing(sqlite3.connect(target)) as new:
            old.backup(new)
        return
    with contextlib.closing(_by_cipher(source, caseload.keys, still=still)) as old:
        old.isolation_level = None
        old.execute("ATTACH DATABASE ? AS made KEY ?", (str(target), raw_key(by)))
        old.execute("BEGIN")
        old.execute("SELECT sqlcipher_export('made')").fetchall()
        old.execute("COMMIT")
        old.execute("DETACH DATABASE made")


def _by_cipher(path: Path, by: keys.Keys | None, *, still: bool) -> Any:
    from sqlcipher3 import dbapi2

    if by is not None:
        return open_sealed(path, by, still=still)
    address = f"{path.absolute().as_uri()}{'?mode=ro&immutable=1' if still else ''}"
    connection = dbapi2.connect(address, uri=True)
    for pragma in ("cipher_log_level = NONE", "temp_store = MEMORY"):
        connection.execute(f"PRAGMA {pragma}")
    return connection


def _write(
    caseload: Caseload, made: Path, what: tuple[keys.Keys | None, list[tuple[str, str]], dict[str, Any]]
) -> list[str]:
    """Write the archive; return the hashes of sounds that could not be read whole."""
    by, named, described = what
    listed: dict[str, dict[str, Any]] = {}
    lost = []
    try:
        with _private(made / "whole") as stream, zipfile.ZipFile(stream, "w") as archive:
            for name in (keys.KEY_FILE, f"caseload.{'sqlite' if by is None else 'sealed'}"):
                if (made / name).exists():
                    with (made / name).open("rb") as kept:
                        listed[name] = _add(archive, name, kept)
            for sha256, suffix in named:
                try:
                    sound = clips.clip_bytes(caseload, sha256, suffix)
                except (CaseloadError, ValueError):
                    lost.append(sha256)
                    continue
                stem = sha256 if by is None else sealing.name_of(by, sha256)
                name = f"audio/{stem[:2]}/{stem}{suffix if by is None else sealing.SUFFIX}"
                listed[name] = _add_bytes(archive, name, sealing.as_kept(by, stem, sound))
            described = {**described, "lost_before": [one[:12] for one in lost], "files": listed}
            described["mark"] = mark_of(described, by)
            _add_bytes(archive, MANIFEST, json.dumps(described, indent=1).encode())
        with (made / "whole").open("rb+") as stream:
            os.fsync(stream.fileno())
    except OSError as error:
        raise output_error(made, error) from error
    return lost


def _private(path: Path) -> IO[bytes]:
    return os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o600), "w+b")


def _add(archive: zipfile.ZipFile, name: str, kept: IO[bytes]) -> dict[str, Any]:
    digest, n_bytes = hashlib.sha256(), 0
    with archive.open(_info(name), "w", force_zip64=True) as entry:
        while block := kept.read(BLOCK):
            digest.update(block)
            n_bytes += len(block)
            entry.write(block)
    return {"bytes": n_bytes, "sha256": digest.hexdigest()}


def _add_bytes(archive: zipfile.ZipFile, name: str, content: bytes) -> dict[str, Any]:
    archive.writestr(_info(name), content)
    return {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.external_attr = 0o600 << 16
    return info


def _put(made: Path, to: Path) -> None:
    if to.exists():
        raise RefusedError(f"{to.name}: something stands there by now; name a new file")
    try:
        made.replace(to)
        _settle_folder(to.absolute().parent)
    except OSError as error:
        raise output_error(to, error) from error
