"""``sibilant judge``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, caseload, client, rater
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

KEYS = {
    "c": "correct",
    "a": "approximation",
    "d": "distorted",
    "s": "substituted",
    "o": "omitted",
    "+": "added",
    "n": "no_response",
    "x": "not_scorable",
}
ASKED = "  ".join(f"{key} {word.replace('_', ' ')}" for key, word in KEYS.items())


@click.command(epilog="Example: sibilant judge C-7QXK 3 --rater R1 --blind")
@client
@click.argument("session", type=click.IntRange(min=1), required=False)
@click.option(
    "--from", "path", type=click.Path(path_type=Path), metavar="JUDGEMENTS.csv", help="Take them from a file."
)
@rater
@click.option(
    "--blind", is_flag=True, help="Random order, kept; no date, phase or figures; a second pass counts apart."
)
@click.option("--share", type=float, default=1.0, show_default=True, help="Share of the tokens, for a second pass.")
@caseload
@as_json
def command(
    client: str | None,
    session: int | None,
    path: Path | None,
    rater: str,
    blind: bool,
    share: float,
    caseload: CaseloadHandle,
    as_json: bool,
) -> None:
    """Judge by ear, from a file or asked one by one; figures are shown after, by sibilant progress.

    One by one: a letter, with ? after it when unsure (such as d?), a number from 0 to 100 after it for a place on a
    line (such as a 65); q stops, and what was judged is kept.
    """
    from sibilant.clinic import judge

    if path is not None:
        done = judge.judge_from(caseload, client, session, path, rater=rater, blind=blind)
    else:
        asked = judge.queue(caseload, client, session, rater=rater, blind=blind, share=share)
        _ask_all(caseload, asked, quiet=as_json)
        done = judge.after(caseload, asked)
    if as_json:
        print_json(done)
        return
    for line in judge.lines(done):
        click.echo(line)


def _ask_all(caseload: CaseloadHandle, asked: Any, *, quiet: bool) -> None:
    from sibilant.clinic import judge

    if not quiet and asked.left:
        click.echo(ASKED, err=True)
    for one in asked.left:
        kept = (
            "its sound is encrypted: listen on the page, or to the recording"
            if one.sealed
            else "its sound was not kept"
        )
        where = f"  listen: {one.clip}" if one.clip else f"  ({kept})"
        click.echo(f"{one.place} of {one.of}: {one.prompt}, {one.sound}{where}", err=True)
        answer = _answer()
        if answer is None:
            return
        judge.record(caseload, asked, one.key, **answer)


def _answer() -> dict[str, Any] | None:
    """Ask until the answer can be understood; None to stop."""
    while True:
        try:
            text = str(click.prompt("heard", prompt_suffix="> ", err=True)).strip().lower()
        except click.Abort:
            return None
        if text == "q":
            return None
        word, _, line = text.partition(" ")
        heard = KEYS.get(word.rstrip("?"))
        if heard is None or (line and not line.strip().isdigit()):
            click.echo(f"one of: {ASKED}  (? after it: unsure; q: stop)", err=True)
            continue
        answer: dict[str, Any] = {"heard": heard, "certainty": "unsure" if word.endswith("?") else "sure"}
        if line:
            answer["line"] = float(line)
        return {**answer, **_more(heard)}


def _more(heard: str) -> dict[str, Any]:
    """Ask for the kind of distortion, or the sound said instead; both may be left empty."""
    if heard == "distorted":
        return {"types": _kinds()}
    if heard == "substituted":
        said = click.prompt("said instead", default="", show_default=False, err=True)
        return {"substitute": str(said).strip()[:20]}
    return {}


def _kinds() -> tuple[str, ...]:
    """Ask for kinds of distortion until each is one that is known; an empty answer leaves them out."""
    from sibilant.errors import UsageError
    from sibilant.terms.vocabulary import DISTORTIONS

    while True:
        said = click.prompt(f"kind ({', '.join(DISTORTIONS)})", default="", show_default=False, err=True)
        try:
            return tuple(DISTORTIONS.read(kind) for kind in str(said).replace(",", " ").split())
        except UsageError as wrong:
            click.echo(str(wrong), err=True)
