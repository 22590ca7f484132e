"""``sibilant study``."""

from __future__ import annotations

from pathlib import Path

import click

from .shown import print_json


@click.command(epilog="Example: sibilant study tokens.csv --by group --speaker speaker --to study")
@click.argument("table", type=click.Path(path_type=Path), metavar="TABLE")
@click.option("--by", required=True, metavar="COLUMN", help="The groups.")
@click.option("--speaker", default="speaker", show_default=True, metavar="COLUMN", help="Who spoke.")
@click.option("--word", default="prompt", show_default=True, metavar="COLUMN", help="What was said.")
@click.option("--measures", default="", metavar="KEY,...", help="Measures to compare; the usual ones without it.")
@click.option("--reference", default="", metavar="GROUP", help="Compare every group with this one only.")
@click.option("--phone", default="S", show_default=True, help="The sibilant that is compared.")
@click.option("--context", default="", metavar="COLUMN", help="A context that enters the models, such as vowel_after.")
@click.option("--method", default="", metavar="NAME", help="Which of several methods in the table.")
@click.option("--judgements", type=click.Path(path_type=Path), help="recording, prompt_index, slot, judge, type.")
@click.option(
    "--recordings", type=click.Path(path_type=Path), metavar="FOLDER", help="Measure again: cepstra, edges moved."
)
@click.option("--seed", type=int, default=2026, show_default=True, help="Seed of all that is drawn.")
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FOLDER", help="Write all here.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else.")
def command(
    table: Path,
    measures: str,
    judgements: Path | None,
    recordings: Path | None,
    to: Path,
    as_json: bool,
    **asked: object,
) -> None:
    """Compare groups of speakers in a table of sibilants.

    Effect sizes with intervals, mixed models, discriminants tried on speakers they have not heard, figures, a methods
    paragraph and a data dictionary. Groups are described; nobody is diagnosed.
    """
    import json

    from sibilant.research import study as verb

    keys = tuple(key.strip() for key in measures.split(",") if key.strip())
    question = verb.Question(measures=keys, **asked)  # type: ignore[arg-type]
    lines = verb.run_study(verb.StudyRequest(table, question, to, judgements, recordings))
    if as_json:
        print_json(json.loads((to / verb.RUN_FILE).read_text(encoding="utf-8")))
        return
    for line in lines:
        click.echo(line)
