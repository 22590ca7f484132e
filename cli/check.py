"""``sibilant check``."""

from __future__ import annotations

from pathlib import Path

import click

from .shown import print_json


@click.command(epilog="Example: sibilant check probe.wav --json")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RECORDING...")
@click.option("--channel", type=click.IntRange(min=1), help="Which channel of several, from 1.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else.")
def command(recordings: tuple[Path, ...], channel: int | None, as_json: bool) -> None:
    """Say what each recording can and cannot support, and what would help most.

    A bad verdict is not an error: the exit code is 0.
    """
    from sibilant.listening import check as verb

    checked = verb.check(recordings, channel=channel)
    if as_json:
        print_json(checked)
        return
    for each in checked:
        for line in verb.lines(each):
            click.echo(line)
