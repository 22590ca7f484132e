"""``sibilant agree``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from .case_options import as_json, caseload, client_first
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant agree C-7QXK 3 4")
@click.argument("named", nargs=-1, metavar="[CLIENT] [SESSION]...")
@click.option("--rater", "raters", multiple=True, metavar="CODE", help="Only these; may be repeated.")
@caseload
@as_json
def command(named: tuple[str, ...], raters: tuple[str, ...], caseload: CaseloadHandle, as_json: bool) -> None:
    """Agreement of raters, and of each with themselves: point-to-point, kappa, alpha, ICC, with intervals."""
    from sibilant.clinic import agree
    from sibilant.errors import UsageError

    client, rest = client_first(named)
    if not all(number.isdecimal() for number in rest):
        raise UsageError("after the client come session numbers, as in 3 4")
    sessions = [int(number) for number in rest]
    found = agree.agree(caseload, client, sessions, raters=raters)
    if as_json:
        print_json(found)
        return
    for one in found:
        for line in agree.lines(one):
            click.echo(line)
