"""``sibilant study``."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click

from .shown import print_json

QUIET_S = 2.0
"""Work is this long before a line tells of it."""


@click.command(epilog="Example: sibilant study tokens.csv --by group --speaker speaker --to study")
@click.argument("table", type=click.Path(path_type=Path), metavar="TABLE")
@click.option("--by", required=True, metavar="COLUMN", help="The groups.")
@click.option("--speaker", default="speaker", show_default=True, metavar="COLUMN", help="Who spoke.")
@click.option("--word", default="", metavar="COLUMN", help="What was said; word, else prompt, without it.")
@click.option("--measures", default="", metavar="KEY,...", help="Measures to compare; the usual ones without it.")
@click.option(
    "--primary", type=click.Choice(["mixed", "paired"]), help="The analysis that counts, declared beforehand."
)
@click.option(
    "--where",
    multiple=True,
    metavar="FILTER",
    help="Rows used, such as age>7 or sex=f|m; may be repeated, all must hold.",
)
@click.option("--reference", default="", metavar="GROUP", help="Compare every group with this one only.")
@click.option("--phone", default="", metavar="PHONE,...", help="The sibilants compared; S without it.")
@click.option(
    "--covariates", default="", metavar="COLUMN,...", help="Columns that enter the models, such as age,sex,position."
)
@click.option("--interaction", default="", metavar="COLUMN", help="A covariate whose effect may differ between groups.")
@click.option("--context", default="", metavar="COLUMN", help="One more covariate, such as vowel_after.")
@click.option("--method", default="", metavar="NAME", help="Which of several methods in the table.")
@click.option("--judgements", type=click.Path(path_type=Path), help="recording, prompt_index, slot, judge, type.")
@click.option(
    "--recordings", type=click.Path(path_type=Path), metavar="FOLDER", help="Measure again: cepstra, edges moved."
)
@click.option("--seed", type=int, default=2026, show_default=True, help="Seed of all that is drawn.")
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FOLDER", help="Write all here.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else.")
def command(
    table: Path, judgements: Path | None, recordings: Path | None, to: Path, as_json: bool, **asked: Any
) -> None:
    """Compare groups of speakers in a table of sibilants.

    Effect sizes with intervals, mixed models, discriminants tried on speakers they have not heard, figures, a methods
    paragraph and a data dictionary. Groups are described; nobody is diagnosed.
    """
    import json

    from sibilant.research import study as verb

    asked |= {name: _listed(asked[name]) for name in ("measures", "covariates")}
    question = verb.Question(**asked | {"primary": asked["primary"] or ""})
    with progress_line() as tell:
        lines = verb.run_study(verb.StudyRequest(table, question, to, judgements, recordings), tell)
    if as_json:
        print_json(json.loads((to / verb.RUN_FILE).read_text(encoding="utf-8")))
        return
    for line in lines:
        click.echo(line)


def _listed(text: str) -> tuple[str, ...]:
    return tuple(one.strip() for one in text.split(",") if one.strip())


@contextlib.contextmanager
def progress_line() -> Iterator[Callable[[str, float], None]]:
    """Tell what is being done and the time left on one line of standard error, on a terminal, after two seconds."""
    began = time.monotonic()
    shown = sys.stderr.isatty()

    def tell(what: str, share: float) -> None:
        gone = time.monotonic() - began
        if shown and gone > QUIET_S:
            left = f", about {_time(gone * (1 - share) / share)} left" if 0.02 < share < 1 else ""
            click.echo(f"\r\x1b[K{what}{left}", nl=False, err=True)

    try:
        yield tell
    finally:
        if shown and time.monotonic() - began > QUIET_S:
            click.echo("\r\x1b[K", nl=False, err=True)


def _time(seconds: float) -> str:
    """Seconds in words.

    >>> _time(42.0), _time(200.0)
    ('42 s', '3 min')
    """
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
