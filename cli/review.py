"""``sibilant review``."""

from __future__ import annotations

from pathlib import Path

import click

from .case_options import as_json, caseload, client, rater
from .shown import print_json


@click.command(epilog="Example: sibilant review C-7QXK 3 --from review.csv --rater R1")
@client
@click.argument("session", type=click.IntRange(min=1), required=False)
@click.option("--from", "path", required=True, type=click.Path(path_type=Path), metavar="REVIEW.csv")
@click.option("--recording", type=click.Path(path_type=Path), help="The file kept then, where its words were not.")
@rater
@caseload
@as_json
def command(
    client: str | None,
    session: int | None,
    path: Path,
    recording: Path | None,
    rater: str,
    caseload: Path | None,
    as_json: bool,
) -> None:
    """Correct boundaries, voices and attempts; the automatic values stay beside a person's."""
    from sibilant.workflow import review

    done = review.review_from(caseload, client, session, path, rater=rater, recording=recording)
    if as_json:
        print_json(done)
        return
    click.echo(
        f"{done['client']} session {done['session']}: {done['corrected']} rows taken,"
        f" {done['measured_again']} sibilants measured again;"
        f" {done['checked']} of {done['of']} tokens checked by a person"
    )
    if done["without_sound"]:
        click.echo(f"{done['without_sound']} figures left out: the sound was not kept; name it by --recording")
