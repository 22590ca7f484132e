"""Forms that were sent, read field by field; and the way back to a place of a client."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import parse_qsl, urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from ..clinic import private
from ..errors import UsageError
from .asking import handles_of, text_of
from .showing import root_of

MOST_FIELDS = 400  # a set of 100 words has some 300


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a form that was sent; of a field sent more than once the last stands."""
    return dict(await pairs_of(request))


async def pairs_of(request: Request) -> list[tuple[str, str]]:
    """The fields of a form that was sent, each as often as it was sent.

    Raises
    ------
    UsageError
        When there are more than a form of this page has.
    """
    body = (await request.body()).decode("utf-8", "replace")
    try:
        request.state.form = parse_qsl(body, keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError as error:
        raise UsageError(f"a form of this page has at most {MOST_FIELDS} fields; load the page again") from error
    found: list[tuple[str, str]] = request.state.form
    return found


def ask_about_names(given: Mapping[str, Any], *names: str) -> None:
    """Ask about what looks like a name in fields that are about to be kept, unless it was said that it is none.

    Raises
    ------
    QuestionError
        When there is one.
    """
    texts = [(name.replace("_", " "), str(given.get(name) or "")) for name in names]
    private.ask_about_names(texts, no_name=given.get("no_name") in ("yes", True))


def client_in(request: Request, given: Mapping[str, str]) -> str:
    """The code of the client that a form names by handle.

    Raises
    ------
    UsageError
        When it names none.
    """
    handle = text_of(given, "client", most=12)
    if not handle:
        raise UsageError("the form names no client; go back to the start and choose one")
    return handles_of(request).code(handle)


def one_of(given: Mapping[str, str], name: str, known: Iterable[str]) -> str:
    """What a field names among what is known.

    Raises
    ------
    UsageError
        When it names something else.
    """
    found = text_of(given, name, most=20)
    if found not in (names := tuple(known)):
        raise UsageError(f"{name} {found!r}: it is one of {', '.join(names)}; load the page again")
    return found


def day_in(given: Mapping[str, str], name: str) -> dt.date | None:
    """A day that was sent, None where the field is empty.

    Raises
    ------
    UsageError
        When it is no day.
    """
    text = text_of(given, name)
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError as wrong:
        raise UsageError(f"{text[:12]!r} is not a day; write it as 2026-01-31") from wrong


def back_to(request: Request, place: str, code: str = "", **more: Any) -> Response:
    """Go to a place, of a client where there is a code; the address carries its handle."""
    asked = {**({"client": handles_of(request).of(code)} if code else {}), **more}
    query = f"?{urlencode(asked)}" if asked else ""
    return RedirectResponse(f"{root_of(request)}{place}{query}", 303)
