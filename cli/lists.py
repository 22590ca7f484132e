"""``sibilant lists``: the built-in word lists."""

from __future__ import annotations

import json

import click


@click.command(name="lists", epilog="Example: sibilant lists core-a")
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON list on standard output.")
@click.option("--csv", "as_csv", is_flag=True, help="The list as LIST.csv on standard output, to be changed and used.")
def command(name: str | None, as_json: bool, as_csv: bool) -> None:
    """The built-in word lists: all names, or the prompts of one."""
    if as_csv and (name is None or as_json):
        raise click.UsageError("--csv writes one list: name it, without --json")
    from sibilant.listening.expect import describe_list, describe_lists, list_as_csv

    if as_csv and name is not None:
        click.echo(list_as_csv(name), nl=False)
        return
    if as_json:
        rows = describe_lists() if name is None else describe_list(name)
        click.echo(json.dumps(rows, ensure_ascii=False, indent=1))
    elif name is None:
        for one in describe_lists():
            click.echo(f"{one['list']:<14} {one['n_prompts']:>3}  {one['note']}")
    else:
        for row in describe_list(name):
            click.echo(f"{row['prompt']:<20}  {row['phones']}" if row["level"] == "word" else row["prompt"])
