"""What the review place asks and does: the tokens in the order to look at them, one token's picture, a correction."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import look, review, voices
from ..clinic.answers import SetConfirmed, SetUndone
from ..clinic.plain import plain
from .asking import caseload_of, client_of, number_of, sent, text_of
from .places import Answer


async def tokens(request: Request) -> Response:
    """A session's tokens, those first that a person should look at."""
    number = number_of(request.query_params, "session")
    return JSONResponse(
        plain(await run_in_threadpool(look.to_look_at, caseload_of(request), client_of(request), number))
    )


async def token(request: Request) -> Response:
    """One token: edges, voice, attempts."""
    given = request.query_params
    number, key = number_of(given, "session"), given.get("key", "")
    return JSONResponse(
        plain(await run_in_threadpool(look.token, caseload_of(request), client_of(request), number, key))
    )


async def strip(request: Request) -> Response:
    """The picture of one word as bytes, time after time, low frequencies first; its size and span in the head."""
    given = request.query_params
    number, key = number_of(given, "session"), given.get("key", "")
    drawn = await run_in_threadpool(look.strip, caseload_of(request), client_of(request), number, key)
    head = {
        "x-times": str(drawn.ink.shape[0]),
        "x-steps": str(drawn.ink.shape[1]),
        "x-from": f"{drawn.from_s:.9f}",
        "x-to": f"{drawn.to_s:.9f}",
        "x-top": f"{drawn.top_hz:.1f}",
    }
    return Response(drawn.ink.tobytes(), media_type="application/octet-stream", headers=head)


async def save(request: Request) -> Response:
    """Keep one correction beside the automatic values."""
    given = await sent(request)
    number, rater = number_of(given, "session"), text_of(given, "rater", most=40)
    done = await run_in_threadpool(
        lambda: review.review_one(caseload_of(request), client_of(request), number, given, rater=rater)
    )
    return JSONResponse(plain(done))


async def waiting(request: Request) -> Response:
    """What waits for a person's word on whose voice it is, after a model."""
    number = number_of(request.query_params, "session")
    return JSONResponse(await run_in_threadpool(voices.waiting, caseload_of(request), client_of(request), number))


async def whose(request: Request) -> Response:
    """Confirm the sure replies as a set, once the least certain were heard, or take that back."""
    given = await sent(request)
    number, rater, heard = number_of(given, "session"), text_of(given, "rater", most=40), given.get("heard")

    def done() -> SetConfirmed | SetUndone:
        folder, client = caseload_of(request), client_of(request)
        if given.get("undo") is True:
            return voices.undo_set(folder, client, number, rater=rater)
        keys = [str(key) for key in heard] if isinstance(heard, list) else []
        return voices.confirm_set(folder, client, number, heard=keys, rater=rater)

    return JSONResponse(await run_in_threadpool(done))


ASKED: dict[str, Answer] = {
    "/do/review/tokens": tokens,
    "/do/review/token": token,
    "/do/review/strip": strip,
    "/do/review/voices": waiting,
}
DONE: dict[str, Answer] = {"/do/review/save": save, "/do/review/whose": whose}
