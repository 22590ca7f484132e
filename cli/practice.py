"""``sibilant practice``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sibilant.terms.vocabulary import PRACTICE_LEVELS

from .case_options import Word, caseload

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant practice --words pool-s-initial --level word --to practice.pdf")
@click.argument("client", required=False, default="")
@click.option("--words", default="", metavar="LIST", help="LIST.csv or a built-in list (sibilant lists).")
@click.option("--level", type=Word(PRACTICE_LEVELS), default="word", show_default=True)
@click.option("--probe-words", is_flag=True, help="Let words of the client's own probe on; they count as treated then.")
@caseload
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FILE.pdf", help="Or .html, .docx.")
def command(client: str, words: str, level: str, probe_words: bool, caseload: CaseloadHandle, to: Path) -> None:
    """Write a home practice sheet: large print, boxes to tick that are never counted."""
    from sibilant.clinic import practise

    request = practise.SheetRequest(level, words, client, probe_words)
    practise.write_sheet(request, to, caseload=caseload)
    click.echo(f"{to.name} written")
