"""``sibilant corpus``."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click

from .shown import print_json

WIDEST = "May be repeated; without it, the widest house method that most recordings' rates hold."


@click.command(epilog="Example: sibilant corpus recordings/ --to measured --words core-a")
@click.argument("source", type=click.Path(path_type=Path), metavar="FOLDER|MANIFEST.csv")
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FOLDER", help="Write the tables here.")
@click.option("--method", "names", multiple=True, help=WIDEST)
@click.option("--words", default="", metavar="LIST", help="Prompts of recordings that name none of their own.")
@click.option("--workers", type=click.IntRange(min=1), default=2, show_default=True, help="Processes on this machine.")
@click.option("--scheduler", default="", metavar="ADDRESS", help="A running dask scheduler, such as tls://host:8786.")
@click.option("--resume", is_flag=True, help="Go on with a run that was cut short.")
@click.option("--dry-run", is_flag=True, help="Say what would be measured, and why the rest would not.")
@click.option("--verify", is_flag=True, help="Measure again and compare with the tables that are there.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else.")
def command(
    source: Path,
    to: Path,
    names: tuple[str, ...],
    dry_run: bool,
    verify: bool,
    as_json: bool,
    **asked: Any,
) -> None:
    """Measure every sibilant of a corpus, one row each; files that can't be read are rows too.

    Writes tokens.csv, tokens.parquet and run.json. Groups are described, nobody is diagnosed.
    """
    from sibilant import corpus
    from sibilant.errors import UsageError

    if dry_run and verify:
        raise UsageError("--dry-run measures nothing and --verify measures again; use one of them")
    order = corpus.CorpusRequest(source, to, names, **asked)
    if dry_run:
        show(corpus.preview(order), as_json)
        return
    with bar() as progress:
        if verify:
            lines = corpus.verify(order, progress)
        else:
            lines = told(corpus.run(order, progress), to)
    show(lines, as_json)


def told(outcome: object, to: Path) -> list[str]:
    """Say what a run left."""
    from sibilant.corpus import Outcome

    assert isinstance(outcome, Outcome)
    findings = ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in outcome.findings.items())
    reasons = sorted(outcome.reasons.items(), key=lambda item: -item[1])
    lines = [f"{outcome.n_recordings} recordings, {outcome.n_tokens} rows of sibilants ({findings})"]
    if outcome.n_reused:
        lines.append(f"{outcome.n_reused} recordings were measured before and kept")
    lines += [f"  {n} x {reason}" for reason, n in reasons]
    lines += list(outcome.notes)
    lines.append(f"written: {', '.join(str(to / name) for name in outcome.files)}")
    return lines


def show(lines: list[str], as_json: bool) -> None:
    """Print lines, or the same as one JSON document."""
    if as_json:
        print_json({"lines": lines})
        return
    for line in lines:
        click.echo(line)


@contextlib.contextmanager
def bar() -> Iterator[Callable[[int, int], None] | None]:
    """Show progress on standard error, and only on a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("recordings", total=None)
        yield lambda done, n: shown.update(task, completed=done, total=n)
