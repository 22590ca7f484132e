"""``sibilant practice``."""

from __future__ import annotations

from pathlib import Path

import click

from sibilant.terms.vocabulary import PRACTICE_LEVELS

from .case_options import Word


@click.command(epilog="Example: sibilant practice --words pool-s-initial --level word --to practice.pdf")
@click.argument("client", required=False, default="")
@click.option("--words", default="", metavar="LIST", help="LIST.csv or a built-in list (sibilant lists).")
@click.option("--level", type=Word(PRACTICE_LEVELS), default="word", show_default=True)
@click.option("--probe-words", is_flag=True, help="Let words of the client's own probe on; they count as treated then.")
@click.option("--caseload", type=click.Path(path_type=Path), metavar="FOLDER", help="Where the caseload lies.")
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FILE.pdf", help="Or .html, .docx.")
def command(client: str, words: str, level: str, probe_words: bool, caseload: Path | None, to: Path) -> None:
    """Write a home practice sheet: large print, boxes to tick that are never counted."""
    from sibilant.clinic import practise

    request = practise.SheetRequest(level, words, client, probe_words)
    practise.write_sheet(request, to, folder=caseload)
    click.echo(f"{to.name} written")
