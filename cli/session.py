"""``sibilant session``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, ask_about_names, caseload, client, client_first, no_name, on
from .receipts import erasing, print_brought_back, print_receipt
from .shown import print_json, print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

number = click.argument("session", type=click.IntRange(min=1), required=False)


@click.group()
def command() -> None:
    """List, show, change, measure again, move or remove kept sessions; each change is in the audit trail.

    Example: sibilant session list C-7QXK
    """


@command.command("list", epilog="Example: sibilant session list C-7QXK")
@client
@caseload
@as_json
def list_(client: str | None, caseload: CaseloadHandle, as_json: bool) -> None:
    """List a client's sessions."""
    from sibilant.clinic import sessions

    rows = sessions.list_sessions(caseload, client)
    if as_json:
        print_json(rows)
    else:
        columns = ("session", "on", "phase", "list", "level", "cue", "device", "verdict", "judged", "checked")
        print_table(rows, columns)


@command.command(epilog="Example: sibilant session show C-7QXK 3")
@client
@number
@click.option("--measure", default="", metavar="KEY", help="Which figure to show; default the main measure.")
@click.option("--unlike", is_flag=True, help="Only the sounds most unlike the session's others, and in what.")
@caseload
@as_json
def show(
    client: str | None, session: int | None, measure: str, unlike: bool, caseload: CaseloadHandle, as_json: bool
) -> None:
    """Show a session token by token; figures only where the ear has judged.

    With --unlike: where to listen again. Unlike the rest does not mean wrong, nor like it right.
    """
    from sibilant.clinic import sessions

    if unlike:
        found = sessions.unlike_in_session(caseload, client, session)
        if as_json:
            print_json(found)
            return
        print_table(found["tokens"], ("prompt_index", "slot", "prompt", "phone", "heard", "unlike_the_rest_in"))
        click.echo("Unlike the rest does not mean wrong, nor like it right: please listen.")
        return
    shown = sessions.show_session(caseload, client, session, key=measure)
    if as_json:
        print_json(shown)
        return
    columns = ("prompt_index", "attempt", "slot", "prompt", "phone", "position", "finding", "voice", "counts", "heard")
    print_table(shown["tokens"], (*columns, "checked", shown["measure"]))


@command.command(epilog="Example: sibilant session change C-7QXK 3 4 5 --device clip-on")
@click.argument("named", nargs=-1, metavar="[CLIENT] [SESSION]...")
@click.option("--all", "which", flag_value="all", help="In all of the client's sessions.")
@click.option("--not-stated", "which", flag_value="not stated", help="In those whose device is not stated.")
@on("The day it was recorded.")
@click.option("--level", metavar="LEVEL")
@click.option("--cue", metavar="CUE")
@click.option("--device", metavar="NAME")
@click.option("--room", metavar="TEXT")
@click.option("--phase", metavar="PHASE")
@click.option("--elicited", metavar="HOW", help="picture, reading, repetition or talk.")
@click.option("--note", metavar="TEXT")
@click.option("--bridge/--no-bridge", default=None)
@no_name
@caseload
def change(named: tuple[str, ...], caseload: CaseloadHandle, which: str | None, no_name: bool, **asked: Any) -> None:
    """Change what was noted of one session, of several, or of all."""
    from sibilant.clinic import sessions
    from sibilant.errors import UsageError

    client, rest = client_first(named)
    if wrong := next((text for text in rest if not text.isdecimal() or len(text) > 9), ""):
        raise UsageError(f"{wrong[:20]!r}: neither a client code nor the number of a session")
    changed = {key: value for key, value in asked.items() if value is not None}
    if not changed:
        raise UsageError("nothing to change: say what, such as --device headset")
    ask_about_names(no_name, note=asked["note"], room=asked["room"])
    found = sessions.change_sessions(caseload, client, [int(text) for text in rest], changed, which=which or "")
    click.echo(f"session {', '.join(map(str, found))} changed")


@command.command(epilog="Example: sibilant session again C-7QXK")
@client
@caseload
@as_json
def again(client: str | None, caseload: CaseloadHandle, as_json: bool) -> None:
    """Measure all of a client's kept sounds again under the present methods.

    All at once or not at all; the figures before stay beside the new ones.
    """
    from sibilant.clinic import again as again_

    done = again_.measure_client_again(caseload, client)
    if as_json:
        print_json(done)
        return
    for line in again_.lines(done):
        click.echo(line)


@command.command(epilog="Example: sibilant session move C-7QXK 3 --to C-M4RT")
@client
@number
@click.option("--to", required=True, metavar="CLIENT")
@caseload
def move(client: str | None, session: int | None, to: str, caseload: CaseloadHandle) -> None:
    """Move a session that was kept under the wrong client."""
    from sibilant.clinic import sessions

    click.echo(f"now session {sessions.move_session(caseload, client, session, to)} of {to.upper()}")


@command.command(epilog="Example: sibilant session remove C-7QXK 3")
@click.argument("client")
@click.argument("session", type=click.IntRange(min=1))
@erasing
@caseload
@as_json
def remove(client: str, session: int, erase: bool, caseload: CaseloadHandle, as_json: bool) -> None:
    """Put a session with its sound into the bin, or erase it, and print a receipt that says which.

    From the bin it can be brought back for 30 days (bin_days in caseload.toml); then it is erased, with its receipt.
    """
    from sibilant.clinic import removing

    print_receipt(removing.remove_session(caseload, client, session, erase=erase), as_json=as_json)


@command.command(epilog="Example: sibilant session restore C-7QXK 3")
@click.argument("client")
@click.argument("session", type=click.IntRange(min=1))
@caseload
@as_json
def restore(client: str, session: int, caseload: CaseloadHandle, as_json: bool) -> None:
    """Bring a session back from the bin; under another number where its own is taken by now."""
    from sibilant.clinic import removing

    print_brought_back(removing.restore_session(caseload, client, session), as_json=as_json)
