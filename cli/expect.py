"""``sibilant expect``: the sibilants expected in words or phrases."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from sibilant.listening.expect import Expected, ExpectedSibilant


@click.command(name="expect", epilog='Example: sibilant expect straw "six socks"')
@click.argument("texts", metavar="TEXT...", nargs=-1, required=True)
@click.option("--phones", default="", metavar="PHONES", help="How a single TEXT is said: ARPABET, or IPA in slashes.")
@click.option("--json", "as_json", is_flag=True, help="One JSON list on standard output, one object a prompt.")
def command(texts: tuple[str, ...], phones: str, as_json: bool) -> None:
    """The sibilants expected in words, phrases or sentences, with position and cluster.

    Pronunciations are those of the CMU dictionary (North American English); the first one listed is taken. Exit code 3
    when no TEXT is known, except with --json, where "known" says so.
    """
    if phones and len(texts) > 1:
        raise click.UsageError("--phones goes with a single TEXT; ask for one at a time")
    from sibilant.errors import LexiconError
    from sibilant.listening.expect import expect_texts

    rows = expect_texts(texts, phones=phones)
    if as_json:
        click.echo(json.dumps(rows, ensure_ascii=False, indent=1))
        return
    if not any(row["known"] for row in rows):
        raise LexiconError(rows[0]["note"])
    for row in rows:
        for line in _lines(row):
            click.echo(line)


def _lines(row: Expected) -> list[str]:
    if not row["known"]:
        return [row["prompt"], f"  not known: {row['note']}"]
    lines = [row["prompt"]]
    for choice in row["pronunciations"]:
        lines.append(f"  {choice['phones']}")
        lines.extend(f"    {_sibilant(sibilant)}" for sibilant in choice["sibilants"])
        if not choice["sibilants"]:
            lines.append("    no sibilant expected")
    if row["note"]:
        lines.append(f"  {row['note']}")
    return lines


def _sibilant(sibilant: ExpectedSibilant) -> str:
    parts = [f"{sibilant['phone']:<2}", f"{sibilant['position']:<7}"]
    if sibilant["cluster"]:
        parts.append(f"cluster {sibilant['cluster']}")
    if sibilant["rounded"]:
        parts.append("beside a rounded sound")
    return "  ".join(parts).rstrip()
