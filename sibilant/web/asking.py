"""What a request asks, read and checked: whose caseload, which client and session, which values were sent."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from starlette.requests import Request

from ..clinic.caseload import CaseloadHandle
from ..errors import UsageError
from .handles import Handles


def caseload_of(request: Request) -> CaseloadHandle:
    """The caseload that this site shows."""
    found: CaseloadHandle = request.app.state.caseload
    return found


def client_of(request: Request) -> str | None:
    """The client of the address, by handle or (typed by a person) by code; None for the one used last."""
    given = request.query_params.get("client")
    return handles_of(request).code(given) if given else None


def handles_of(request: Request) -> Handles:
    """What stands for clients in this run's addresses."""
    found: Handles = request.app.state.handles
    return found


def number_of(values: Mapping[str, Any], name: str) -> int | None:
    """A whole number from what was sent, None where it is empty.

    Raises
    ------
    UsageError
        When it is no whole number.
    """
    text = str(values.get(name, "") if values.get(name) is not None else "").strip()
    if not text:
        return None
    if not text.isdecimal() or len(text) > 9:
        raise UsageError(f"{name} {text[:20]!r}: a whole number is needed")
    return int(text)


async def sent(request: Request) -> dict[str, Any]:
    """The JSON object that was sent.

    Raises
    ------
    UsageError
        When it is none.
    """
    try:
        found = json.loads(await request.body())
    except (ValueError, RecursionError) as error:
        raise UsageError("what was sent is not JSON; load the page again") from error
    if not isinstance(found, dict):
        raise UsageError("what was sent is no JSON object; load the page again")
    return found


def text_of(values: Mapping[str, Any], name: str, *, most: int = 200) -> str:
    """A text that was sent, without what surrounds it.

    Raises
    ------
    UsageError
        When it is longer than allowed.
    """
    text = str(values.get(name) or "").strip()
    if len(text) > most:
        raise UsageError(f"{name}: {len(text)} letters are too many; keep it under {most}")
    return text
