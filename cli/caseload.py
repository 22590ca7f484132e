"""``sibilant caseload``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, caseload
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

ASKED = "The passphrase is asked in the terminal, or taken from SIBILANT_PASSPHRASE; it is never an argument."


@click.group()
def command() -> None:
    """See whether the caseload is encrypted and whole, back it up and restore it, encrypt or decrypt it.

    Example: sibilant caseload status
    """


def _print(done: Mapping[str, Any], *, as_json: bool) -> None:
    if as_json:
        print_json(done)
        return
    said = "encrypted" if done["encrypted"] else "not encrypted"
    sounds = f", {done['sounds']} sounds" if "sounds" in done else ""
    click.echo(f"caseload {done['caseload']}: {said}{sounds}")
    for line in done.get("not_covered", ()):
        click.echo(f"  not covered: {line}")
    for note in done["notes"]:
        click.echo(f"caution: {note}", err=True)


@command.command(epilog="Example: sibilant caseload status --json")
@caseload
@as_json
def status(caseload: CaseloadHandle, as_json: bool) -> None:
    """Say whether the caseload is encrypted, and what that does not cover."""
    from sibilant.clinic import encryption

    _print(encryption.status(caseload), as_json=as_json)


@command.command(epilog="Example: sibilant caseload check")
@caseload
@as_json
@click.pass_context
def check(context: click.Context, caseload: CaseloadHandle, as_json: bool) -> None:
    """Compare every row and every kept sound with what was noted when it was kept; nothing is changed.

    Names what is damaged, missing, changed, plain in an encrypted caseload, or unreadable. Exit 0 whole, 3 not.
    """
    from sibilant.clinic import wholeness

    done = wholeness.check(caseload)
    if as_json:
        print_json(done)
    else:
        click.echo("\n".join(wholeness.lines(done)))
    if not done["whole"]:
        context.exit(3)


sheet = click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    metavar="FILE.pdf|.html",
    help="Also write the recovery code on a sheet to print; erase the file once it is printed.",
)


@command.command(epilog=f"{ASKED} Example: sibilant caseload encrypt --sheet recovery.pdf")
@sheet
@caseload
@as_json
def encrypt(sheet: Path | None, caseload: CaseloadHandle, as_json: bool) -> None:
    """Encrypt the caseload, or start an encrypted one; prints the recovery code once.

    Write the code down and keep it apart: without passphrase and code nothing in the caseload can be read again. Needs
    the extra sibilant[private]. Killed at any moment, the caseload is whole in one form; run it again.
    """
    from sibilant.clinic import encryption

    def tell(code: str) -> None:
        click.echo(f"recovery code, shown once: {code}", err=as_json)

    _print(encryption.encrypt(caseload, tell=tell, sheet=sheet), as_json=as_json)


@command.command(epilog=f"{ASKED} Example: sibilant caseload rekey --sheet recovery.pdf")
@sheet
@caseload
@as_json
def rekey(sheet: Path | None, caseload: CaseloadHandle, as_json: bool) -> None:
    """Encrypt the encrypted caseload anew by another key; nothing is plain on the way.

    After a leak of passphrase, recovery code or a copy of key.json. The new passphrase is asked twice, or taken from
    SIBILANT_NEW_PASSPHRASE; a new recovery code is shown once. Needs room for the caseload twice.
    """
    from sibilant.clinic import encryption

    def tell(code: str) -> None:
        click.echo(f"recovery code, shown once: {code}", err=as_json)

    _print(encryption.rekey(caseload, tell=tell, sheet=sheet), as_json=as_json)


@command.command(epilog=f"{ASKED} Example: sibilant caseload decrypt")
@caseload
@as_json
def decrypt(caseload: CaseloadHandle, as_json: bool) -> None:
    """Turn the encrypted caseload into a plain one."""
    from sibilant.clinic import encryption

    _print(encryption.decrypt(caseload), as_json=as_json)


@command.command(epilog="Example: sibilant caseload passphrase --recover")
@click.option("--recover", is_flag=True, help="By the recovery code, when the passphrase or key.json is lost.")
@caseload
@as_json
def passphrase(recover: bool, caseload: CaseloadHandle, as_json: bool) -> None:
    """Change the passphrase; nothing else is written anew.

    Passphrase, new passphrase and recovery code are asked in the terminal, or taken from SIBILANT_PASSPHRASE,
    SIBILANT_NEW_PASSPHRASE and SIBILANT_RECOVERY_CODE.
    """
    from sibilant.clinic import encryption

    _print(encryption.change_passphrase(caseload, recover=recover), as_json=as_json)


@command.command(epilog="Example: sibilant caseload backup /media/safe/2026-11-26.backup --remind-after 7")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--own-passphrase", is_flag=True, help="Seal a plain caseload's backup under a passphrase of its own.")
@click.option(
    "--remind-after",
    type=click.IntRange(min=1),
    metavar="DAYS",
    help="Remind when the last backup is older, from now on.",
)
@caseload
@as_json
def backup(file: Path, own_passphrase: bool, remind_after: int | None, caseload: CaseloadHandle, as_json: bool) -> None:
    """Write the whole caseload into one new file, encrypted as the caseload is; others may go on working.

    The file is read back before it takes its name. The backup's own passphrase is asked twice, or taken from
    SIBILANT_BACKUP_PASSPHRASE; its recovery code is shown once.
    """
    from sibilant.clinic import backups

    def tell(code: str) -> None:
        click.echo(f"recovery code of the backup, shown once: {code}", err=as_json)

    done = backups.backup(caseload, file, own_passphrase=own_passphrase, remind_after=remind_after, tell=tell)
    said = "encrypted" if done["encrypted"] else "not encrypted"
    _tell(
        done, f"{done['backup']}: {done['rows']} rows and {done['sounds']} sounds, {said}, read back", as_json=as_json
    )


@command.command(epilog="Example: sibilant caseload restore /media/safe/2026-11-26.backup --to restored")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--to", type=click.Path(path_type=Path), metavar="FOLDER", help="A new folder, beside the caseload.")
@click.option("--in-place", is_flag=True, help="In place of the caseload, which is set aside and not erased.")
@click.option("--anyway", is_flag=True, help="What is whole of a damaged backup; what is not is named.")
@caseload
@as_json
def restore(file: Path, to: Path | None, in_place: bool, anyway: bool, caseload: CaseloadHandle, as_json: bool) -> None:
    """Make a caseload of a backup again, every row and sound compared, in one step.

    Without --to or --in-place it goes where the caseload lies by default, if nothing is there. A backup's passphrase is
    asked in the terminal, or taken from SIBILANT_BACKUP_PASSPHRASE or SIBILANT_PASSPHRASE.
    """
    from sibilant.clinic import backups
    from sibilant.errors import UsageError

    if to is not None and in_place:
        raise UsageError("--to names a new folder and --in-place the present one; give one of them")
    done = backups.restore(caseload, file, to=to, in_place=in_place, anyway=anyway)
    head = f"{done['caseload']}: restored from {done['backup']} of {done['made_at']}"
    _tell(done, f"{head}: {done['clients']} clients, {done['rows']} rows, {done['sounds']} sounds", as_json=as_json)


def _tell(done: Mapping[str, Any], head: str, *, as_json: bool) -> None:
    if as_json:
        print_json(done)
        return
    click.echo(head)
    for note in done["notes"]:
        click.echo(f"caution: {note}", err=True)
