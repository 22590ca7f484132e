"""``sibilant client``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import click

from .case_options import Day, as_json, ask_about_names, caseload, client, no_name, on
from .receipts import erasing, print_brought_back, print_receipt
from .shown import print_json, print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

ADD = 'Example: sibilant client add --age 7y4m --measure centroid_hz --expected higher --rule "80% x2 n20"'


FREE = ("reason", "hearing", "retention", "consent_by")


@click.group()
def command() -> None:
    """Keep clients under random codes; no name, no birth date.

    Example: sibilant client add --age 7y4m
    """


def fields_of(asked: dict[str, Any]) -> dict[str, Any]:
    """Fields of a client from the options given, those not given left out."""
    from sibilant.clinic.clients import read_move_up

    plain = {
        "main_measure": asked["measure"],
        "direction": asked["expected"],
        **{name: asked[name] for name in ("method", "group", "language", "dialect", "reason", "hearing", "hearing_on")},
        "list_form": asked["words"],
    }
    found = {key: value for key, value in plain.items() if value is not None}
    if asked["rule"] is not None:
        found["move_up"] = read_move_up(asked["rule"]) if asked["rule"] else None
    parts = {
        "retention": {"text": asked["retention"], "months": asked["retention_months"]},
        "consent": {
            "by": asked["consent_by"],
            "given_on": asked["consent_on"],
            "teaching": asked["teaching"],
            "research": asked["research"],
            "pooled": asked["pooled"],
            "withdrawn_on": asked["withdrawn_on"],
        },
        "therapy": {
            name: asked[f"therapy_{name}"] or None
            for name in ("starts", "under_way", "pauses", "resumes", "not_stated")
        },
    }
    for name, part in parts.items():
        said = {key: value for key, value in part.items() if value is not None}
        if said:
            found[name] = said
    return found


def described(function: Any) -> Any:
    """The options that describe a client."""
    options = (
        click.option("--measure", metavar="KEY", help="Main measure, chosen at the start; default centroid_hz."),
        click.option("--expected", metavar="WORD", help="higher, lower, longer, shorter or none."),
        click.option("--method", metavar="NAME", help="House method followed; default house-15k."),
        click.option("--words", metavar="LIST", help="List used all year: a built-in list or LIST.csv."),
        click.option("--group", metavar="TEXT", help="Reference group, only if ranges are wanted."),
        click.option("--language", metavar="TEXT"),
        click.option("--dialect", metavar="TEXT"),
        click.option("--reason", metavar="TEXT", help="Why they come; no names."),
        click.option("--hearing", metavar="TEXT", help='Such as "passed screening".'),
        click.option("--hearing-on", type=Day(), metavar="DATE"),
        click.option("--rule", metavar="RULE", help='The clinic\'s rule for moving up, as "80% x2 n20".'),
        click.option("--therapy-starts", type=Day(), metavar="DATE", help="The day therapy of this sound starts."),
        click.option("--therapy-under-way", is_flag=True, help="Therapy ran before the first probe: no baseline then."),
        click.option("--therapy-pauses", type=Day(), metavar="DATE", help="The first day of a pause."),
        click.option("--therapy-resumes", type=Day(), metavar="DATE", help="The day the pause ends."),
        click.option("--therapy-not-stated", is_flag=True, help="Take back all that was said of when therapy ran."),
        click.option("--retention", metavar="TEXT", help="The clinic's own rule for keeping."),
        click.option("--retention-months", type=click.IntRange(min=1), metavar="N", help="Reminder after N months."),
        click.option("--consent-by", metavar="WHO", help='Who agreed to recording, such as "parent".'),
        click.option("--consent-on", type=Day(), metavar="DATE"),
        click.option("--teaching/--no-teaching", default=None, help="Agreed to use in teaching."),
        click.option("--research/--no-research", default=None, help="Agreed to use in research."),
        click.option(
            "--pooled/--no-pooled",
            default=None,
            help="Agreed that their figures serve others' limits and questions about a microphone.",
        ),
        click.option("--withdrawn-on", type=Day(), metavar="DATE", help="Consent was withdrawn; no more is kept."),
    )
    for option in reversed(options):
        function = option(function)
    return function


@command.command(epilog=ADD)
@click.option("--age", required=True, metavar="AGE", help='As 7y4m or "7;4"; it moves with the date.')
@click.option("--code", default="", metavar="CODE", help="A code already given out; default: one is drawn.")
@click.option("--invented", is_flag=True, help="Mark as invented data, not a person.")
@described
@on("The day the age holds; default today.")
@no_name
@caseload
@as_json
def add(
    age: str, code: str, invented: bool, caseload: CaseloadHandle, as_json: bool, no_name: bool, **asked: Any
) -> None:
    """Add a client under a random code.

    The caseload is not encrypted unless you encrypt it (sibilant caseload encrypt): until then keep invented data in
    it, or keep its folder on an encrypted disk, only.
    """
    from sibilant.clinic import clients

    from .offering import offer_encryption

    ask_about_names(no_name, **{name: asked[name] for name in FREE})
    fields = {**fields_of(asked), "invented": invented}
    if not (as_json or invented):
        offer_encryption(caseload)
    added, cautions = clients.add_client(caseload, age, code=code, on=asked["on"], fields=fields)
    if as_json:
        print_json({"client": added.code, "cautions": list(cautions)})
        return
    click.echo(f"{added.code} added; write the code where you keep names, apart from this tool")
    for caution in cautions:
        click.echo(f"caution: {caution}", err=True)


@command.command("list", epilog="Example: sibilant client list")
@caseload
@as_json
def list_(caseload: CaseloadHandle, as_json: bool) -> None:
    """List clients with their age today."""
    from sibilant.clinic import clients

    rows = clients.list_clients(caseload)
    if as_json:
        print_json(rows)
    else:
        print_table(rows, ("client", "age", "sessions", "last", "note"))


@command.command(epilog="Example: sibilant client show C-7QXK --json")
@client
@caseload
@as_json
def show(client: str | None, caseload: CaseloadHandle, as_json: bool) -> None:
    """Show what is kept of a client, the audit trail included."""
    from sibilant.clinic import clients

    shown = clients.show_client(caseload, client)
    if as_json:
        print_json(shown)
        return
    for key, value in shown.items():
        if key != "audit" and value not in ("", None, [], {}):
            click.echo(f"{key}: {value}")
    print_table(shown["audit"], ("at", "who", "did", "to"))


@command.command(
    epilog='Example: sibilant client change C-7QXK --therapy-starts 2026-02-02 --hearing "passed screening"'
)
@client
@described
@click.option("--age", metavar="AGE", help="A corrected age, which holds on the day of --on.")
@click.option("--treated", multiple=True, metavar="WORD", help="A word put on a practice sheet; may be repeated.")
@on("The day words became treated, or the age holds; default today.")
@no_name
@caseload
def change(
    client: str | None,
    caseload: CaseloadHandle,
    age: str | None,
    treated: tuple[str, ...],
    no_name: bool,
    **asked: Any,
) -> None:
    """Change what is kept of a client; each change is in the audit trail."""
    from sibilant.clinic import clients

    ask_about_names(no_name, **{name: asked[name] for name in FREE})
    changed = clients.change_client(caseload, client, fields_of(asked), age=age, on=asked["on"])
    if treated:
        clients.treat_words(caseload, changed.code, treated, asked["on"])
    click.echo(f"{changed.code} changed")


@command.command(epilog='Example: sibilant client hold C-7QXK --because "records asked for"')
@client
@click.option("--because", default="asked for", metavar="TEXT", show_default=True)
@click.option("--off", is_flag=True, help="Let go of the hold.")
@no_name
@caseload
def hold(client: str | None, because: str, off: bool, no_name: bool, caseload: CaseloadHandle) -> None:
    """Block removal, or let go."""
    from sibilant.clinic import clients

    ask_about_names(no_name, because=because)
    held = clients.hold_client(caseload, client, "" if off else because)
    click.echo(f"{held.code}: {f'on hold ({held.held})' if held.held else 'not on hold'}")


@command.command(epilog="Example: sibilant client remove C-7QXK --audio")
@click.argument("client")
@click.option("--audio", "what", flag_value="audio", help="The kept sound only.")
@click.option("--all", "what", flag_value="all", help="Everything, the code included.")
@erasing
@caseload
@as_json
def remove(
    client: str, what: Literal["audio", "all"] | None, erase: bool, caseload: CaseloadHandle, as_json: bool
) -> None:
    """Put a client's sound or everything into the bin, or erase it, and print a receipt that says which.

    From the bin it can be brought back for 30 days (bin_days in caseload.toml); then it is erased, with its receipt.
    Where consent was withdrawn, or --erase is given, it is erased at once.
    """
    from sibilant.clinic import removing
    from sibilant.errors import UsageError

    if what is None:
        raise UsageError("say what to remove: --audio (the kept sound) or --all (everything)")
    done = removing.remove_client(caseload, client, what, erase=erase)
    print_receipt(done, as_json=as_json)


@command.command(epilog="Example: sibilant client restore C-7QXK")
@click.argument("client")
@caseload
@as_json
def restore(client: str, caseload: CaseloadHandle, as_json: bool) -> None:
    """Bring back from the bin what was put there last of a client: everything, or the sound."""
    from sibilant.clinic import removing

    print_brought_back(removing.restore_client(caseload, client), as_json=as_json)


@command.command("bin", epilog="Example: sibilant client bin")
@caseload
@as_json
def bin_(caseload: CaseloadHandle, as_json: bool) -> None:
    """List what lies in the bin, and until when it can be brought back."""
    from sibilant.clinic import removing

    rows = removing.list_bin(caseload)
    if as_json:
        print_json(rows)
    else:
        print_table(rows, ("client", "what", "session", "since", "until"))
