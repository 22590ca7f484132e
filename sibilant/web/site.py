"""The site: which address is answered by what, and how an error becomes one plain line."""

from __future__ import annotations

import secrets
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from ..clinic.caseload import CaseloadHandle
from ..errors import LockedError, QuestionError, RefusedError, SibilantError, UsageError
from . import (
    again,
    aiming,
    bringing,
    capturing,
    detailing,
    hearing,
    helping,
    judging,
    keeping,
    looking,
    places,
    practising,
    ranging,
    removing,
    reporting,
    reviewing,
    settling,
    sharing,
)
from .afterwards import Afterwards
from .guard import Guard
from .handles import Handles
from .opening import Entrance
from .showing import refused, root_of, shown

STATIC = Path(__file__).parent / "static"
ANSWERING = (
    places, again, aiming, bringing, capturing, detailing, hearing, helping, judging, keeping, looking, practising,
    ranging, removing, reporting, reviewing, settling, sharing,
)  # fmt: skip


def make_site(caseload: CaseloadHandle, *, port: int, token: str, root: str, entrance: Entrance) -> Guard:
    """Return the site of one caseload, which lets in only what carries the token and comes to 127.0.0.1 at the port.

    Parameters
    ----------
    caseload : CaseloadHandle
        The caseload, as the door opened it.
    port : int
        The port it is served on; part of the host and origin that are accepted.
    token : str
        The session's secret.
    root : str
        The path that the site stands below, such as ``/x7Kq``.
    entrance : Entrance
        What lets a browser in.

    Returns
    -------
    Guard
        An ASGI application.
    """
    site = Starlette(
        routes=[*_all_routes(), Mount("/static", StaticFiles(directory=STATIC))],
        exception_handlers={SibilantError: _said, HTTPException: _http, Exception: _fault},
    )
    site.state.caseload = caseload
    site.state.handles = Handles(token)
    site.state.proof = secrets.token_hex(32)
    answering = Afterwards(site, caseload)
    return Guard(answering, port=port, token=token, root=root, entrance=entrance, proof=site.state.proof)


def _all_routes() -> list[Route]:
    """Every address: whole places, forms that change something, and what scripts ask and do."""
    asked = [getattr(one, name) for one in ANSWERING for name in ("PAGES", "ASKED") if hasattr(one, name)]
    done = [getattr(one, name) for one in ANSWERING for name in ("FORMS", "DONE") if hasattr(one, name)]
    return [route for answers in asked for route in _routes(answers, "GET")] + [
        route for answers in done for route in _routes(answers, "POST")
    ]


def _routes(answers: dict[str, places.Answer], method: str) -> list[Route]:
    return [Route(path, answer, methods=[method]) for path, answer in answers.items()]


def status_of(error: SibilantError) -> int:
    """Return the status an error is answered with: 400 a wrong question, 409 refused, 423 locked, 422 not to be used.

    Examples
    --------
    >>> status_of(UsageError("?")), status_of(RefusedError("?")), status_of(SibilantError("?"))
    (400, 409, 422)
    """
    if isinstance(error, UsageError):
        return 400
    if isinstance(error, LockedError):
        return 423
    return 409 if isinstance(error, RefusedError) else 422


def _said(request: Request, error: Exception) -> Response:
    assert isinstance(error, SibilantError)
    if not isinstance(error, QuestionError):
        return _line(request, str(error), status_of(error))
    if error.answers == ("no_name",) and getattr(request.state, "form", None):
        return _asked_again(request, error.asked)
    return _line(request, error.asked, status_of(error), error.answers)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    line = "there is no such place here; go back to the start" if error.status_code == 404 else str(error.detail)
    return _line(request, line, error.status_code)


def _fault(request: Request, error: Exception) -> Response:
    return _line(request, f"a fault of the program ({type(error).__name__}); what was kept before is safe", 500)


def _asked_again(request: Request, line: str) -> Response:
    """A form's question about a name, with the form's own fields to be sent again when it is none."""
    fields = [pair for pair in getattr(request.state, "form", []) if pair[0] != "no_name"]
    address = request.url.path.removeprefix(root_of(request))
    return shown(request, "name.html.j2", line=line, fields=fields, address=address)


def _line(request: Request, line: str, status: int, answers: tuple[str, ...] = ()) -> Response:
    if request.url.path.removeprefix(root_of(request)).startswith("do/"):
        return JSONResponse({"error": line, "answers": list(answers)} if answers else {"error": line}, status)
    return refused(request, line, status)
