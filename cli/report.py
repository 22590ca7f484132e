"""``sibilant report``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sibilant.terms.vocabulary import REPORT_KINDS

from .case_options import Word, caseload, client

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant report C-7QXK --kind monthly --to monthly.pdf")
@client
@click.option("--kind", type=Word(REPORT_KINDS), default="monthly", show_default=True)
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FILE.pdf", help="Or .html, .docx.")
@click.option("--session", type=click.IntRange(min=1), metavar="N", help="As it stood then; default: the last.")
@click.option("--range", "published_range", is_flag=True, help="Show a published range that fits.")
@click.option("--words", default="untreated", show_default=True, metavar="WHICH", help="untreated, treated or all.")
@click.option("--rater", default="", metavar="CODE", help="Whose ear; default: who judged most.")
@click.option("--filed-as", default="", metavar="TEXT", help="The clinic's own name for the file; printed, not kept.")
@click.option("--charts", type=click.Path(path_type=Path), metavar="FOLDER", help="Draw every chart here as well.")
@click.option("--pair", type=click.Path(path_type=Path), metavar="FOLDER", help="Two sounds of one word for a family.")
@click.option("--listened", is_flag=True, help="With --pair: you have listened to both and confirm them.")
@caseload
def command(
    client: str | None,
    kind: str,
    to: Path,
    charts: Path | None,
    pair: Path | None,
    listened: bool,
    caseload: CaseloadHandle,
    **ticked: Any,
) -> None:
    """A report to edit and sign: what was heard, what was measured, what is missing."""
    from sibilant.clinic import report

    report.make_report(caseload, client, kind, to, ticked=report.Ticked(**ticked))
    click.echo(f"{to.name} written: read it, fill in the empty fields, and sign it; it is a draft")
    if charts is None and pair is None:
        return
    from sibilant.clinic import draw

    if charts is not None:
        click.echo(f"{len(draw.draw_all(caseload, client, charts))} charts drawn")
    if pair is not None:
        first, second = draw.write_pair(caseload, client, pair, confirmed=listened)
        click.echo(f"{first.name} (early) and {second.name} (late) written, equally loud")
