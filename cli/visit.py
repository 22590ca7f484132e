"""``sibilant visit``."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import click

from sibilant.terms.vocabulary import VISITS

from .case_options import Word, caseload, client, on
from .shown import print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant visit C-7QXK --on 2026-03-02 --minutes 45")
@client
@click.option("--kind", type=Word(VISITS), default="attended", show_default=True)
@click.option("--minutes", type=click.IntRange(min=1, max=600), metavar="N")
@on("The day of the appointment; default today.")
@click.option("--list", "listed", is_flag=True, help="List a client's visits instead.")
@click.option("--remove", type=click.IntRange(min=1), metavar="N", help="Take out the visit of this number.")
@caseload
def command(
    client: str | None,
    kind: str,
    minutes: int | None,
    on: dt.date | None,
    listed: bool,
    remove: int | None,
    caseload: CaseloadHandle,
) -> None:
    """Keep an appointment: attended, called off, or not attended."""
    from sibilant.clinic import visits

    if listed:
        print_table(visits.list_visits(caseload, client), ("visit", "on", "kind", "minutes"))
    elif remove is not None:
        visits.remove_visit(caseload, client, remove)
        click.echo(f"visit {remove}: removed")
    else:
        click.echo(f"{visits.add_visit(caseload, client, kind, on=on, minutes=minutes)}: {kind}")
