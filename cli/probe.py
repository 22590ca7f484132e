"""``sibilant probe``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import as_json, ask_about_names, caseload, client_first, list_words, no_name, on
from .shown import print_json, print_table

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle


@click.command(epilog="Example: sibilant probe C-7QXK march.wav --words core-a --device desk")
@click.argument("named", nargs=-1, required=True, metavar="[CLIENT] RECORDING...")
@click.option("--words", default="", metavar="LIST", help="LIST.csv or a built-in list; default: the client's.")
@on("The day it was recorded; default the last given today, or today.")
@click.option("--level", default="", metavar="LEVEL", help="Practice level; default: what the list says.")
@click.option("--cue", default="spontaneous", show_default=True, metavar="CUE", help="S, D, M, M+ or J, or its name.")
@click.option(
    "--device",
    default="",
    metavar="NAME",
    help="The microphone; default: the one used last with this client. 'not stated' leaves it open.",
)
@click.option("--room", default="", metavar="TEXT")
@click.option(
    "--phase", default="", metavar="PHASE", help="Only where the dates of therapy don't say it: maintenance, follow-up."
)
@click.option(
    "--elicited", default="", metavar="HOW", help="picture, reading, repetition or talk; default: not stated."
)
@click.option("--keep", default="words", show_default=True, metavar="WHAT", help="Sound kept: words, all or none.")
@click.option("--modelled", is_flag=True, help="A model is heard before each answer; a line of its own.")
@click.option("--anyway", is_flag=True, help="Keep it though few words, or another voice first, were heard.")
@click.option("--bridge", is_flag=True, help="The same probe on two devices at once, to join them.")
@click.option("--channel", type=click.IntRange(min=1), help="Which channel of several, from 1.")
@click.option("--note", default="", metavar="TEXT", help="No names.")
@no_name
@caseload
@as_json
def command(named: tuple[str, ...], caseload: CaseloadHandle, as_json: bool, no_name: bool, **asked: Any) -> None:
    """Measure a probe and keep it; prints the words found and the recording's verdict, no figures."""
    from sibilant.clinic import heard, probe

    client, rest = client_first(named)
    recordings = [Path(name) for name in rest]
    ask_about_names(no_name, note=asked["note"], room=asked["room"], name_of_the_list=list_words(asked["words"]))
    kept = probe.keep_probe(caseload, client, probe.ProbeRequest(recordings, **asked))
    if as_json:
        print_json(heard.as_plain(kept))
        return
    print_table(kept.words, ("prompt_index", "prompt", "attempt", "heard"))
    for line in heard.lines(kept):
        click.echo(line)
