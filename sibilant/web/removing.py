"""Everything that removes: asked once in words, then done with a receipt; and what lies in the bin."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import clients, removing, sessions
from ..errors import UsageError
from ..terms.clinic import Receipt
from .asking import caseload_of, number_of, text_of
from .forms import back_to, client_in, form_of
from .places import Answer, chosen_client
from .showing import shown


@dataclass(frozen=True, slots=True)
class Removal:
    """What is to be removed: the question, what goes with it, the button's words, and where one goes back to."""

    question: str
    goes: tuple[str, ...]
    button: str
    back: str


def place(request: Request) -> Response:
    """Ask, in words, before anything is removed."""
    who = chosen_client(request, "")
    if isinstance(who, Response):
        return who
    what, number = text_of(request.query_params, "what", most=10), number_of(request.query_params, "number")
    asked = _KINDS[_known(what)](request, who, number)
    way = removing.way_of(caseload_of(request), who["code"])
    return shown(request, "sure.html.j2", who=who, what=what, number=number, asked=asked, way=way)


def _known(what: str) -> str:
    if what not in _KINDS:
        raise UsageError(f"remove {what[:10]!r}: it is one of {', '.join(_KINDS)}")
    return what


def _session(request: Request, who: Mapping[str, Any], number: int | None) -> Removal:
    one = sessions.show_session(caseload_of(request), who["code"], number)
    goes = (
        f"session {one['session']} of {one['on']}: {one['judged']} words judged, {one['checked']} checked",
        "its words’ sound, figures, judgements and corrections",
    )
    return Removal(f"Remove session {one['session']} of {who['code']}?", goes, "Remove this session", "session")


def _event(request: Request, who: Mapping[str, Any], number: int | None) -> Removal:
    held = {row["event"]: row for row in clients.list_events(caseload_of(request), who["code"])}
    if number not in held:
        raise UsageError(f"{who['code']}: no event {number}; go back and choose one")
    row = held[number]
    return Removal("Remove this event?", (f"{row['on']}: {row['text']}",), "Remove this event", "details")


def _audio(request: Request, who: Mapping[str, Any], _: int | None) -> Removal:
    goes = ("all kept sound; words can then no more be heard, judged or reviewed here", "figures and judgements stay")
    return Removal(f"Remove the sound of {who['code']}?", goes, "Remove the sound", "details")


def _all(request: Request, who: Mapping[str, Any], _: int | None) -> Removal:
    n = len(who["sessions"])
    goes = (f"the code {who['code']}, {n} session{'' if n == 1 else 's'}, all sound, figures, judgements and events",)
    return Removal(f"Remove {who['code']} and everything kept of it?", goes, "Remove everything", "details")


_KINDS: dict[str, Callable[[Request, Mapping[str, Any], int | None], Removal]] = {
    "session": _session,
    "event": _event,
    "audio": _audio,
    "all": _all,
}


async def remove(request: Request) -> Response:
    """Remove what was asked, and show the receipt."""
    given = await form_of(request)
    code, what, number = client_in(request, given), _known(text_of(given, "what", most=10)), number_of(given, "number")
    erase = given.get("erase") == "yes"
    receipt = await run_in_threadpool(_removed, request, code, (what, number, erase))
    who = clients.show_client(caseload_of(request), code) if what != "all" else None
    return shown(request, "receipt.html.j2", who=who, receipt=receipt, what=what)


def _removed(request: Request, code: str, asked: tuple[str, int | None, bool]) -> Receipt | str:
    """The receipt, or for an event, which leaves nothing else behind, the line that says what is gone."""
    folder, (what, number, erase) = caseload_of(request), asked
    if what == "audio":
        return removing.remove_client(folder, code, "audio", erase=erase)
    if what == "all":
        return removing.remove_client(folder, code, "all", erase=erase)
    if number is None:
        raise UsageError(f"which {what} is not said; go back and choose it")
    if what == "event":
        whose, gone = clients.remove_event(folder, code, number)
        return f"{whose}, {gone.on.isoformat()}: removed"
    return removing.remove_session(folder, code, number, erase=erase)


def what_lies(request: Request) -> Response:
    """What lies in the bin, each with a way back."""
    done = text_of(request.query_params, "done", most=60)
    rows = removing.list_bin(caseload_of(request))
    return shown(request, "bin.html.j2", who=None, rows=rows, done=done)


async def bring_back(request: Request) -> Response:
    """Bring one thing back from the bin."""
    given = await form_of(request)
    code, number = client_in(request, given), number_of(given, "number")
    folder = caseload_of(request)
    if number is None:
        await run_in_threadpool(removing.restore_client, folder, code)
    else:
        await run_in_threadpool(removing.restore_session, folder, code, number)
    return back_to(request, "bin", done="back")


PAGES: dict[str, Answer] = {"/remove": place, "/bin": what_lies}
FORMS: dict[str, Answer] = {"/remove": remove, "/bin/restore": bring_back}
