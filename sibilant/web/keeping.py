"""One kept session: what was noted of it, changed or moved to the client it belongs to; its words."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import clients, sessions
from ..errors import UsageError
from ..terms.vocabulary import CUES, ELICITED, LEVELS, PHASES
from .asking import caseload_of, handles_of, number_of, text_of
from .forms import ask_about_names, back_to, client_in, day_in, form_of
from .places import Answer, chosen_client
from .showing import shown

NOTED = ("level", "cue", "device", "room", "phase", "elicited", "note")


def place(request: Request) -> Response:
    """One session: what was noted, its words and marks, and how to change, move or remove it."""
    who = chosen_client(request, "session")
    if isinstance(who, Response):
        return who
    folder, code = caseload_of(request), who["code"]
    held = sessions.list_sessions(folder, code)
    number = number_of(request.query_params, "session")
    one = sessions.show_session(folder, code, number) if held else None
    return shown(
        request,
        "session.html.j2",
        who=who,
        one=one,
        sessions=held,
        others=[row for row in clients.list_clients(folder) if row["client"] != code],
        devices=clients.list_devices(folder),
        levels=tuple(LEVELS),
        cues=tuple(CUES),
        phases=tuple(PHASES),
        elicited=tuple(ELICITED),
        done=text_of(request.query_params, "done", most=20),
    )


def _changed(given: dict[str, str]) -> dict[str, Any]:
    """What a form says of a session: every field of it, so that one can be emptied."""
    changed: dict[str, Any] = {name: text_of(given, name) for name in NOTED if name in given}
    if day := day_in(given, "on"):
        changed["on"] = day
    if not changed.get("phase"):
        changed.pop("phase", None)
    return changed | ({"bridge": given.get("bridge") == "yes"} if "on" in given else {})


async def change(request: Request) -> Response:
    """Change what was noted of a session."""
    given = await form_of(request)
    code, number = client_in(request, given), _number(given)
    ask_about_names(given, "note", "room")
    await run_in_threadpool(sessions.change_session, caseload_of(request), code, number, _changed(given))
    return back_to(request, "session", code, session=number, done="changed")


async def move(request: Request) -> Response:
    """Move a session to the client it belongs to, and go to it there."""
    given = await form_of(request)
    code, number = client_in(request, given), _number(given)
    to = handles_of(request).code(text_of(given, "to", most=12))
    if not to:
        raise UsageError("choose the client that the session belongs to")
    moved = await run_in_threadpool(sessions.move_session, caseload_of(request), code, number, to)
    return back_to(request, "session", to, session=moved, done="moved")


def _number(given: dict[str, str]) -> int:
    number = number_of(given, "session")
    if number is None:
        raise UsageError("which session is not said; go back to the client and choose it")
    return number


PAGES: dict[str, Answer] = {"/session": place}
FORMS: dict[str, Answer] = {"/session/change": change, "/session/move": move}
