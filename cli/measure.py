"""``sibilant measure``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from .shown import print_json, print_table


@click.command(epilog='Example: sibilant measure probe.wav --say "seal, bus, fossil" --to probe.csv')
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RECORDING...")
@click.option(
    "--words", default="", metavar="LIST", help="LIST.csv or a built-in list: the prompts in the order spoken."
)
@click.option("--say", default="", metavar="TEXT", help='The prompts in the order spoken, as in "seal, bus, fossil".')
@click.option("--to", type=click.Path(path_type=Path), metavar="TABLE.csv", help="Write the table here.")
@click.option(
    "--method",
    "names",
    multiple=True,
    metavar="NAME",
    help="May be repeated; without it the widest house method that all these recordings hold.",
)
@click.option("--same-band", is_flag=True, help="Narrow the method to what all these recordings hold, and name it so.")
@click.option("--modelled", is_flag=True, help="A model was given before each answer; it is left out.")
@click.option("--channel", type=click.IntRange(min=1), help="Which channel of several, from 1.")
@click.option("--response", type=click.Path(path_type=Path), help="Microphone response: frequency_hz, level_db.")
@click.option("--intervals", type=click.Path(path_type=Path), help="Edges already marked: CSV, WebVTT or JSON-LD.")
@click.option("--alias", default="", metavar="TEXT", help="Name to show in place of the file's.")
@click.option("--figures", type=click.Path(path_type=Path), metavar="FOLDER", help="Write pictures here.")
@click.option(
    "--columns",
    type=click.Choice(["few", "all"]),
    default="few",
    show_default=True,
    help="What the terminal shows; files and JSON always hold all.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else.")
def command(
    recordings: tuple[Path, ...],
    to: Path | None,
    names: tuple[str, ...],
    figures: Path | None,
    columns: str,
    as_json: bool,
    **asked: Any,
) -> None:
    """Find and measure the sibilants of recordings."""
    from sibilant.listening import measure as verb

    results = verb.measure(verb.MeasureRequest(recordings, method_names=names, **asked))
    if to is not None:
        verb.write(results, to)
    if figures is not None:
        from sibilant.listening import pictures

        pictures.write(results, figures)
    rows = verb.shown_rows(results)
    if as_json:
        print_json(rows)
    elif to is None:
        print_table(rows, verb.shown_columns(rows, all_columns=columns == "all"))
        for line in verb.summary(results):
            click.echo(line)
