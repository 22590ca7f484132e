"""``sibilant caseload``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, caseload
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

ASKED = "The passphrase is asked in the terminal, or taken from SIBILANT_PASSPHRASE; it is never an argument."


@click.group()
def command() -> None:
    """See whether the caseload is encrypted and whole, encrypt or decrypt it, change its passphrase.

    Example: sibilant caseload status
    """


def _print(done: dict[str, Any], *, as_json: bool) -> None:
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


@command.command(epilog=f"{ASKED} Example: sibilant caseload encrypt")
@caseload
@as_json
def encrypt(caseload: CaseloadHandle, as_json: bool) -> None:
    """Encrypt the caseload, or start an encrypted one; prints the recovery code once.

    Write the code down and keep it apart: without passphrase and code nothing in the caseload can be read again. Needs
    the extra sibilant[private]. Killed at any moment, the caseload is whole in one form; run it again.
    """
    from sibilant.clinic import encryption

    def tell(code: str) -> None:
        click.echo(f"recovery code, shown once: {code}", err=as_json)

    _print(encryption.encrypt(caseload, tell=tell), as_json=as_json)


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
