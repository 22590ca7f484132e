"""``sibilant judge``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, ask_about_names, caseload, client, no_name, rater
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.answers import MarkRow
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
@no_name
@click.option(
    "--blind", is_flag=True, help="Random order, kept; no date, phase or figures; a second pass counts apart."
)
@click.option("--again", is_flag=True, help="Go through all words with the marks that stand; Enter leaves one.")
@click.option("--share", type=float, default=1.0, show_default=True, help="Share of the tokens, for a second pass.")
@caseload
@as_json
def command(
    path: Path | None,
    rater: str,
    no_name: bool,
    share: float,
    caseload: CaseloadHandle,
    as_json: bool,
    **asked: Any,
) -> None:
    """Judge by ear, from a file or asked one by one; figures are shown after, by sibilant progress.

    One by one: a letter, with ? after it when unsure (such as d?), a number from 0 to 100 after it for a place on a
    line (such as a 65); b goes back a word, z puts a word's mark before the last one back, q stops, and what was
    judged is kept. A mark that is changed stays in the trail.
    """
    from sibilant.clinic import judge, judged

    ask_about_names(no_name, rater=rater)
    client, session, blind = asked["client"], asked["session"], asked["blind"]
    if path is not None:
        done = judge.judge_from(caseload, client, session, path, rater=rater, blind=blind)
    else:
        left = judge.queue(caseload, client, session, rater=rater, blind=blind, share=share)
        stand = judged.marks(caseload, left.client, left.session, rater=left.rater)["tokens"] if asked["again"] else []
        _ask_all(caseload, left, stand, quiet=as_json)
        done = judge.after(caseload, left)
    if as_json:
        print_json(done)
        return
    for line in judge.lines(done):
        click.echo(line)


def _ask_all(caseload: CaseloadHandle, asked: Any, stand: list[MarkRow], *, quiet: bool) -> None:
    """Ask word by word: those left, or with ``stand`` all of a set with the marks that stand."""
    if not quiet and (asked.left or stand):
        click.echo(ASKED, err=True)
    heads = (
        [_head(one) for one in asked.left] if not stand else [_standing(n, row, stand) for n, row in enumerate(stand)]
    )
    keys = [row["key"] for row in stand] or [one.key for one in asked.left]
    place = 0
    while place < len(keys):
        click.echo(heads[place], err=True)
        answer = _answer(may_leave=bool(stand))
        if answer == "q":
            return
        if isinstance(answer, str):
            place = max(0, place - 1) if answer == "b" else place
            if answer == "z":
                _take_back(caseload, asked, keys[place])
        if not isinstance(answer, str):
            _keep(caseload, asked, keys[place], answer, again=bool(stand))
            place += 1


def _head(one: Any) -> str:
    kept = "its sound is encrypted: listen on the page, or to the recording" if one.sealed else "its sound was not kept"
    where = f"  listen: {one.clip}" if one.clip else f"  ({kept})"
    return f"{one.place} of {one.of}: {one.prompt}, {one.sound}{where}"


def _standing(n: int, row: MarkRow, rows: list[MarkRow]) -> str:
    return f"{n + 1} of {len(rows)}: {row['prompt']}, {row['sound']}  now: {row['heard'] or 'not judged'}"


def _keep(caseload: CaseloadHandle, asked: Any, key: str, answer: dict[str, Any], *, again: bool) -> None:
    from sibilant.clinic import judge, judged

    if not answer:
        return
    if again:
        judged.change(caseload, asked.client, asked.session, key, rater=asked.rater, **answer)
    else:
        judge.record(caseload, asked, key, **answer)


def _take_back(caseload: CaseloadHandle, asked: Any, key: str) -> None:
    from sibilant.clinic import judged
    from sibilant.errors import RefusedError

    try:
        now = judged.take_back(caseload, asked.client, asked.session, key, rater=asked.rater)
    except RefusedError as none_before:
        click.echo(str(none_before), err=True)
    else:
        click.echo(f"{now['prompt']}: {now['heard']} again", err=True)


def _answer(*, may_leave: bool) -> dict[str, Any] | str:
    """Ask until the answer can be understood; ``q`` stop, ``b`` back, ``z`` undo; empty where a mark may be left."""
    while True:
        try:
            default = "" if may_leave else None
            text = str(click.prompt("heard", default=default, show_default=False, prompt_suffix="> ", err=True))
        except click.Abort:
            return "q"
        text = text.strip().lower()
        if text in {"q", "b", "z"}:
            return text
        if may_leave and not text:
            return {}
        word, _, line = text.partition(" ")
        heard = KEYS.get(word.rstrip("?"))
        if heard is None or (line and not line.strip().isdecimal()):
            click.echo(f"one of: {ASKED}  (? after it: unsure; b: back; z: undo; q: stop)", err=True)
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
