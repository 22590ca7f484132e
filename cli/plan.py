"""``sibilant plan``."""

from __future__ import annotations

from typing import Any

import click

from .case_options import as_json, caseload
from .shown import print_json, print_table

COLUMNS = ("words", "baselines", "limit", "two probes", "alarm a probe", "alarm a year", "missed", "enough")


@click.command(epilog="Example: sibilant plan --measure centroid_hz --change 600 --client C-7QXK")
@click.option("--measure", "key", required=True, metavar="KEY")
@click.option("--change", required=True, type=float, metavar="X", help="The wanted change, in the measure's unit.")
@click.option("--client", metavar="CLIENT", help="Take token and day-to-day SD from this client's baseline.")
@click.option("--token-sd", type=float, metavar="X", help="SD of one token, where it is known.")
@click.option("--day-sd", type=float, default=0.0, metavar="X", help="SD from day to day, where it is known.")
@click.option(
    "--year-alarm",
    type=float,
    default=0.05,
    show_default=True,
    metavar="SHARE",
    help="Yearly alarm that is still right for a client who did not change (twelve monthly probes).",
)
@caseload
@as_json
def command(key: str, change: float, as_json: bool, **asked: Any) -> None:
    """How many words and baseline probes a wanted change needs."""
    from sibilant.clinic import plan

    plans = plan.plan(key, change, **asked)
    if as_json:
        print_json([plan.as_plain(one) for one in plans])
        return
    for one in plans:
        for line in plan.lines(one):
            click.echo(line)
        print_table(plan.rows(one), COLUMNS)
