"""``sibilant export``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, caseload, client
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

PERSONAL = "pseudonymous data remain personal data: hand it on only as your rules allow"


@click.command(epilog="Example: sibilant export C-7QXK --to shared/case-1 --new-code")
@client
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="FOLDER", help="A new folder.")
@click.option(
    "--as", "form", type=click.Choice(["tables", "fhir"]), default="tables", show_default=True,
    help="Tables in CSV, or sessions and figures as HL7 FHIR resources (R4, R4B).",
)  # fmt: skip
@click.option("--audio", is_flag=True, help="With the kept sound; every recording identifies a person.")
@click.option("--new-code", is_flag=True, help="Under another random code.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="A name to look for too; it is kept nowhere.")
@click.option("--allow", "allowed", multiple=True, metavar="WORD", help="A word that is no name, path or date.")
@caseload
@as_json
def command(
    client: str | None,
    to: Path,
    form: str,
    audio: bool,
    caseload: CaseloadHandle,
    as_json: bool,
    **asked: Any,
) -> None:
    """Write one client in open formats, days counted from the first probe, without sound unless asked."""
    from sibilant.clinic import exchange
    from sibilant.errors import UsageError

    if form == "fhir":
        if audio:
            raise UsageError("--as fhir holds no sound; leave --audio away, or export as tables")
        told = exchange.export_fhir(caseload, client, to, **asked)
        if as_json:
            print_json(told)
            return
        counted = ", ".join(f"{n} {kind}" for kind, n in told["resources"].items())
        click.echo(f"{told['client']}: {told['file']} with {counted}")
        click.echo(PERSONAL)
        return
    done = exchange.export_client(caseload, client, to, audio=audio, **asked)
    if as_json:
        print_json(done)
        return
    click.echo(f"{done['client']}: {done['sessions']} sessions in {done['files']} files, {done['sounds']} sounds")
    click.echo(PERSONAL)
