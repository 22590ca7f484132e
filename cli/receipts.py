"""How a receipt of a removal is printed."""

from __future__ import annotations

from typing import Any

import click

from .shown import print_json


def print_receipt(receipt: Any, *, as_json: bool) -> None:
    """Print what was erased and what could not be reached."""
    if as_json:
        print_json(
            {
                "client": receipt.client,
                "on": receipt.on.isoformat(timespec="seconds"),
                "erased": list(receipt.erased),
                "not_reached": list(receipt.not_reached),
            }
        )
        return
    click.echo(f"Receipt: {receipt.client}, {receipt.on.isoformat(timespec='seconds')}")
    for line in receipt.erased:
        click.echo(f"  erased: {line}")
    for line in receipt.not_reached:
        click.echo(f"  not reached, see to it yourself: {line}")
