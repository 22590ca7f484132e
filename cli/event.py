"""``sibilant event``."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import click

from .case_options import ask_about_names, caseload, client_first, no_name, on
from .shown import print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog='Example: sibilant event C-7QXK --on 2026-03-02 "upper incisors lost"')
@click.argument("words", nargs=-1, metavar="[CLIENT] TEXT")
@on("The day it happened; default today.")
@click.option("--list", "listed", is_flag=True, help="List a client's events instead.")
@click.option("--remove", type=click.IntRange(min=1), metavar="N", help="Take out the event of this number.")
@no_name
@caseload
def command(
    words: tuple[str, ...],
    on: dt.date | None,
    listed: bool,
    remove: int | None,
    no_name: bool,
    caseload: CaseloadHandle,
) -> None:
    """Keep a dated event that may bear on the figures: a lost tooth, an illness."""
    from sibilant.clinic import clients
    from sibilant.errors import UsageError

    client, rest = client_first(words)
    if listed:
        print_table(clients.list_events(caseload, client), ("event", "on", "text"))
        return
    if remove is not None:
        whose, gone = clients.remove_event(caseload, client, remove)
        click.echo(f"{whose} {gone.on.isoformat()}: removed")
        return
    text = " ".join(rest).strip()
    if not text:
        raise UsageError('say what happened, as in "upper incisors lost"; no names')
    ask_about_names(no_name, event=text)
    whose, event = clients.add_event(caseload, client, text, on)
    last = "" if client else " (the client used last, as no code was given)"
    click.echo(f"{whose}{last}, {event.on.isoformat()}: {event.text}")
