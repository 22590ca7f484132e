"""``sibilant review``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, ask_about_names, caseload, client, no_name, rater
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant review C-7QXK 3 --from review.csv --rater R1")
@client
@click.argument("session", type=click.IntRange(min=1), required=False)
@click.option("--from", "path", type=click.Path(path_type=Path), metavar="REVIEW.csv")
@click.option("--recording", type=click.Path(path_type=Path), help="The file kept then, where its words were not.")
@click.option("--voices", is_flag=True, help="After a model: hear the three least certain replies, confirm the set.")
@click.option("--undo", is_flag=True, help="With --voices: take back what was confirmed as a set.")
@rater
@no_name
@caseload
@as_json
def command(
    path: Path | None,
    voices: bool,
    rater: str,
    no_name: bool,
    caseload: CaseloadHandle,
    as_json: bool,
    **asked: Any,
) -> None:
    """Correct boundaries, voices and attempts; the automatic values stay beside a person's."""
    from sibilant.clinic import review
    from sibilant.errors import UsageError

    client, session, undo = asked["client"], asked["session"], asked["undo"]
    if voices == (path is not None) or (undo and not voices):
        raise UsageError("say one of --from REVIEW.csv (corrections) and --voices (whose voice after a model; --undo)")
    ask_about_names(no_name, rater=rater)
    if voices:
        _voices(caseload, client, session, rater, undo=undo, quiet=as_json)
        return
    assert path is not None
    done = review.review_from(caseload, client, session, path, rater=rater, recording=asked["recording"])
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


def _voices(
    caseload: CaseloadHandle, client: str | None, session: int | None, rater: str, *, undo: bool, quiet: bool
) -> None:
    """Show the least certain replies, ask once, and keep the answer."""
    from sibilant.clinic import voices

    if undo:
        undone = voices.undo_set(caseload, client, session, rater=rater)
        _say(undone, undone["client"], undone["session"], f"{undone['taken_back']} tokens wait again", quiet=quiet)
    else:
        found = voices.waiting(caseload, client, session)
        heard = [one["key"] for one in found["hear"] if _is_the_clients(one)]
        if found["one_by_one"]:
            click.echo(f"one by one, with --from REVIEW.csv: {', '.join(found['one_by_one'])}", err=True)
        done = voices.confirm_set(caseload, found["client"], found["session"], heard=heard, rater=rater)
        said = f"{done['confirmed']} replies confirmed as a set"
        _say(done, done["client"], done["session"], said, quiet=quiet)


def _say(done: object, client: str, session: int, said: str, *, quiet: bool) -> None:
    if quiet:
        print_json(done)
    else:
        click.echo(f"{client} session {session}: {said}")


def _is_the_clients(one: dict[str, Any]) -> bool:
    where = one["clip"] or f"the recording, {one['at_s'][0]} to {one['at_s'][1]} s"
    click.echo(f"{one['prompt']}: listen: {where}", err=True)
    return click.confirm("the client's voice", default=None, err=True)
