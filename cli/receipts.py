"""How a receipt of a removal is printed, and what was brought back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from .shown import print_json

if TYPE_CHECKING:
    from sibilant.clinic.receipts import BroughtBack

erasing = click.option(
    "--erase", is_flag=True, help="Erase at once and for good, as where somebody asks for erasure; no bin."
)


def print_receipt(receipt: Any, *, as_json: bool) -> None:
    """Print what was erased, or what lies in the bin until when, and what could not be reached."""
    if as_json:
        print_json(
            {
                "client": receipt.client,
                "on": receipt.on.isoformat(timespec="seconds"),
                "erased": list(receipt.erased),
                "not_reached": list(receipt.not_reached),
                "in_bin": list(receipt.in_bin),
                "until": receipt.until.isoformat() if receipt.until is not None else None,
            }
        )
        return
    click.echo(f"Receipt: {receipt.client}, {receipt.on.isoformat(timespec='seconds')}")
    for line in receipt.erased:
        click.echo(f"  erased: {line}")
    for line in receipt.in_bin:
        click.echo(f"  set aside in the bin until {receipt.until}, not erased: {line}")
    for line in receipt.not_reached:
        click.echo(f"  not reached, see to it yourself: {line}")


def print_brought_back(done: BroughtBack, *, as_json: bool) -> None:
    """Print what was brought back from the bin."""
    if as_json:
        print_json(done)
        return
    number = f", as session {done['session']}" if done["session"] is not None else ""
    click.echo(f"brought back: {done['brought_back']}{number}")
