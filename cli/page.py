"""``sibilant page``."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from .case_options import caseload

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant page --port 8737")
@click.option("--port", type=click.IntRange(1, 65535), metavar="N", help="Default: 8737, or any free one.")
@click.option("--open", "open_it", is_flag=True, help="Open it in the browser as well.")
@caseload
def command(port: int | None, open_it: bool, caseload: CaseloadHandle) -> None:
    """Serve the page on 127.0.0.1 only: capture, judge, review, progress; Ctrl-C stops it.

    The address printed carries a key that is good once; when it is used, another is printed. With --open the key is
    handed to the browser by a file that only you can read, and stands in no address. The page of an encrypted caseload
    is locked after 15 minutes without use (lock_after_minutes in caseload.toml); its passphrase, typed in this
    terminal, unlocks it.
    """
    try:
        from sibilant.web import serve
    except ImportError as error:
        from sibilant.errors import InputError

        raise InputError("the page needs an optional part; install it with pip install sibilant[page]") from error

    from .offering import offer_encryption

    offer_encryption(caseload)
    told: list[str] = []

    def announce(address: str) -> None:
        if told:
            click.echo(f"That key is used up; for another window or browser: {address}", err=True)
            return
        told.append(address)
        click.echo(f"Open {address}")
        click.echo("It answers on this machine only, and only to that address; Ctrl-C stops it.", err=True)

    def launch(path: str) -> None:
        click.launch(path)

    serve(caseload, port=port, announce=announce, launch=launch if open_it else None, locked=lambda: _unlock(caseload))


def _unlock(caseload: CaseloadHandle) -> None:
    """Ask until the passphrase is the one; where nobody can be asked the page stays locked."""
    from sibilant.clinic import encryption
    from sibilant.errors import CaseloadError

    click.echo("The page is locked, as nobody used it for a while.", err=True)
    while sys.stdin.isatty():
        try:
            encryption.unlock_again(caseload)
        except CaseloadError as wrong:
            click.echo(str(wrong), err=True)
        else:
            click.echo("The page is unlocked.", err=True)
            return
