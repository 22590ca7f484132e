"""``sibilant progress``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, caseload, client
from .shown import print_json, print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

COLUMNS = ("session", "on", "phase", "level", "cue", "device", "correct", "by ear", "figure", "measured", "checked")


@click.command(epilog="Example: sibilant progress C-7QXK --measure centroid_hz --to months.svg")
@client
@click.option("--measure", "measures", multiple=True, metavar="KEY", help="Beside the main one; may be repeated.")
@click.option("--words", default="untreated", show_default=True, metavar="WHICH", help="untreated, treated or all.")
@click.option("--rater", default="", metavar="CODE", help="Whose ear; default: who judged most.")
@click.option("--to", type=click.Path(path_type=Path), metavar="FIGURE", help="Draw the months chart here.")
@click.option("--worked", is_flag=True, help="Also how everything was worked out.")
@caseload
@as_json
def command(
    client: str | None,
    to: Path | None,
    worked: bool,
    caseload: CaseloadHandle,
    as_json: bool,
    **asked: Any,
) -> None:
    """Sessions, change against measurement error, trend and accuracy of one client."""
    from sibilant.clinic import months_chart, plain, summarise, told, worked_out

    view, case = summarise.case_view(caseload, client, **asked)
    if to is not None:
        months_chart.figure(view, case, to)
    if as_json:
        print_json(plain.plain(view))
        return
    print_table(summarise.session_rows(view), COLUMNS)
    below = worked_out.lines(view) if worked else ["", *told.sentences(view), "", *worked_out.in_short(view)]
    for line in below:
        click.echo(line)
    if not worked:
        click.echo("All of it, and how it was worked out: sibilant progress --worked")
