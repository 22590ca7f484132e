"""``sibilant device``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, ask_about_names, caseload, no_name
from .shown import print_json, print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.group()
def command() -> None:
    """Register microphones and places; another one breaks the line of a chart.

    Example: sibilant device add desk --kind "condenser" --place "room 4" --distance-cm 20
    """


@command.command(epilog='Example: sibilant device add desk --kind condenser --place "room 4" --distance-cm 20')
@click.argument("name")
@click.option("--kind", default="", metavar="TEXT")
@click.option("--place", default="", metavar="TEXT")
@click.option("--distance-cm", type=click.FloatRange(min=0, min_open=True), metavar="CM")
@click.option("--response", default="", metavar="TEXT", help="Name of its response file, if there is one.")
@no_name
@caseload
def add(name: str, no_name: bool, caseload: CaseloadHandle, **asked: Any) -> None:
    """Register a microphone and place."""
    from sibilant.clinic import clients
    from sibilant.terms.clinic import Device

    ask_about_names(no_name, name=name, place=str(asked["place"]))
    device = clients.add_device(caseload, Device(name, **asked))
    click.echo(f"{device.name} registered")


@command.command("list", epilog="Example: sibilant device list")
@caseload
@as_json
def list_(caseload: CaseloadHandle, as_json: bool) -> None:
    """List registered microphones and places."""
    from sibilant.clinic import clients

    rows = clients.list_devices(caseload)
    if as_json:
        print_json(rows)
    else:
        print_table(rows, ("name", "kind", "place", "distance_cm", "response", "added_on"))
