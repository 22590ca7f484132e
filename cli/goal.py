"""``sibilant goal``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from sibilant.terms.vocabulary import CUES, LEVELS

from .case_options import Day, Word, as_json, ask_about_names, caseload, client, client_first, no_name
from .shown import print_json, print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

COLUMNS = ("goal", "behaviour", "level", "cue", "criterion", "made", "by", "ended")


@click.group()
def command() -> None:
    """Keep what is worked towards; reports print it with how far it is.

    Example: sibilant goal list C-7QXK
    """


def fields_of(asked: dict[str, Any]) -> dict[str, Any]:
    """Fields of a goal from the options given, those not given left out."""
    from sibilant.clinic.goals import read_criterion

    found = {key: asked[key] for key in ("level", "cue", "by_on") if asked[key] is not None}
    return {**found, **read_criterion(asked["criterion"])} if asked["criterion"] else found


def described(function: Any) -> Any:
    """The options that describe a goal."""
    options = (
        click.option("--level", type=Word(LEVELS)),
        click.option("--cue", type=Word(CUES), help="Left out: any."),
        click.option("--criterion", metavar="RULE", help='Share, sessions running, sounds: "80% x2 n20".'),
        click.option("--by", "by_on", type=Day(), metavar="DATE", help="The day it is hoped for."),
    )
    for option in reversed(options):
        function = option(function)
    return function


@command.command(epilog='Example: sibilant goal add C-7QXK "says /s/ in words" --level word --by 2026-06-30')
@click.argument("words", nargs=-1, metavar="[CLIENT] BEHAVIOUR")
@described
@no_name
@caseload
def add(words: tuple[str, ...], no_name: bool, caseload: CaseloadHandle, **asked: Any) -> None:
    """Keep a goal; its words go into the clinic's own phrase bank."""
    from sibilant.clinic import goals
    from sibilant.errors import UsageError

    code, rest = client_first(words)
    if not rest or asked["level"] is None:
        raise UsageError('say what is worked towards and at which level: "says /s/ in words" --level word; no names')
    ask_about_names(no_name, goal=" ".join(rest))
    goal = goals.add_goal(caseload, code, " ".join(rest), fields_of(asked))
    click.echo(f"goal {goal.number}: {goal.behaviour} ({goal.level}; {goal.criterion})")


@command.command("list", epilog="Example: sibilant goal list C-7QXK")
@client
@click.option("--phrases", "bank", is_flag=True, help="The clinic's own phrases instead.")
@caseload
@as_json
def list_(client: str | None, bank: bool, caseload: CaseloadHandle, as_json: bool) -> None:
    """List a client's goals, or the clinic's phrases."""
    from sibilant.clinic import goals

    if bank:
        for phrase in goals.phrases(caseload):
            click.echo(phrase)
        return
    rows = goals.list_goals(caseload, client)
    if as_json:
        print_json(rows)
    else:
        print_table(rows, COLUMNS)


@command.command(epilog="Example: sibilant goal change C-7QXK 1 --by 2026-09-30")
@click.argument("client")
@click.argument("number", type=click.IntRange(min=1))
@described
@click.option("--met", "ended", flag_value="met", help="A person says that it is reached.")
@click.option("--stopped", "ended", flag_value="stopped", help="No longer worked towards.")
@click.option("--open", "ended", flag_value="", help="Worked towards again.")
@click.option("--remove", is_flag=True, help="Take it out: it was typed by mistake.")
@caseload
def change(client: str, number: int, ended: str | None, remove: bool, caseload: CaseloadHandle, **asked: Any) -> None:
    """Change a goal, or say that it ended."""
    from sibilant.clinic import goals

    if remove:
        goals.remove_goal(caseload, client, number)
        click.echo(f"goal {number}: removed")
        return
    goal = goals.change_goal(caseload, client, number, fields_of(asked) | ({} if ended is None else {"ended": ended}))
    click.echo(
        f"goal {goal.number}: {goal.behaviour} ({goal.level}; {goal.criterion}){f'; {goal.ended}' * bool(goal.ended)}"
    )
