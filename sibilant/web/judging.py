"""What the judge place asks and does: the order to listen in, each word's sound, one judgement at a time."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import judge, look
from ..errors import UsageError
from ..terms.vocabulary import HEARD
from .asking import caseload_of, client_of, number_of, sent, text_of
from .forms import ask_about_names
from .places import Answer


async def queue(request: Request) -> Response:
    """What is left to judge, in its order; nothing that would lead the ear."""
    given = await sent(request)

    def asked() -> judge.Queue:
        share = number_of(given, "share")
        return judge.queue(
            caseload_of(request),
            client_of(request),
            number_of(given, "session"),
            rater=text_of(given, "rater", most=40),
            blind=given.get("blind") is True,
            share=(100 if share is None else share) / 100,
        )

    found = await run_in_threadpool(asked)
    left = [
        {"key": one.key, "prompt": one.prompt, "sound": one.sound, "place": one.place, "of": one.of,
         "has_sound": bool(one.clip) or one.sealed}
        for one in found.left
    ]  # fmt: skip
    return JSONResponse(
        {
            "client": found.client,
            "session": found.session,
            "rater": found.rater,
            "turn": found.turn,
            "revision": found.revision,
            "blind": found.blind,
            "left": left,
        }
    )


async def one(request: Request) -> Response:
    """Keep one judgement at once."""
    given = await sent(request)
    said = HEARD.find(text_of(given, "heard"))
    if said is None:
        raise UsageError("nothing chosen yet; press the key of what was heard")
    kinds = given.get("types") or []
    if not isinstance(kinds, list):
        raise UsageError("kinds of distortion come as a list; load the page again")
    more: dict[str, Any] = {
        "types": tuple(str(kind) for kind in kinds),
        "substitute": text_of(given, "substitute", most=20),
        "certainty": text_of(given, "certainty"),
        "note": text_of(given, "note"),
        "line": number_of(given, "line"),
    }
    session, rater = number_of(given, "session"), text_of(given, "rater", most=40)
    ask_about_names({"rater": rater}, "rater")
    if session is None or not rater:
        raise UsageError("which session, and who listens (a code such as R1), must be said")
    turn = number_of(given, "turn") or 1
    client = text_of(given, "client", most=12)
    asked = judge.Queue(client, session, rater, turn, given.get("blind") is True, (), number_of(given, "revision"))
    await run_in_threadpool(lambda: judge.record(caseload_of(request), asked, text_of(given, "key"), said, **more))
    return JSONResponse({"kept": said})


async def after(request: Request) -> Response:
    """What a listener's judgements of a session give, once the set is done."""
    given = request.query_params
    asked = judge.Queue(
        client_of(request) or "", number_of(given, "session") or 0, given.get("rater", "")[:40], 1, False, ()
    )
    done = await run_in_threadpool(judge.after, caseload_of(request), asked)
    return JSONResponse({"lines": judge.counted(done)})


async def sound(request: Request) -> Response:
    """The float32 samples of a kept word; its rate and the first and last sample of its sibilant in the head."""
    given = request.query_params
    key, number = given.get("key", ""), number_of(given, "session")
    held = await run_in_threadpool(look.sound, caseload_of(request), client_of(request), number, key)
    head = {
        "x-rate": str(held.recording.sampling_rate_hz),
        "x-first": str(held.first),
        "x-last": str(held.last),
        "x-from": f"{held.start_s:.9f}",
    }
    samples = held.recording.samples.astype("<f4").tobytes()
    return Response(samples, media_type="application/octet-stream", headers=head)


ASKED: dict[str, Answer] = {"/do/sound": sound, "/do/judge/after": after}
DONE: dict[str, Answer] = {"/do/judge/queue": queue, "/do/judge/one": one}
