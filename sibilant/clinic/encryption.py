"""The caseload itself: whether it is encrypted, encrypting and decrypting it, its passphrase and recovery code."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Callable
from pathlib import Path

from .. import files, store
from ..errors import CaseloadError, RefusedError
from .caseload import CaseloadHandle, cautions, opened, secret
from .receipts import Encrypted, EncryptionStatus, PassphraseChanged
from .recovery import ERASE_IT, recovery_sheet, refuse_sheet, write_sheet
from .reminders import last_backup

NEW_PASSPHRASE_FROM = "SIBILANT_NEW_PASSPHRASE"
PLAIN_CHOSEN = "plain_chosen_on"
RECOVERY_FROM = "SIBILANT_RECOVERY_CODE"
ERASED = (
    "the files in the form before were erased as files are: copies in backups, snapshots and synchronised folders, and"
    " what a disk keeps of erased files (above all an SSD), are not reached"
)
KEEP_CODE = (
    "write the recovery code down and keep it apart from this machine: without passphrase and code the records are"
    " lost, and a law on keeping records may oblige you to have them"
)
OLD_KEY = (
    "the old passphrase and recovery code still open backups and copies of the folder taken before; take a backup now,"
    " and see to the old ones"
)
PLAIN_STAYS = (
    "exports, reports, charts and practice sheets are plain",
    "the recordings that probes were made from, where they lie",
    "what a running program holds in memory, and what the system swaps from there to the disk",
    f"number, rounded length and times of the files, and {store.KEY_FILE}, which names no one",
)


def status(caseload: CaseloadHandle) -> EncryptionStatus:
    """Say whether a caseload is encrypted and what that covers; no passphrase is needed.

    Raises
    ------
    CaseloadError
        When there is none, or its key file is damaged or newer than this program.
    """
    folder = caseload.folder
    store.finish_restoring(folder)
    store.finish_rekeying(folder)
    place = store.read_place(folder)
    encrypted = store.is_encrypted(folder)
    kept = store.read_key_file(folder) if encrypted else None
    own, other = (place.database(encrypted=form) for form in (encrypted, not encrypted))
    if own is not None and not own.exists():
        raise CaseloadError(f"{folder.name}: no caseload here; start one with: sibilant client add")
    sounds = [path for path in files.paths_in(folder / "audio", "??/*") if not path.name.startswith(".")]
    n_sealed = sum(path.suffix == ".sealed" for path in sounds)
    notes = list(cautions(folder))
    if other is not None and other.exists():
        notes.append(f"{other.name} lies beside it and is not read: a backup, or left by a copy; take it away")
    if encrypted and n_sealed < len(sounds):
        notes.append(f"{len(sounds) - n_sealed} plain sounds lie in its audio folder and are not read; take them away")
    left = store.count_plain(folder, encrypted=encrypted)
    if left["plain_pieces_of_takes"]:
        notes.append(
            f"{left['plain_pieces_of_takes']} plain pieces of takes lie in it; the next command takes them away"
        )
    if left["exports_unfinished"]:
        notes.append(f"{left['exports_unfinished']} exports are being made, or were killed; the next command clears up")
    return {
        "caseload": folder.name,
        "encrypted": encrypted,
        "plain_pieces_of_takes": left["plain_pieces_of_takes"],
        "exports_unfinished": left["exports_unfinished"],
        "records": "SQLite" if own is not None else "another database, by url",
        "records_encrypted": encrypted and own is not None,
        "sounds": len(sounds),
        "sounds_encrypted": n_sealed,
        "key": kept.identity if kept is not None else None,
        "last_backup": last_backup(folder),
        "not_covered": list(PLAIN_STAYS) if encrypted else [],
        "notes": notes,
    }


def encrypt(caseload: CaseloadHandle, *, tell: Callable[[str], None], sheet: Path | None = None) -> Encrypted:
    """Encrypt a caseload, or start an encrypted one; ``tell`` is given the recovery code, the result never holds it.

    ``sheet`` is where a recovery sheet is written, to be printed.

    Raises
    ------
    RefusedError
        When it is encrypted already, or a take is under way in it.
    CaseloadError
        When no passphrase is given or it is too short, the extra is not installed, another program is at work in it, or
        a kept sound is damaged; it is then plain as before.
    """
    folder = caseload.folder
    if store.is_encrypted(folder):
        raise RefusedError(f"caseload {folder.name}: encrypted already; sibilant caseload status tells more")
    store.need_extra()
    passphrase = secret(store.PASSPHRASE_FROM, "new passphrase", twice=True)
    tell = _on_paper(caseload, sheet, tell)
    with opened(caseload, create=True) as one:
        done = store.encrypt(one, passphrase, tell=tell)
    caseload.held.give(passphrase)
    return _done(folder, done, (KEEP_CODE, ERASED, *_erase_it(sheet)))


def rekey(caseload: CaseloadHandle, *, tell: Callable[[str], None], sheet: Path | None = None) -> Encrypted:
    """Encrypt an encrypted caseload anew by another key and passphrase, without anything plain on the way.

    Raises
    ------
    RefusedError
        When it is not encrypted, or a take is under way in it.
    CaseloadError
        When a passphrase is missing, not the one or too weak, another program is at work in it, or a kept sound is
        damaged; it is then under its old key as before.
    """
    folder = caseload.folder
    if not store.is_encrypted(folder):
        raise RefusedError(f"caseload {folder.name}: not encrypted; sibilant caseload encrypt does it")
    tell = _on_paper(caseload, sheet, tell)
    with opened(caseload) as one:
        done = store.rekey(one, _new(), tell=tell)
    return _done(folder, done, (KEEP_CODE, OLD_KEY, *_erase_it(sheet)))


def _on_paper(caseload: CaseloadHandle, sheet: Path | None, tell: Callable[[str], None]) -> Callable[[str], None]:
    """Have the recovery code written on a sheet too, before it is told and anything is switched."""
    if sheet is None:
        return tell
    refuse_sheet(sheet, caseload.folder)

    def both(code: str) -> None:
        write_sheet(sheet, recovery_sheet(code, caseload.folder.name, store.identity_of_code(code), caseload.today()))
        tell(code)

    return both


def _erase_it(sheet: Path | None) -> tuple[str, ...]:
    return (ERASE_IT.format(name=sheet.name),) if sheet is not None else ()


def decrypt(caseload: CaseloadHandle) -> Encrypted:
    """Turn an encrypted caseload into a plain one.

    Raises
    ------
    RefusedError
        When it is not encrypted, or a take is under way in it.
    CaseloadError
        When the passphrase is missing or not the one, another program is at work in it, or a kept sound is damaged; it
        is then encrypted as before.
    """
    folder = caseload.folder
    if not store.is_encrypted(folder):
        raise RefusedError(f"caseload {folder.name}: not encrypted")
    with opened(caseload) as one:
        done = store.decrypt(one)
    return _done(folder, done, ())


def _done(folder: Path, done: store.Converted, notes: tuple[str, ...]) -> Encrypted:
    missing = f"{done.n_missing} sounds that the records name were not in the audio folder"
    return {
        "caseload": folder.name,
        "encrypted": store.is_encrypted(folder),
        "sounds": done.n_sounds,
        "records": done.records,
        "notes": [*notes, *((missing,) if done.n_missing else ()), *cautions(folder)],
    }


def change_passphrase(caseload: CaseloadHandle, *, recover: bool = False) -> PassphraseChanged:
    """Give an encrypted caseload a new passphrase, by the old one or by the recovery code.

    Raises
    ------
    RefusedError
        When it is not encrypted.
    CaseloadError
        When passphrase or code is missing or not the one, or the new passphrase is too short.
    """
    folder = caseload.folder
    who = os.environ.get("SIBILANT_WHO", "")
    if recover:
        store.recover(folder, _code, _new, who=who)
    else:
        store.change_passphrase(folder, caseload.passphrase, _new, who=who)
    return {
        "caseload": folder.name,
        "encrypted": True,
        "notes": [f"a copy of the {store.KEY_FILE} before still opens by the passphrase before; see to your backups"],
    }


def _code() -> str:
    return secret(RECOVERY_FROM, "recovery code")


def _new() -> str:
    return secret(NEW_PASSPHRASE_FROM, "new passphrase", twice=True)


def unlock(caseload: CaseloadHandle) -> bool:
    """Ask for the passphrase now where one is needed, and say whether the caseload is encrypted.

    For a program that goes on running, such as the page: what it opens later asks nobody, and once nobody has used it
    for a while (``lock_after_minutes``) it is locked.
    """
    folder = caseload.folder
    if not store.is_encrypted(folder):
        return False
    with opened(caseload):
        caseload.held.guarded = True
        return True


def unlock_again(caseload: CaseloadHandle) -> None:
    """Ask in the terminal for the passphrase of a page that was locked, and unlock it.

    Raises
    ------
    CaseloadError
        When nobody is there to be asked, or it is not the one; the page stays locked.
    """
    name = caseload.folder.name
    if not (sys.stdin and sys.stdin.isatty()):
        raise CaseloadError(
            f"caseload {name}: locked, and no terminal to unlock it in; stop the page and start it again"
        )
    caseload.held.give(getpass.getpass(f"passphrase of caseload {name}: "))
    try:
        with opened(caseload):
            return
    except CaseloadError:
        caseload.held.forget()
        raise


def unasked(caseload: CaseloadHandle) -> bool:
    """Say whether nobody has said yet if this caseload is to be encrypted: it is plain, and not only of invented data.

    Raises
    ------
    CaseloadError
        When it can't be opened.
    """
    folder = caseload.folder
    if store.is_encrypted(folder):
        return False
    place = store.read_place(folder)
    if (own := place.database(encrypted=False)) is not None and not own.exists():
        return True
    with opened(caseload) as one:
        kept = store.clients(one)
        return not one.setting(PLAIN_CHOSEN) and not (kept and all(client.invented for client in kept))


def stay_plain(caseload: CaseloadHandle) -> None:
    """Note that a person chose to leave it plain, so that it is not asked again."""
    with opened(caseload, create=True) as one:
        store.remember(one, {PLAIN_CHOSEN: store.day_of(one).isoformat()})


def can_encrypt() -> bool:
    """Say whether what encryption needs is installed."""
    try:
        store.need_extra()
    except CaseloadError:
        return False
    return True
