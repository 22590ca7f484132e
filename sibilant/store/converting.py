"""A caseload takes its other form: encrypted, plain, or encrypted by another key; and a new passphrase for one.

Everything is made in the new form beside the old, read back and compared; then one step switches (``key.json`` appears,
goes, or is replaced); then the old form is erased. Killed before the switch, the caseload is the old one; after it, the
new one; the next that opens it takes away what is left of the other form.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import CaseloadError, RefusedError
from ..files import paths_in
from . import clips, drafts, keys, leftovers, rights, sealing, switching, tally
from .caseload import Ask, Caseload
from .checksums import sealing_rows
from .engine import Place, make_engine, open_sealed, raw_key, read_place, sqlite_engine
from .opening import open_caseload
from .room import room_for


@dataclass(frozen=True, slots=True)
class Converted:
    """What took its other form: sounds (and how many that a row names were not there), and whether the records did."""

    n_sounds: int
    n_missing: int
    records: bool


def encrypt(caseload: Caseload, passphrase: str, *, tell: Callable[[str], None]) -> Converted:
    """Encrypt a plain caseload; ``tell`` is given the recovery code just before the switch, and nothing else is.

    Raises
    ------
    CaseloadError
        When the passphrase is too short, the extra is missing, another program is at work, or a sound is damaged; the
        caseload is then plain as before.
    RefusedError
        When it is encrypted already.
    """
    if caseload.encrypted:
        raise RefusedError(f"caseload {caseload.folder.name}: encrypted already; sibilant caseload status tells more")
    keys.need_extra()
    key = keys.new_key()
    records_too = caseload.place.database(encrypted=True) is not None
    wrapped = keys.wrap(key, keys.checked_passphrase(passphrase), records_too=records_too)

    def switch() -> None:
        tell(keys.recovery_code(key))
        keys.write_key_file(caseload.folder, wrapped)

    return _convert(caseload, keys.subkeys(key), switch, "caseload encrypted")


def decrypt(caseload: Caseload) -> Converted:
    """Turn an encrypted caseload into a plain one.

    Raises
    ------
    CaseloadError
        When another program is at work, or a sound is damaged; the caseload is then encrypted as before.
    RefusedError
        When it is not encrypted.
    """
    if not caseload.encrypted:
        raise RefusedError(f"caseload {caseload.folder.name}: not encrypted")
    return _convert(caseload, None, (caseload.folder / keys.KEY_FILE).unlink, "caseload decrypted")


def rekey(caseload: Caseload, passphrase: str, *, tell: Callable[[str], None]) -> Converted:
    """Encrypt an encrypted caseload anew by another key, without anything plain on the way.

    The old passphrase, recovery code and copies of ``key.json`` then open nothing of it any more. ``tell`` is given the
    new recovery code just before the switch.

    Raises
    ------
    CaseloadError
        When the passphrase is too weak, another program is at work, or a sound is damaged; the caseload is then under
        its old key as before.
    RefusedError
        When it is not encrypted.
    """
    if caseload.keys is None:
        raise RefusedError(f"caseload {caseload.folder.name}: not encrypted; sibilant caseload encrypt does it")
    key, folder = keys.new_key(), caseload.folder
    records_too = caseload.place.database(encrypted=True) is not None
    wrapped = keys.wrap(key, keys.checked_passphrase(passphrase), records_too=records_too)

    def switch() -> None:
        tell(keys.recovery_code(key))
        switching.announce_rekeying(folder, wrapped.identity)
        keys.write_key_file(folder, wrapped)

    return _convert(caseload, keys.subkeys(key), switch, "caseload encrypted by another key")


def _convert(old: Caseload, new_keys: keys.Keys | None, switch: Callable[[], None], action: str) -> Converted:
    new = Caseload(old.place, make_engine(old.place, new_keys), who=old.who, clock=old.clock, keys=new_keys)
    with contextlib.closing(new), clips.alone(old):
        _refuse_takes(old)
        with room_for(old, new), contextlib.ExitStack() as undo, _nothing_written(old):
            undo.callback(_clear, old)
            n_sounds, n_missing = _sounds(old, new)
            records = _records(old, new, action, f"{n_sounds} sounds")
            _settle(new)
            _refuse_takes(old)  # again: a system without locks lets one begin meanwhile
            switch()
            undo.pop_all()
        _settle_folder(old.folder)
        old.close()
        switching.end_rekeying(old.place)
        _clear(new)
    if not records:
        with new.change(action, "", f"{n_sounds} sounds"):
            pass
    return Converted(n_sounds, n_missing, records)


def _refuse_takes(caseload: Caseload) -> None:
    if drafts.any_drafts(caseload):
        raise RefusedError(f"caseload {caseload.folder.name}: a take is under way; finish it or throw it away first")
    if leftovers.any_exports(caseload):
        raise RefusedError(f"caseload {caseload.folder.name}: an export is being made; wait for it, and do it again")


def _clear(stands: Caseload) -> None:
    """Erase what has the other form than the caseload that stands."""
    clips.sweep(stands)
    clips.erase_other_form(stands)


@contextlib.contextmanager
def _nothing_written(caseload: Caseload) -> Iterator[None]:
    """Hold the right to write to a SQLite database, so that nothing is added to it meanwhile."""
    if caseload.place.database(encrypted=False) is None:
        yield
        return
    with caseload._worded(), caseload.engine.execution_options(writing=True).begin():
        yield


def _sounds(old: Caseload, new: Caseload) -> tuple[int, int]:
    """Keep every sound in the new form too, and read it back; each is checked by its hash in both."""
    n_missing = 0
    named = sorted(clips.clips_of_rows(old))
    for sha256, suffix in named:
        if not clips.clip_path(old, sha256, suffix).exists():
            n_missing += 1
            continue
        clips.write_clip(new, sha256, suffix, clips.clip_bytes(old, sha256, suffix))
        clips.clip_bytes(new, sha256, suffix)
    return len(named) - n_missing, n_missing


def _records(old: Caseload, new: Caseload, action: str, detail: str) -> bool:
    """Put the SQLite database in its new form in place; False where a database of another kind keeps the records."""
    source, target = (one.place.database(encrypted=one.encrypted) for one in (old, new))
    if source is None or target is None:
        return False
    made = clips.half_made(target)
    clips.erase_database(made)
    rights.make_private(made)
    from sqlcipher3 import dbapi2

    try:
        with contextlib.closing(_opened(source, old.keys)) as connection:
            raw = raw_key(new.keys) if new.keys is not None else ""
            connection.execute("ATTACH DATABASE ? AS made KEY ?", (str(made), raw))
            connection.execute("SELECT sqlcipher_export('made')").fetchall()
        _compare((source, old.keys), (made, new.keys))
    except (dbapi2.Error, ValueError):
        raise CaseloadError(
            f"caseload {old.folder.name}: its records could not be written in the other form; see that the disk has"
            " room; nothing was changed"
        ) from None
    _note(made, new, action, detail)
    if made.with_name(f"{made.name}-wal").exists():  # it would be left behind, and with it the line just written
        raise CaseloadError(f"caseload {old.folder.name}: another program reads its new database; do it again")
    if target != source:
        clips.erase_database(target)
        made.replace(target)
    return True


def _note(path: Path, new: Caseload, action: str, detail: str) -> None:
    engine = sqlite_engine(path, new.keys)
    with contextlib.ExitStack() as until_noted:
        until_noted.callback(engine.dispose)
        with new._worded(), engine.execution_options(writing=True).begin() as connection:
            with sealing_rows(connection):
                new.note(connection, action, "", detail)
            tally.erase(connection)
            if new.encrypted:
                tally.write(connection)


def _opened(path: Path, by: keys.Keys | None) -> Any:
    """Open a SQLite file by SQLCipher's own SQLite, plain without keys; transactions are not begun by the driver."""
    from sqlcipher3 import dbapi2

    if by is None:
        connection = dbapi2.connect(str(path))
        for pragma in ("cipher_log_level = NONE", "temp_store = MEMORY"):
            connection.execute(f"PRAGMA {pragma}")
    else:
        connection = open_sealed(path, by)
    connection.isolation_level = None
    return connection


def _compare(first: tuple[Path, keys.Keys | None], second: tuple[Path, keys.Keys | None]) -> None:
    """Compare two SQLite files table by table and row by row.

    Raises
    ------
    ValueError
        When they differ, or the second is damaged.
    """
    with contextlib.closing(_opened(*first)) as old, contextlib.closing(_opened(*second)) as new:
        whole = new.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        if second[1] is not None:
            whole = whole and not new.execute("PRAGMA cipher_integrity_check").fetchall()
        described = "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type, name"
        tables = [name for kind, name, _ in old.execute(described) if kind == "table"]
        if not whole or old.execute(described).fetchall() != new.execute(described).fetchall():
            raise ValueError("damaged")
        for name in tables:
            rows = f'SELECT * FROM "{name}" ORDER BY rowid'
            for one, other in zip(old.execute(rows), new.execute(rows), strict=True):
                if one != other:
                    raise ValueError(name)


def _settle(new: Caseload) -> None:
    """Have the disk hold every new file and its name before the switch, so that losing power keeps the order of steps.

    Once all are written: the system then does it in one go, which is many times faster than after each.
    """
    database = new.place.database(encrypted=new.encrypted)
    if database is not None and (made := clips.half_made(database)).exists():  # takes its place at the switch
        database = made
    sounds = [path for path in clips.clip_files(new) if (path.suffix == sealing.SUFFIX) == new.encrypted]
    for path in (*sounds, *([database] if database is not None else [])):
        with path.open("rb+") as stream:
            os.fsync(stream.fileno())
    folders = {path.parent for path in sounds} | {clips.audio_folder(new), new.folder}
    for folder in sorted(folders | ({database.parent} if database is not None else set())):
        _settle_folder(folder)


def _settle_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def change_passphrase(folder: Path, ask: Ask, ask_new: Ask, *, who: str = "") -> None:
    """Wrap the caseload's key by a new passphrase; nothing else is written anew.

    Raises
    ------
    CaseloadError
        When the old passphrase is not the one, or the new one is too short.
    RefusedError
        When the caseload is not encrypted.
    """
    if not keys.is_encrypted(folder):
        raise RefusedError(f"caseload {folder.name}: not encrypted")
    keys.need_extra()
    kept = keys.read_key_file(folder)
    key = keys.unwrap(kept, old := ask())
    new = keys.wrap(key, keys.checked_passphrase(ask_new()), records_too=kept.records_too)
    with open_caseload(folder, who=who, create=False, ask=lambda: old) as one, one.change("passphrase changed", ""):
        keys.write_key_file(folder, new)


def recover(folder: Path, ask_code: Ask, ask_new: Ask, *, who: str = "") -> None:
    """Open an encrypted caseload by its recovery code and give it a new passphrase; ``key.json`` may be lost.

    Raises
    ------
    CaseloadError
        When the code is none, or not this caseload's, or the new passphrase is too short.
    RefusedError
        When nothing encrypted is there.
    """
    switching.finish_rekeying(folder)
    place = read_place(folder)
    sealed = place.database(encrypted=True)
    sounds = [path for path in paths_in(folder / "audio", "??/*") if path.suffix == sealing.SUFFIX]
    if not (keys.is_encrypted(folder) or (sealed is not None and sealed.exists()) or sounds):
        raise RefusedError(f"caseload {folder.name}: not encrypted")
    keys.need_extra()
    key = keys.key_from_code(ask_code())
    if not _opens(place, keys.subkeys(key), sounds):
        raise CaseloadError(f"caseload {folder.name}: the recovery code is another caseload's; look for the right one")
    new = keys.checked_passphrase(ask_new())
    keys.write_key_file(folder, keys.wrap(key, new, records_too=sealed is not None))
    with (
        open_caseload(folder, who=who, create=False, ask=lambda: new, accept_mixed=True) as one,
        one.change("passphrase set by the recovery code", ""),
    ):
        pass


def _opens(place: Place, by: keys.Keys, sounds: list[Path]) -> bool:
    """Say whether a key opens what is there: the database, else the first sound, else what ``key.json`` names."""
    from sqlcipher3 import dbapi2

    sealed = place.database(encrypted=True)
    if sealed is not None and sealed.exists():
        try:
            with contextlib.closing(open_sealed(sealed, by)) as connection:
                connection.execute("SELECT count(*) FROM sqlite_master").fetchall()
        except dbapi2.Error:
            return False
        return True
    if sounds:
        try:
            sealing.unseal(by, sounds[0].stem, sounds[0].read_bytes())
        except CaseloadError:
            return False
        return True
    return keys.read_key_file(place.folder).identity == by.identity
