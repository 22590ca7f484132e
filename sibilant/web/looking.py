"""A recording measured and words looked up without a client: nothing is kept of either."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import clients
from ..errors import UsageError
from ..listening import expect, measure
from .asking import caseload_of, client_of, text_of
from .bringing import handed_over
from .places import Answer, list_groups
from .showing import shown

COLUMNS = (
    "prompt",
    "phone",
    "position",
    "finding",
    "onset_s",
    "duration_ms",
    "centroid_hz",
    "sd_hz",
    "peak_hz",
    "flags",
)
MOST_SAID = 2000  # letters


def place(request: Request) -> Response:
    """Where a recording is measured, and words are looked up."""
    code = client_of(request)
    who = clients.show_client(caseload_of(request), code) if code else None
    text = text_of(request.query_params, "text", most=MOST_SAID)
    texts = [one.strip() for one in text.split(",") if one.strip()]
    expected = [_told(row) for row in expect.expect_texts(texts)]
    return shown(request, "look.html.j2", who=who, text=text, expected=expected, list_groups=list_groups())


def _told(row: expect.Expected) -> tuple[str, list[str], str]:
    """A prompt, one line for each way to say it, and a note."""
    lines = [
        ", ".join(
            f"/{one['phone'].lower()}/ {one['position']}{' in ' + one['cluster'] if one['cluster'] else ''}"
            for one in way["sibilants"]
        )
        or "no sibilant"
        for way in row["pronunciations"]
    ]
    return row["prompt"], lines, row["note"]


async def measured(request: Request) -> Response:
    """Measure a recording and return a table of what was found; the file stands on the disk for that time alone."""
    asked, files = await handed_over(request)
    if not files:
        raise UsageError("no recording given; choose one or more sound files")
    words, said = text_of(asked, "words"), text_of(asked, "say", most=MOST_SAID)

    def found() -> dict[str, Any]:
        results = measure.measure_given(files, words=words, say=said)
        rows = [[_cell(row.get(name)) for name in COLUMNS] for row in measure.shown_rows(results)]
        return {"lines": measure.summary(results), "columns": COLUMNS, "rows": rows}

    return JSONResponse(await run_in_threadpool(found))


def _cell(value: Any) -> str:
    return "" if value is None else str(value)


PAGES: dict[str, Answer] = {"/look": place}
DONE: dict[str, Answer] = {"/do/look/measure": measured}
