"""Two kept sounds one after another at equal loudness, and every sound behind a point of the chart."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from ..clinic import hearing, summarise
from ..terms import MEASURES
from .asking import caseload_of, number_of, text_of
from .places import Answer, at_hand, choose
from .showing import shown


def place(request: Request) -> Response:
    """Choose two sounds, by pairs that stand to reason or one by one; hear them in turn."""
    who, case = at_hand(request)
    if who is None or case is None:
        return choose(request, "listen")
    view = summarise.view_of(caseload_of(request), case)
    words = hearing.kept_words(case, view)
    numbers = sorted(words)
    asked = request.query_params
    session = number_of(asked, "session")
    chosen = session if session in words else (numbers[-1] if numbers else None)
    return shown(
        request,
        "listen.html.j2",
        who=who,
        words=words,
        pairs=hearing.pairs(words, view),
        days={one.number: one.on.isoformat() for one in case.sessions},
        chosen=chosen,
        first=text_of(asked, "first", most=40),
        second=text_of(asked, "second", most=40),
        measure=MEASURES[view.main_measure],
    )


PAGES: dict[str, Answer] = {"/listen": place}
