"""Each command of the command line and its place on the page: the table of docs/page.md against both."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import click

from sibilant.web.site import ANSWERING

PAGE = Path(__file__).parents[2] / "docs" / "page.md"
OF_ITS_OWN = {"demo"}
TERMINAL = {"caseload encrypt", "caseload rekey", "caseload decrypt", "caseload passphrase", "caseload restore"}
RESEARCH = {"corpus", "study"}


def commands(group: click.Group, before: str = "") -> Iterator[str]:
    """Names of all commands that do something."""
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        whole = f"{before}{name}"
        if isinstance(found, click.Group) and name not in RESEARCH:
            yield from commands(found, f"{whole} ")
        else:
            yield whole


def test_every_command_has_its_place_or_says_that_it_has_none() -> None:
    from sibilant_cli.main import group

    rows = re.findall(
        r"^\| (`[^|]*) \| ([^|]*) \|$", PAGE.read_text(encoding="utf-8").split("## Every command")[1], re.M
    )
    placed = {name: where for cell, where in rows for name in re.findall(r"`([^`]+)`", cell)}
    assert set(placed) == set(commands(group))
    addresses = {path for one in ANSWERING for path in getattr(one, "PAGES", {})}
    for name, where in placed.items():
        if where.startswith("none"):
            assert name in OF_ITS_OWN | TERMINAL | RESEARCH, name
        else:
            assert set(re.findall(r"`(/\w*)`", where)) <= addresses and "`/" in where, name
