"""Published values that fit a question or a client, the clinic's own ones, and ranges made of one's own recordings."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import clients, compare, sharing
from ..errors import UsageError
from ..terms import MEASURES
from ..terms.vocabulary import POSITIONS
from .asking import caseload_of, client_of, text_of
from .bringing import handed_over
from .places import Answer
from .showing import shown

PHONES = ("s", "z", "sh", "zh")


def place(request: Request) -> Response:
    """Values that fit what is asked, each with source, population and method; or why none fits."""
    code = client_of(request)
    who = clients.show_client(caseload_of(request), code) if code else None
    values = request.query_params
    asked = {name: text_of(values, name, most=40) for name in ("phone", "age", "group", "position")}
    asked["phone"] = asked["phone"] or "s"
    asked["age"] = asked["age"] or (who["age"] if who is not None else "")
    request_of = compare.RangesRequest(
        phone=asked["phone"], age=asked["age"], group=asked["group"], position=asked["position"]
    )
    found = compare.list_ranges(request_of, caseload=caseload_of(request)) if asked["age"] else None
    return shown(
        request,
        "ranges.html.j2",
        who=who,
        asked=asked,
        found=found,
        phones=PHONES,
        positions=tuple(POSITIONS),
        plain_names={key: one.plain_name for key, one in MEASURES.items()},
    )


async def take_in(request: Request) -> Response:
    """Keep ranges of the clinic's own from a CSV, or make them of a measured table."""
    asked, files = await handed_over(request)
    if len(files) != 1:
        raise UsageError("choose one CSV file")
    (name, content), speaker = files[0], text_of(asked, "speaker", most=60)

    def kept() -> dict[str, Any]:
        population = text_of(asked, "population")
        rows, left = sharing.take_ranges(caseload_of(request), name, content, speaker=speaker, population=population)
        told = [f"{row['figures']} · {row['population']} · {row['source']}" for row in compare.describe_ranges(rows)]
        n = f"{len(rows)} kept" if rows else "nothing added: all of them were there already"
        return {"lines": [n, *told, *(f"left out: {why}" for why in left)]}

    return JSONResponse(await run_in_threadpool(kept))


PAGES: dict[str, Answer] = {"/ranges": place}
DONE: dict[str, Answer] = {"/do/ranges": take_in}
