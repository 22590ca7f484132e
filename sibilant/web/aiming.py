"""Goals of a client with the clinic's phrase bank, visits, and practice that was kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import goals, practise, runs, visits
from ..clinic.caseload import CaseloadHandle
from ..errors import UsageError
from ..terms.vocabulary import CUES, LEVELS, VISITS
from .asking import caseload_of, number_of, text_of
from .forms import ask_about_names, back_to, client_in, day_in, form_of, one_of
from .places import Answer, chosen_client
from .showing import shown


def place(request: Request) -> Response:
    """Goals, visits and practice of one client."""
    who = chosen_client(request, "goals")
    if isinstance(who, Response):
        return who
    caseload = caseload_of(request)
    return shown(
        request,
        "goals.html.j2",
        who=who,
        goals=goals.list_goals(caseload, who["code"]),
        phrases=goals.phrases(caseload),
        visits=visits.list_visits(caseload, who["code"]),
        runs=runs.list_runs(caseload, who["code"]),
        levels=tuple(LEVELS),
        cues=tuple(CUES),
        kinds=tuple(VISITS),
        done=text_of(request.query_params, "done", most=20),
    )


def _goal(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    fields: dict[str, Any] = {"level": text_of(given, "level"), "cue": text_of(given, "cue")}
    fields |= goals.read_criterion(text_of(given, "criterion") or "80%")
    if (by := day_in(given, "by_on")) is not None:
        fields["by_on"] = by
    goals.add_goal(caseload, code, text_of(given, "behaviour"), fields)


def _goal_ended(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    number, ended = number_of(given, "number") or 0, text_of(given, "ended")
    if ended == "mistake":
        goals.remove_goal(caseload, code, number)
    else:
        goals.change_goal(caseload, code, number, {"ended": "" if ended == "open" else ended})


def _visit(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    minutes = number_of(given, "minutes")
    visits.add_visit(caseload, code, text_of(given, "kind"), on=day_in(given, "on"), minutes=minutes)


def _visit_gone(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    visits.remove_visit(caseload, code, number_of(given, "number") or 0)


def _run_gone(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    runs.remove_run(caseload, code, number_of(given, "number") or 0)


def _phrase_gone(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    goals.drop_phrase(caseload, text_of(given, "phrase"))


def _sheet_back(caseload: CaseloadHandle, code: str, given: Mapping[str, str]) -> None:
    day = day_in(given, "on")
    if day is None:
        raise UsageError("which sheet is not said; choose it by its day")
    practise.take_back(caseload, code, day)


_DONE: dict[str, Callable[[CaseloadHandle, str, Mapping[str, str]], None]] = {
    "goal": _goal,
    "ended": _goal_ended,
    "visit": _visit,
    "visit-gone": _visit_gone,
    "run-gone": _run_gone,
    "phrase-gone": _phrase_gone,
    "sheet-back": _sheet_back,
}


async def change(request: Request) -> Response:
    """Keep, change or take out one goal, visit, run of practice, phrase or sheet."""
    given = await form_of(request)
    code, part = client_in(request, given), one_of(given, "part", _DONE)
    ask_about_names(given, "behaviour")
    await run_in_threadpool(_DONE[part], caseload_of(request), code, given)
    return back_to(request, "goals", code, done=part)


PAGES: dict[str, Answer] = {"/goals": place}
FORMS: dict[str, Answer] = {"/goals": change}
