"""How a place is shown: templates filled with values, every one of them escaped."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from ..clinic.worked_out import SUPPORT
from ..listening.pictures import INVENTED

TEMPLATES = Path(__file__).parent / "templates"
PLACES = (
    ("capture", "Capture"),
    ("judge", "Judge"),
    ("review", "Review"),
    ("progress", "Progress"),
    ("practise", "Practise"),
    ("reports", "Reports"),
)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def root_of(request: Request) -> str:
    """The path that the site stands below, with its last slash."""
    return f"{request.scope.get('root_path', '')}/"


def shown(request: Request, template: str, *, who: dict[str, Any] | None = None, **values: Any) -> HTMLResponse:
    """Fill a template; ``who`` is the client at hand, as the bar names it."""
    return _filled(request, template, 200, who=who, **values)


def refused(request: Request, line: str, status: int) -> HTMLResponse:
    """Show one line that says what was asked, what is there and the way out."""
    return _filled(request, "refused.html.j2", status, who=None, line=line)


def _filled(request: Request, template: str, status: int, **values: Any) -> HTMLResponse:
    filled = _environment().get_template(template)
    root = root_of(request)
    here = request.url.path.removeprefix(root)
    state = request.app.state
    always = {
        "root": root, "here": here, "places": PLACES, "invented": INVENTED, "support": SUPPORT,
        "handle": state.handles.of, "proof": state.proof,
    }  # fmt: skip
    return HTMLResponse(filled.render(always | values), status)
