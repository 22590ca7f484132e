"""Judging again: a set as the list of its words with marks; one changed or taken back; agreement of listeners."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import agree, judged
from ..errors import UsageError
from ..terms.vocabulary import DISTORTIONS, HEARD
from .asking import caseload_of, client_of, number_of, sent, text_of
from .marks import MARKS
from .places import Answer, chosen_client, with_sessions
from .showing import shown


def place(request: Request) -> Response:
    """The words of a set with their marks."""
    return with_sessions(request, "again.html.j2", "again", marks=MARKS, distortions=tuple(DISTORTIONS))


def agreement(request: Request) -> Response:
    """How far those who listened agree."""
    who = chosen_client(request, "agree")
    if isinstance(who, Response):
        return who
    found = [agree.told(one) for one in agree.agree(caseload_of(request), who["code"])]
    return shown(request, "agree.html.j2", who=who, found=found)


async def marks(request: Request) -> Response:
    """The words with the marks that stand."""
    given = request.query_params
    number, rater = number_of(given, "session"), given.get("rater", "")[:40]
    return JSONResponse(
        await run_in_threadpool(lambda: judged.marks(caseload_of(request), client_of(request), number, rater=rater))
    )


async def change(request: Request) -> Response:
    """Give a word another mark, or put the one before back."""
    given = await sent(request)
    number, rater, key = number_of(given, "session"), text_of(given, "rater", most=40), text_of(given, "key")
    folder, client = caseload_of(request), client_of(request)
    if given.get("undo") is True:
        back = await run_in_threadpool(lambda: judged.take_back(folder, client, number, key, rater=rater))
        return JSONResponse(back)
    said, kinds = HEARD.find(text_of(given, "heard")), given.get("types") or []
    if said is None or not isinstance(kinds, list):
        raise UsageError("nothing chosen yet; press the key of what was heard")
    more: dict[str, Any] = {
        "types": tuple(str(kind) for kind in kinds),
        "substitute": text_of(given, "substitute", most=20),
        "certainty": text_of(given, "certainty"),
        "note": text_of(given, "note"),
        "line": number_of(given, "line"),
    }
    return JSONResponse(
        await run_in_threadpool(lambda: judged.change(folder, client, number, key, said, rater=rater, **more))
    )


PAGES: dict[str, Answer] = {"/again": place, "/agree": agreement}
ASKED: dict[str, Answer] = {"/do/again/marks": marks}
DONE: dict[str, Answer] = {"/do/again/one": change}
