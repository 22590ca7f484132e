"""The question whether a caseload is to be encrypted, before anything is kept in it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

WHY = (
    "This caseload is not encrypted. A recording of a voice identifies a person, and what was plain once may stay on"
    " the disk: the best moment to encrypt is now, before the first recording."
)
NO_EXTRA = 'Encryption needs a part that is not installed: pip install "sibilant[private]"'


def offer_encryption(caseload: CaseloadHandle) -> None:
    """Ask in a terminal whether to encrypt now; plain only on a clear no. Where nobody can be asked, nothing is."""
    from sibilant.clinic import encryption

    if not (sys.stdin.isatty() and sys.stderr.isatty()) or not encryption.unasked(caseload):
        return
    click.echo(WHY, err=True)
    if not encryption.can_encrypt():
        click.echo(NO_EXTRA, err=True)
        if not _yes("Go on without encryption?"):
            raise click.Abort
        encryption.stay_plain(caseload)
        return
    if not _yes("Encrypt it now?"):
        encryption.stay_plain(caseload)
        return
    done = encryption.encrypt(caseload, tell=lambda code: click.echo(f"recovery code, shown once: {code}", err=True))
    for note in done["notes"]:
        click.echo(f"caution: {note}", err=True)


def _yes(question: str) -> bool:
    """Ask until the answer is yes or no; nothing is taken for either."""
    while True:
        answer = str(click.prompt(f"{question} (yes or no)", err=True)).strip().lower()
        if answer in {"yes", "y", "no", "n"}:
            return answer.startswith("y")
