"""Bringing in a recording already made: the place, a first look that keeps nothing, and keeping it."""

from __future__ import annotations

import json
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import bring, clients, heard, probe, take
from ..errors import UsageError
from ..terms.vocabulary import CUE_LETTERS, ELICITED, LEVELS
from .asking import caseload_of, client_of, number_of, text_of
from .capturing import MOST_LIST, told
from .forms import ask_about_names, day_in
from .places import Answer, at_hand, choose, device_last, list_groups
from .showing import shown

HEAD_BYTES = 4  # length of the head, little-endian
MOST_HEAD = 2 << 20  # bytes of fields before the files


def place(request: Request) -> Response:
    """Where a recording is dropped or chosen, with what must be known of it asked beside."""
    who, case = at_hand(request)
    if who is None or case is None:
        return choose(request, "bring")
    registered = clients.list_devices(caseload_of(request))
    return shown(
        request,
        "bring.html.j2",
        who=who,
        list_groups=list_groups(),
        levels=tuple(LEVELS),
        cues=list(CUE_LETTERS.items()),
        elicited=tuple(ELICITED),
        devices=registered,
        device_last=device_last(case, registered),
    )


async def handed_over(request: Request) -> tuple[dict[str, Any], list[tuple[str, bytes]]]:
    """What was asked, and the files: four bytes with the head's length (little end first), the head as JSON, the files.

    Raises
    ------
    UsageError
        When they don't fit together.
    """
    body = await request.body()
    length = int.from_bytes(body[:HEAD_BYTES], "little")
    head = body[HEAD_BYTES : HEAD_BYTES + min(length, MOST_HEAD)]
    try:
        asked = json.loads(head)
        sizes, names = list(asked["sizes"]), list(asked["names"])
        first, files = HEAD_BYTES + length, []
        for name, size in zip(names, sizes, strict=True):
            files.append((str(name)[:80], body[first : first + int(size)]))
            first += int(size)
        if first != len(body) or any(int(size) < 0 for size in sizes):
            raise ValueError("sizes")
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise UsageError("the files did not arrive whole; choose them again") from error
    return asked, files


async def look(request: Request) -> Response:
    """A first look: length, what such a recording supports, whether it is here already."""
    asked, files = await handed_over(request)

    def looked() -> dict[str, Any]:
        words, listed = text_of(asked, "words"), text_of(asked, "listed", most=MOST_LIST)
        n_words = len(take.prompts_given(words, listed)) if words or listed else 0
        return bring.first_look(caseload_of(request), files, n_words=n_words, channel=number_of(asked, "channel"))

    return JSONResponse(await run_in_threadpool(looked))


async def keep(request: Request) -> Response:
    """Measure and keep it; ask where there is doubt; tell the words and the verdict, no figures."""
    asked, files = await handed_over(request)
    ask_about_names(asked, "note", "room", "list_name")

    def kept() -> heard.ProbeResult:
        words, listed = text_of(asked, "words"), text_of(asked, "listed", most=MOST_LIST)
        prompts = take.prompts_given(words, listed)
        conditions: dict[str, Any] = {
            "cue": text_of(asked, "cue") or "S",
            "keep": text_of(asked, "keep") or "words",
            **{name: text_of(asked, name) for name in ("level", "device", "elicited", "room", "note")},
        }
        conditions |= {name: asked.get(name) is True for name in ("modelled", "anyway")}
        day, channel = day_in(asked, "on"), number_of(asked, "channel")
        wanted = probe.ProbeRequest((), words, on=day, prompts=prompts, channel=channel, **conditions)
        return bring.bring_in(caseload_of(request), client_of(request), files, wanted)

    return JSONResponse(told(await run_in_threadpool(kept)))


PAGES: dict[str, Answer] = {"/bring": place}
DONE: dict[str, Answer] = {"/do/bring/look": look, "/do/bring/keep": keep}
