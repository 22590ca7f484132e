"""``sibilant import``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import Day, as_json, ask_about_names, caseload, no_name
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command("import", epilog="Example: sibilant import shared/case-1 --day-zero 2026-01-12")
@click.argument("folder", type=click.Path(path_type=Path), metavar="FOLDER|TABLE.csv")
@click.option(
    "--day-zero", type=Day(), metavar="DATE", help="Day of the first probe; default: the last falls on today."
)
@click.option("--new-code", is_flag=True, help="Under another random code.")
@click.option("--client", metavar="CLIENT", help="Whose earlier hand-made table this is.")
@click.option("--source", default="", metavar="TEXT", help="Where the hand-made table comes from.")
@no_name
@caseload
@as_json
def command(
    folder: Path,
    client: str | None,
    source: str,
    no_name: bool,
    caseload: CaseloadHandle,
    as_json: bool,
    **asked: Any,
) -> None:
    """Keep a client from an export, or an earlier hand-made probe table (a CSV) with its source.

    The table's columns: on, correct, scored; or on, measure, value, sd, n; also level, cue, list, note.
    """
    from sibilant.clinic import earlier, exchange

    ask_about_names(no_name, source=source)
    if folder.suffix.lower() == ".csv":
        table = earlier.import_earlier(caseload, client, folder, source=source)
        _say(table, f"{table['client']}: {table['probes']} earlier probes kept; source: {table['source']}", as_json)
        return
    done = exchange.import_folder(caseload, folder, **asked)
    counted = f"{done['sessions']} sessions, {done['tokens']} tokens; first probe {done['day_zero']}"
    _say(done, f"{done['client']}: {counted}", as_json)


def _say(done: object, text: str, as_json: bool) -> None:
    if as_json:
        print_json(done)
    else:
        click.echo(text)
