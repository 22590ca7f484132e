"""What is kept of a client: age, measure, hearing, rules; consent, hold, therapy, events; who did what when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import again, clients, followed
from ..errors import UsageError
from ..terms import MEASURES
from .asking import caseload_of, number_of, text_of
from .forms import ask_about_names, back_to, client_in, day_in, form_of, one_of
from .places import ROLES, Answer, chosen_client, list_groups
from .showing import shown

TEXTS = ("language", "dialect", "reason", "hearing", "group")
KINDS_OF_EVENT = ("teeth", "ears and hearing", "illness", "brace or appliance", "therapy", "school or home", "other")
SCOPES = ("recording", "teaching", "research")


def place(request: Request) -> Response:
    """Everything that is kept of a client but its sessions, with a form for each part."""
    who = chosen_client(request, "details")
    if isinstance(who, Response):
        return who
    return shown(
        request,
        "details.html.j2",
        who=who,
        events=clients.list_events(caseload_of(request), who["code"]),
        kinds_of_event=KINDS_OF_EVENT,
        roles=ROLES,
        scopes=SCOPES,
        measures=[measure for measure in MEASURES.values() if measure.scope == "token"],
        directions=clients.DIRECTIONS,
        methods=followed.HOUSE,
        list_groups=list_groups(),
        rule=_rule(who.get("move_up")),
        done=text_of(request.query_params, "done", most=20),
    )


def _rule(kept: Mapping[str, Any] | None) -> str:
    """The clinic's rule as it is typed."""
    return f"{100 * kept['share']:.0f}% x{kept['n_sessions']} n{kept['n_tokens']}" if kept else ""


@dataclass(frozen=True, slots=True)
class _Said:
    """What one form says of a client: fields, and the age where it was changed."""

    fields: dict[str, Any]
    age: str | None = None


def _described(given: Mapping[str, str]) -> _Said:
    fields: dict[str, Any] = {name: text_of(given, name) for name in TEXTS if name in given}
    fields |= {"main_measure": text_of(given, "measure"), "direction": text_of(given, "expected")}
    fields |= {"list_form": text_of(given, "words"), "hearing_on": day_in(given, "hearing_on")}
    if "method" in given:
        fields["method"] = text_of(given, "method")
    rule = text_of(given, "rule")
    fields["move_up"] = clients.read_move_up(rule) if rule else None
    fields["retention"] = {"text": text_of(given, "retention"), "months": number_of(given, "retention_months")}
    return _Said(fields, text_of(given, "age", most=12) or None)


def _consented(given: Mapping[str, str]) -> _Said:
    by, on = text_of(given, "by"), day_in(given, "given_on")
    if not by:
        raise UsageError("consent: say who agreed (a role, such as parent, never a name)")
    said: dict[str, Any] = {"by": by, **{name: given.get(name) == "yes" for name in SCOPES}}
    return _Said({"consent": said | ({"given_on": on} if on else {})})


def _withdrawn(given: Mapping[str, str]) -> _Said:
    on = day_in(given, "withdrawn_on")
    if given.get("undo") == "yes":
        return _Said({"consent": {"withdrawn_on": None}})
    if on is None:
        raise UsageError("consent: say the day on which it was withdrawn")
    return _Said({"consent": {"withdrawn_on": on}})


def _held(given: Mapping[str, str]) -> _Said:
    held = "" if given.get("let_go") == "yes" else text_of(given, "because", most=120) or "asked for"
    return _Said({"held": held})


def _therapy(given: Mapping[str, str]) -> _Said:
    said: dict[str, Any] = {name: day_in(given, name) for name in ("starts", "pauses", "resumes")}
    said |= {name: True for name in ("under_way", "not_stated") if given.get(name) == "yes"}
    if not any(said.values()):
        raise UsageError("nothing was said: give the day therapy starts, or tick that it was under way before")
    return _Said({"therapy": {name: value for name, value in said.items() if value}})


_PARTS = {
    "described": _described,
    "consent": _consented,
    "withdrawal": _withdrawn,
    "hold": _held,
    "therapy": _therapy,
}


async def change(request: Request) -> Response:
    """Change one part of what is kept of a client."""
    given = await form_of(request)
    code, part = client_in(request, given), one_of(given, "part", _PARTS)
    said = _PARTS[part](given)
    ask_about_names(given, "reason", "hearing", "retention", "because")
    await run_in_threadpool(lambda: clients.change_client(caseload_of(request), code, said.fields, age=said.age))
    return back_to(request, "details", code, done=part)


async def measure_again(request: Request) -> Response:
    """Measure all kept sounds of a client again, and say what came of it."""
    code = client_in(request, await form_of(request))
    done = await run_in_threadpool(again.measure_client_again, caseload_of(request), code)
    who = await run_in_threadpool(clients.show_client, caseload_of(request), code)
    return shown(request, "measured.html.j2", who=who, told=again.lines(done))


async def add_event(request: Request) -> Response:
    """Keep a dated event of a kind."""
    given = await form_of(request)
    code, text, on = client_in(request, given), text_of(given, "text", most=120), day_in(given, "on")
    kind = text_of(given, "kind", most=40)
    if not text or on is None:
        raise UsageError("an event needs its day and what happened, such as: upper incisors lost; no names")
    ask_about_names(given, "text")
    whole = text if kind in ("", "other") else f"{kind}: {text}"
    await run_in_threadpool(clients.add_event, caseload_of(request), code, whole, on)
    return back_to(request, "details", code, done="event")


PAGES: dict[str, Answer] = {"/details": place}
FORMS: dict[str, Answer] = {"/details": change, "/details/event": add_event, "/details/again": measure_again}
