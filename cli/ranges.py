"""``sibilant ranges``: published values that fit, or why none does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .case_options import caseload
from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle
    from sibilant.clinic.compare import AnswerRow, NormsRow, RangeRow, RefusedRow


@click.group(name="ranges", epilog="Example: sibilant ranges list --phone s --age 34y --group f --position initial")
def command() -> None:
    """Published values as supporting evidence, each with its source; or why none fits."""


@command.command(name="list", epilog="Example: sibilant ranges list --phone s --age 7y4m --position initial --json")
@click.option("--phone", default="s", show_default=True, help="s, z, sh or zh.")
@click.option("--measure", default="", metavar="KEY", help="One measure; without it every measure with values.")
@click.option("--age", default="", metavar="AGE", help='Such as 7y4m, or "7;4".')
@click.option("--group", default="", metavar="f|m", help="Reference group; optional, off by default.")
@click.option("--position", default="", help="initial, medial or final.")
@click.option("--cluster", default="", help="Such as st; none for a single consonant.")
@click.option("--level", default="", help="Practice level of the words, such as word.")
@click.option("--cue", default="", help="Such as spontaneous or model.")
@click.option("--method", default="", metavar="NAME", help="Method your figures were measured with.")
@click.option("--bandwidth", type=float, metavar="HZ", help="Effective bandwidth of the recording.")
@click.option("--dialect", default="", help="Variety spoken; values of another one are refused.")
@click.option("--own-baseline", is_flag=True, help="No range at all: dialect, second language, or by choice.")
@click.option("--orientation", is_flag=True, help="Show the 6 to 13 year strip, under its own label; off by default.")
@click.option("--all", "everything", is_flag=True, help="Every value in full, and all that don't fit, with reasons.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@caseload
def list_command(
    caseload: CaseloadHandle, everything: bool, as_json: bool, bandwidth: float | None, **asked: Any
) -> None:
    """Values that fit, with source, population, method and how obtained; or why none fits.

    What you leave out is not asked. A value is listed for reading; a placement also needs age, group, cue and five
    tokens, and is made by a report or chart after measuring again under the value's own method.
    """
    from sibilant.clinic.compare import RangesRequest, list_ranges

    document = list_ranges(RangesRequest(bandwidth_hz=bandwidth, **asked), caseload=caseload)
    if as_json:
        print_json(document)
        return
    if not everything:
        from sibilant.clinic.compare import short_answer

        for line in short_answer(document):
            click.echo(line)
        return
    for answer in document["answers"]:
        _print_answer(answer, refused=True)
    _print_norms(document)


@command.command(name="add", epilog="Example: sibilant ranges add my_ranges.csv")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@caseload
def add_command(caseload: CaseloadHandle, file: Path, as_json: bool) -> None:
    """Keep ranges of your own from FILE.csv; they are marked as yours wherever they appear.

    Columns: measure, phone, mean, sd (between speakers), n_speakers, age_low_y, age_high_y, sex (f, m, both),
    population, position, cue (any, where it does not matter), method (empty for durations), citation; and, if you
    like, dialect, cluster, level, context, lowest, highest, note. Give the method as 'sibilant measure --method'
    takes it.
    """
    from sibilant.clinic.compare import add_ranges, describe_ranges

    added = add_ranges(file, caseload)
    rows = describe_ranges(added)
    if as_json:
        print_json({"added": rows})
        return
    click.echo(f"{len(added)} added" if added else "nothing added: all of them were there already")
    for row in rows:
        _print_range(row)


@command.command(
    name="build",
    epilog='Example: sibilant ranges build table.csv --speaker speaker --population "typical, no history of therapy"',
)
@click.argument("table", type=click.Path(path_type=Path))
@click.option("--speaker", required=True, metavar="COLUMN", help="Column that names the speaker.")
@click.option(
    "--population", default="", metavar="TEXT", help='Who they are; "in therapy" is never offered as typical.'
)
@click.option("--measure", "measures", multiple=True, metavar="KEY", help="May be repeated; default: all in it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@caseload
def build_command(
    caseload: CaseloadHandle, table: Path, speaker: str, population: str, measures: tuple[str, ...], as_json: bool
) -> None:
    """Make ranges of your own from TABLE.csv, a table as 'sibilant measure --to' or 'sibilant corpus' writes it.

    Beside its columns it needs age_low_y, age_high_y (whole years of the age band) and sex (f, m, both) of each
    speaker. A cell is one sound, position, level, age band and sex; ten speakers or more make a range, with means and
    SDs between and within speakers, the one method, the devices, and the table's hash.
    """
    from sibilant.clinic.build_ranges import build_ranges
    from sibilant.clinic.compare import describe_ranges

    built = build_ranges(table, caseload, speaker=speaker, population=population, measures=measures)
    rows = describe_ranges(built.added)
    if as_json:
        print_json({"added": rows, "left_out": list(built.left_out)})
        return
    click.echo(f"{len(built.added)} made" if built.added else "nothing added: all of them were there already")
    for row in rows:
        _print_range(row)
    for why in built.left_out:
        click.echo(f"left out: {why}")


def _print_answer(answer: AnswerRow, *, refused: bool) -> None:
    click.echo(f"{answer['measure']}  /{answer['phone'].lower()}/")
    if answer["none_fits"]:
        click.echo("  none fits")
    for reason in answer["reasons"]:
        click.echo(f"  - {reason['text']}")
    for row in (*answer["fits"], *answer["orientation"]):
        _print_range(row)
    if refused:
        _print_refused(answer["refused"])
    if answer["fits"]:
        click.echo(f"  {answer['sentence']}")
    click.echo()


def _print_refused(rows: list[RefusedRow]) -> None:
    hidden = list(dict.fromkeys(row["source"] for row in rows if row["figures"] == "not shown"))
    if hidden:
        click.echo("  adults' values are never set beside a minor, and not shown; they are from")
    for source in hidden:
        click.echo(f"      {source}")
    for row in rows:
        if row["figures"] != "not shown":
            click.echo(f"  does not fit: {row['figures']}")
            click.echo(f"      because: {'; '.join(reason['text'] for reason in row['reasons'])}")
            click.echo(f"      {row['population']} | {row['circumstances']} | {row['method_words']}")
            click.echo(f"      {row['source']} | {row['label']}")


def _print_norms(document: NormsRow) -> None:
    if document["acquisition"]:
        click.echo(document["acquisition_note"])
    last = ""
    for row in document["acquisition"]:
        source = f"{row['source']} | {row['label']} | {row['note']}"
        if source != last:
            click.echo(f"  {source}")
        parts = (row["figures"], row["population"], row["circumstances"], row["context"])
        click.echo(f"      {', '.join(part for part in parts if part)}")
        last = source


def _print_range(row: RangeRow) -> None:
    click.echo(f"  {row['figures']}")
    for told in (
        row["population"],
        row["circumstances"],
        row["method_words"],
        row["source"],
        row["label"],
        row["note"],
    ):
        if told:
            click.echo(f"      {told}")
