"""Backups of the caseload: taken while others work, and restored beside it or in its place."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from .. import store
from ..errors import CaseloadError, OutputError, SibilantError
from .caseload import CaseloadHandle, opened, secret
from .receipts import BackupMade, Restored
from .reminders import note_backup

OWN_PASSPHRASE_FROM = "SIBILANT_BACKUP_PASSPHRASE"
PLAIN = "the backup is not encrypted: keep it on an encrypted disk, or give it a passphrase (--own-passphrase)"
ERASED_SINCE = (
    "{codes}: in the backup and not in the caseload it replaces; if they were erased since, erase them again:"
    " sibilant client remove CODE --all --erase"
)
WITHDRAWN = "consents, holds and erasures since the backup was taken are undone by it; see that they are done again"
OLD_CODES = "older backups hold clients who were erased since; see to them as your rules for keeping say"


def backup(
    caseload: CaseloadHandle, to: Path, *, own_passphrase: bool, remind_after: int | None, tell: Callable[[str], None]
) -> BackupMade:
    """Write the caseload into one new file, as it stood at one moment, while others may go on working.

    Parameters
    ----------
    caseload : CaseloadHandle
        Its folder.
    to : Path
        The new file.
    own_passphrase : bool
        Whether a plain caseload's backup gets a passphrase of its own, asked twice or from
        ``SIBILANT_BACKUP_PASSPHRASE``.
    remind_after : int or None
        After how many days without a backup to remind, from now on; the clinic's own number.
    tell : callable
        Is given the recovery code of a backup with a passphrase of its own.

    Raises
    ------
    RefusedError
        When the file exists or lies in the caseload's folder.
    CaseloadError
        When there is none, or its records lie in a database of another kind.
    OutputError
        When the file can't be written and read back whole.
    """
    with opened(caseload) as one:
        passphrase = secret(OWN_PASSPHRASE_FROM, "passphrase of the backup", twice=True) if own_passphrase else ""
        done = store.write_backup(one, to, passphrase=passphrase, tell=tell)
        noted = _noted(one, remind_after)
    notes = [] if done.encrypted else [PLAIN]
    notes += [f"damaged before it was taken, and not put right by it: {name}" for name in done.lost]
    notes += [] if noted else ["its day could not be noted in the caseload's folder (read-only or full)"]
    return {
        "caseload": caseload.folder.name,
        "backup": to.name,
        "encrypted": done.encrypted,
        "rows": done.n_rows,
        "sounds": done.n_sounds,
        "bytes": done.n_bytes,
        "damaged_before": list(done.lost),
        "notes": [*notes, OLD_CODES],
    }


def _noted(one: store.Caseload, remind_after: int | None) -> bool:
    """Note the day of a backup while nobody clears up; False where it can't be written."""
    try:
        with store.together(one):
            return note_backup(one.folder, store.day_of(one), remind_after)
    except (CaseloadError, OutputError):
        return False


def restore(
    caseload: CaseloadHandle, backup: Path, *, to: Path | None, in_place: bool, anyway: bool = False
) -> Restored:
    """Make a caseload of a backup again: in a new folder, or in place of the present one, which is set aside.

    Raises
    ------
    InputError
        When the backup is missing or no regular file.
    RefusedError
        When something stands in the folder and it is not to be replaced, or a take is under way there.
    CaseloadError
        When the backup is damaged and ``anyway`` is not said, or the passphrase is missing or not the one.
    OutputError
        When the folder can't be written.
    """
    folder = to or caseload.folder
    before = _codes(replace(caseload, folder=folder)) if in_place else None
    done = store.restore_backup(
        backup, folder, ask=_passphrase, who=os.environ.get("SIBILANT_WHO", ""), in_place=in_place, anyway=anyway
    )
    notes = [f"not whole: {name}" for name in done.not_whole]
    if done.aside is not None:
        notes.append(f"the caseload before lies in {done.aside.name}, as it was; take it away when all is well")
    if before is not None and (back := sorted(set(done.clients) - before)):
        notes.append(ERASED_SINCE.format(codes=", ".join(back)))
    return {
        "caseload": folder.name,
        "backup": backup.name,
        "made_at": done.made_at,
        "encrypted": done.encrypted,
        "rows": done.n_rows,
        "sounds": done.n_sounds,
        "clients": len(done.clients),
        "not_whole": list(done.not_whole),
        "set_aside": done.aside.name if done.aside is not None else None,
        "notes": [*notes, WITHDRAWN],
    }


def _passphrase() -> str:
    return os.environ.get(OWN_PASSPHRASE_FROM) or secret(store.PASSPHRASE_FROM, "passphrase of the backup")


def _codes(caseload: CaseloadHandle) -> set[str] | None:
    """The clients of the caseload that is replaced; None where it can't be opened any more."""
    try:
        with opened(caseload) as one:
            return set(store.codes(one))
    except SibilantError:
        return None
