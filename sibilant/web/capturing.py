"""What the capture place asks and does: a trial, a take begun, its stretches, its end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import heard, take
from ..clinic.answers import TakeMoved, TakeState
from ..errors import UsageError
from .asking import caseload_of, client_of, number_of, sent, text_of
from .places import Answer

MOST_LIST = 1 << 20  # letters of a list typed in


async def _samples(request: Request) -> take.Samples:
    """The float32 samples that were sent.

    Raises
    ------
    UsageError
        When what was sent is not whole samples.
    """
    body = await request.body()
    if len(body) % 4:
        raise UsageError("the sound that was sent is not whole; say the word again")
    return np.frombuffer(body, "<f4").astype(np.float32)


def _shown(state: Mapping[str, Any]) -> dict[str, Any]:
    """Of a take's state, what the page needs."""
    said = [one["place"] for one in state["stretches"]]
    return {
        "take": state["take"],
        "begun": state["begun"],
        "place": state["place"],
        "rate": state["sampling_rate_hz"],
        "words": [take.spelt(row) for row in state["prompts"]],
        "pictures": state.get("pictures", False),
        "said": [said.count(place) for place in range(1, len(state["prompts"]) + 1)],
        "keep": state["keep"],
        "again": state.get("again", ""),
    }


async def under_way(request: Request) -> Response:
    """The take under way, if any."""
    state = await run_in_threadpool(take.under_way, caseload_of(request), client_of(request))
    return JSONResponse({"take": _shown(state) if state is not None else None})


async def trial(request: Request) -> Response:
    """What a trial word tells of room and microphone."""
    rate = number_of(request.query_params, "rate") or 0
    samples = await _samples(request)
    return JSONResponse(await run_in_threadpool(take.try_out, samples, rate))


async def microphone(request: Request) -> Response:
    """Refuse a microphone that can't serve, before anything is recorded."""
    given = await sent(request)
    take.refuse_microphone(number_of(given, "rate") or 0, _settings(given))
    return JSONResponse({"serves": True})


def _settings(given: Mapping[str, Any]) -> dict[str, Any]:
    """The settings that the browser read back from the track: short plain values, no identifiers."""
    found = given.get("microphone")
    if not isinstance(found, dict):
        raise UsageError("the microphone's settings are missing; load the page again")
    kept = {str(key)[:40]: value for key, value in found.items() if str(key) not in {"deviceId", "groupId"}}
    return {key: value for key, value in kept.items() if isinstance(value, bool | int | float | str)}


async def begin(request: Request) -> Response:
    """Begin a take."""
    given = await sent(request)
    asked = take.TakeRequest(
        words=text_of(given, "words"),
        listed=text_of(given, "listed", most=MOST_LIST),
        level=text_of(given, "level"),
        cue=text_of(given, "cue") or "S",
        device=text_of(given, "device"),
        phase=text_of(given, "phase"),
        keep=text_of(given, "keep") or "words",
        modelled=given.get("modelled") is True,
        elicited=text_of(given, "elicited"),
        pictures=given.get("pictures") is True,
        sampling_rate_hz=number_of(given, "rate") or 0,
        microphone=_settings(given),
    )
    return JSONResponse(_shown(await run_in_threadpool(take.begin, caseload_of(request), client_of(request), asked)))


async def go_on(request: Request) -> Response:
    """Continue a take that was interrupted."""
    given = await sent(request)

    def continued() -> TakeState:
        rate, settings = number_of(given, "rate") or 0, _settings(given)
        return take.go_on(caseload_of(request), client_of(request), sampling_rate_hz=rate, microphone=settings)

    return JSONResponse(_shown(await run_in_threadpool(continued)))


async def stretch(request: Request) -> Response:
    """Keep one stretch of sound, or ask for the word again."""
    samples = await _samples(request)
    asked = request.query_params

    def kept() -> TakeMoved:
        return take.keep_stretch(
            caseload_of(request),
            client_of(request),
            samples,
            take=asked.get("take", ""),
            place=number_of(asked, "place") or 0,
            onward=asked.get("then") != "again",
        )

    return JSONResponse(_shown(await run_in_threadpool(kept)))


async def step(request: Request) -> Response:
    """Go to the next word or the one before without a stretch."""
    given = await sent(request)

    def moved() -> TakeState:
        place, back = number_of(given, "place") or 0, given.get("back") is True
        mark = text_of(given, "take")
        return take.step(caseload_of(request), client_of(request), take=mark, place=place, back=back)

    return JSONResponse(_shown(await run_in_threadpool(moved)))


async def finish(request: Request) -> Response:
    """Measure and keep the take; tell the words and the verdict, no figures."""
    given = await sent(request)
    answered = {name: given.get(name) is True for name in ("modelled", "anyway")}
    kept = await run_in_threadpool(lambda: take.finish(caseload_of(request), client_of(request), **answered))
    return JSONResponse(told(kept))


def told(kept: heard.ProbeResult) -> dict[str, Any]:
    """What was kept, its notes without the terminal's commands, which are buttons or places here."""
    return {**heard.as_plain(kept), "notes": [note.text for note in kept.notes]}


async def throw_away(request: Request) -> Response:
    """Erase the take."""
    n_gone = await run_in_threadpool(take.throw_away, caseload_of(request), client_of(request))
    return JSONResponse({"erased": n_gone})


ASKED: dict[str, Answer] = {"/do/take": under_way}
DONE: dict[str, Answer] = {
    "/do/microphone": microphone,
    "/do/trial": trial,
    "/do/take/begin": begin,
    "/do/take/go-on": go_on,
    "/do/take/stretch": stretch,
    "/do/take/step": step,
    "/do/take/finish": finish,
    "/do/take/throw-away": throw_away,
}
