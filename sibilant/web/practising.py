"""Practice: a long sound seen while it lasts, runs by level with marks and cues, and sheets for home."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import practise, runs
from ..errors import UsageError
from ..terms.vocabulary import CUE_LETTERS, PRACTICE_LEVELS
from .asking import caseload_of, client_of, sent, text_of
from .marks import MARKS
from .places import FORMS_OF_REPORT, Answer, chosen_client, list_groups
from .showing import shown


def place(request: Request) -> Response:
    """The place of practice; nothing is recorded there."""
    who = chosen_client(request, "practise")
    if isinstance(who, Response):
        return who
    return shown(
        request,
        "practise.html.j2",
        who=who,
        levels=tuple(PRACTICE_LEVELS),
        cues=list(CUE_LETTERS.items()),
        marks=MARKS,
        list_groups=list_groups(),
        forms=tuple(FORMS_OF_REPORT),
    )


async def items(request: Request) -> Response:
    """What is said in a run."""
    given = await sent(request)
    asked = practise.SheetRequest(
        text_of(given, "level"), text_of(given, "words"), "own words", given.get("probe_words") is True
    )
    found = await run_in_threadpool(practise.run_items, caseload_of(request), client_of(request), asked)
    return JSONResponse(found)


async def practised(request: Request) -> Response:
    """Keep a run as practice, never as a probe; its words count as treated from today."""
    given = await sent(request)
    marks = given.get("marks")
    whole = isinstance(marks, list) and all(isinstance(one, dict) and {"said", "heard"} <= one.keys() for one in marks)
    if not whole:
        raise UsageError("the marks of a run come as a list; load the page again")
    level = text_of(given, "level")
    run = await run_in_threadpool(runs.keep_run, caseload_of(request), client_of(request), level, marks or [])
    return JSONResponse({"kept": len(run.marks)})


def drawing(request: Request) -> Response:
    """A word's drawing, for children who do not read."""
    svg = practise.drawing_of(text_of(request.query_params, "word", most=40))
    return Response(svg, 200 if svg else 404, media_type="image/svg+xml")


def sheet(request: Request) -> Response:
    """A practice sheet to download and print."""
    asked = request.query_params
    form = asked.get("form", "pdf")
    if form not in FORMS_OF_REPORT:
        raise UsageError(f"a practice sheet is made as {', '.join(FORMS_OF_REPORT)}; not {form[:10]!r}")
    probe_words = asked.get("probe_words") == "yes"
    wanted = practise.SheetRequest(text_of(asked, "level"), text_of(asked, "words"), "own words", probe_words)
    made = practise.sheet_bytes(caseload_of(request), client_of(request), wanted, form)
    sent_as = {"content-disposition": f'attachment; filename="practice-{wanted.level}.{form}"'}
    return Response(made, media_type=FORMS_OF_REPORT[form], headers=sent_as)


PAGES: dict[str, Answer] = {"/practise": place, "/practise/sheet": sheet, "/drawing": drawing}
DONE: dict[str, Answer] = {"/do/practise/items": items, "/do/practise/said": practised}
