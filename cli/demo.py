"""``sibilant demo``."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(epilog="Example: sibilant demo --to demo")
@click.option(
    "--to", type=click.Path(path_type=Path), default=Path("sibilant-demo"), show_default=True, metavar="FOLDER"
)
@click.option("--corpus", is_flag=True, help="Build the invented student corpus instead.")
def command(to: Path, corpus: bool) -> None:
    """Do the whole job on invented clients, offline, and say what to open first."""
    if corpus:
        from sibilant.demo import corpus as demo_corpus

        for line in demo_corpus.make_corpus(to):
            click.echo(line)
        return
    from sibilant.demo import job

    first = job.make_demo(to)
    click.echo("Invented data – not a person")
    click.echo(f"Open first: {first}")
    click.echo(f"Beside it: {to}/reports, {to}/charts, {to}/pictures, {to}/tables, {to}/recordings, {to}/caseload")
    click.echo(f"Go on with: sibilant progress C-7QXK --caseload {to}/caseload")
