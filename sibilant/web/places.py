"""The places that are whole pages: clients, capture, judge, review, progress; and the forms that change something."""

from __future__ import annotations

import datetime as dt
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..clinic import clients, months_chart, report, sessions, settings, summarise, take, told, worked_out
from ..clinic.answers import ClientRow, DeviceRow
from ..clinic.caseload import CaseloadHandle, cautions
from ..clinic.warming import warm
from ..errors import CaseloadError, SibilantError, UsageError
from ..listening import expect
from ..terms import MEASURES
from ..terms.clinic import Case, Device
from ..terms.vocabulary import CUE_LETTERS, DISTORTIONS, ELICITED, PRACTICE_LEVELS, REPORT_KINDS
from .asking import caseload_of, client_of, number_of, text_of
from .forms import ask_about_names, back_to, client_in, day_in, form_of, pairs_of
from .marks import MARKS
from .showing import shown

Answer = Callable[[Request], Response | Awaitable[Response]]
ROLES = ("parent", "guardian", "client", "school")
COLUMNS = (
    ("session", "session"),
    ("on", "day"),
    ("phase", "phase"),
    ("level", "level"),
    ("cue", "cue"),
    ("device", "device"),
    ("correct", "correct"),
    ("by ear", "by ear"),
    ("figure", "figure"),
    ("measured", "measured"),
    ("checked", "checked"),
)
FORMS_OF_REPORT = {
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
}


WIDE_MM, NARROW_MM = 170.0, 85.0
"""Widths of the months chart, for a screen and for a telephone."""
TICKS = ("recording", "teaching", "research", "pooled")


def at_hand(request: Request) -> tuple[dict[str, Any] | None, Case | None]:
    """The client of the address and its case, read once a request; neither where the address names none."""
    code = client_of(request)
    return clients.client_at_hand(caseload_of(request), code) if code else (None, None)


def _rows(request: Request) -> tuple[list[ClientRow], str]:
    """All clients, or none with the reason."""
    try:
        return clients.list_clients(caseload_of(request)), ""
    except CaseloadError as missing:
        return [], str(missing)


def choose(request: Request, place: str) -> Response:
    """The clients to choose from, before a place of one of them."""
    rows, _ = _rows(request)
    return shown(request, "choose.html.j2", rows=rows, place=place)


def chosen_client(request: Request, place: str) -> dict[str, Any] | Response:
    """The client at hand, or the place where one is chosen."""
    who, _ = at_hand(request)
    return choose(request, place) if who is None else who


def start(request: Request) -> Response:
    """The start: clients under codes, one chosen, one added; and the cautions."""
    rows, why_none = _rows(request)
    who, case = at_hand(request)
    held = sessions.session_rows(case) if case is not None else []
    answer = shown(
        request,
        "clients.html.j2",
        who=who,
        rows=rows,
        why_none=why_none if not rows else "",
        sessions=held,
        without_device=[row for row in held if not row["device"]],
        devices=clients.list_devices(caseload_of(request)) if held else [],
        added=request.query_params.get("added", ""),
        cautions=cautions(caseload_of(request).folder),
        measures=[measure for measure in MEASURES.values() if measure.scope == "token"],
        directions=clients.DIRECTIONS,
        roles=ROLES,
        lists=_lists(),
        followed=MEASURES[who["main_measure"]].plain_name if who else "",
    )
    answer.background = BackgroundTask(warm)
    return answer


def _lists() -> list[expect.ListedName]:
    """Built-in lists that can be asked word by word."""
    return [row for row in expect.describe_lists() if row["list"] != "carriers"]


def list_groups() -> list[tuple[str, list[expect.ListedName]]]:
    """The lists in two groups: whole probes, and pools of one kind of word."""
    rows = _lists()
    pools = [row for row in rows if str(row["list"]).startswith(("pool-", "pairs-"))]
    return [("Probes", [row for row in rows if row not in pools]), ("Pools and pairs", pools)]


def capture(request: Request) -> Response:
    """Record a probe word by word."""
    who, case = at_hand(request)
    if who is None or case is None:
        return choose(request, "capture")
    registered = clients.list_devices(caseload_of(request))
    return shown(
        request,
        "capture.html.j2",
        who=who,
        list_groups=list_groups(),
        levels=("", *PRACTICE_LEVELS),
        elicited=tuple(ELICITED),
        cues=[(letter, name) for letter, name in CUE_LETTERS.items()],
        devices=registered,
        device_last=device_last(case, registered),
        under_way=take.under_way(caseload_of(request), who["code"]),
    )


def device_last(case: Case, registered: list[DeviceRow]) -> str:
    """The device used last with a client, or the first that is registered."""
    used = [session.device for session in case.sessions if session.device]
    return str((used or [device["name"] for device in registered[:1]] or [""])[-1])


def judge(request: Request) -> Response:
    """Judge by ear, one token after the other."""
    return with_sessions(request, "judge.html.j2", "judge", marks=MARKS, distortions=tuple(DISTORTIONS))


def review(request: Request) -> Response:
    """Look at one token after the other; move edges, say whose voice it is and which attempt counts."""
    return with_sessions(request, "review.html.j2", "review", sound=text_of(request.query_params, "sound", most=20))


def with_sessions(request: Request, template: str, place: str, **values: Any) -> Response:
    """A place of a client where one session is chosen; the last one where none is named."""
    who, case = at_hand(request)
    if who is None or case is None:
        return choose(request, place)
    held = sessions.session_rows(case)
    chosen = number_of(request.query_params, "session") or (held[-1]["session"] if held else None)
    if held and chosen not in [row["session"] for row in held]:
        numbers = ", ".join(str(row["session"]) for row in held)
        raise UsageError(f"{who['code']}: no session {chosen}; there are: {numbers}")
    listener = settings.listener(caseload_of(request))
    return shown(request, template, who=who, sessions=held, chosen=chosen, listener=listener, **values)


def progress(request: Request) -> Response:
    """Sessions over months: the chart, its table, and the plain sentences."""
    who, case = at_hand(request)
    if who is None or case is None:
        return choose(request, "progress")
    key = request.query_params.get("measure", "")
    view = summarise.view_of(caseload_of(request), case, measures=(key,) if key else ())
    alt, why_none = "", ""
    try:
        alt = months_chart.words(view, case, key=key)
    except SibilantError as nothing:
        why_none = str(nothing)
    return shown(
        request,
        "progress.html.j2",
        who=who,
        alt=alt,
        why_none=why_none,
        columns=COLUMNS,
        rows=summarise.session_rows(view, key),
        nearest=summarise.nearest_sounds(view, key),
        sentences=told.sentences(view),
        groups=worked_out.groups(view),
        measures=[measure for measure in MEASURES.values() if measure.scope == "token"],
        key=key or view.main_measure,
        kinds=tuple(REPORT_KINDS),
        forms=tuple(FORMS_OF_REPORT),
    )


def months(request: Request) -> Response:
    """The months chart as SVG, wide or narrow."""
    key = request.query_params.get("measure", "")
    narrow = request.query_params.get("width") == "narrow"
    view, case = summarise.case_view(caseload_of(request), client_of(request), measures=(key,) if key else ())
    svg = months_chart.picture(view, case, key=key, width_mm=NARROW_MM if narrow else WIDE_MM)
    return Response(svg, media_type="image/svg+xml")


def points(request: Request) -> Response:
    """Where each session's point stands on the wide and the narrow chart; asked for once the place is shown."""
    key = request.query_params.get("measure", "")
    view, case = summarise.case_view(caseload_of(request), client_of(request), measures=(key,) if key else ())
    on = {one.number: one.on.isoformat() for one in view.summaries}
    found = [months_chart.places(view, case, key=key, width_mm=width) for width in (WIDE_MM, NARROW_MM)]
    charts = [
        {"high": high, "spots": [{"session": n, "on": on[n], "across": x, "down": y} for n, (x, y) in at.items()]}
        for high, at in found
    ]
    return JSONResponse(charts)


def report_file(request: Request) -> Response:
    """A report to download: a draft to read, fill in and sign."""
    asked = request.query_params
    kind, form = asked.get("kind", "monthly"), asked.get("form", "pdf")
    ticked = report.Ticked(published_range=asked.get("range") == "yes", session=number_of(asked, "session"))
    if form not in FORMS_OF_REPORT:
        raise UsageError(f"a report is made as {', '.join(FORMS_OF_REPORT)}; not {form[:10]!r}")
    content = report.report_bytes(caseload_of(request), client_of(request), kind, form, ticked=ticked)
    name = f"report-{kind}.{form}"  # no code: browsers keep a list of what was downloaded
    sent_as = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=FORMS_OF_REPORT[form], headers=sent_as)


async def add_client(request: Request) -> Response:
    """Add a client under a random code, and go to it."""
    given = await form_of(request)
    ask_about_names(given, "hearing", "reason")
    added = await run_in_threadpool(_added, caseload_of(request), given)
    return back_to(request, "", added, added="yes")


def _added(caseload: CaseloadHandle, given: Mapping[str, str]) -> str:
    fields: dict[str, Any] = {
        "main_measure": text_of(given, "measure") or "centroid_hz",
        "direction": text_of(given, "expected") or "none",
        **{name: text_of(given, name) for name in ("language", "hearing")},
        "list_form": text_of(given, "words"),
        "invented": given.get("invented") == "yes",
    }
    if said := _therapy(given):
        fields["therapy"] = said
    if rule := text_of(given, "rule"):
        fields["move_up"] = clients.read_move_up(rule)
    if by := text_of(given, "consent_by"):
        ticks = {name: given.get(name) == "yes" for name in TICKS}
        fields["consent"] = {"by": by, **ticks, **_day(given, "consent_on", "given_on")}
    elif any(given.get(name) == "yes" for name in TICKS):
        raise UsageError("consent: say who agreed (a role, such as parent, never a name)")
    client, _ = clients.add_client(caseload, text_of(given, "age", most=12), code=text_of(given, "code"), fields=fields)
    return client.code


def _day(given: Mapping[str, str], name: str, field: str) -> dict[str, dt.date]:
    day = day_in(given, name)
    return {field: day} if day is not None else {}


async def add_device(request: Request) -> Response:
    """Register a microphone and place, and go back to where it was asked for."""
    given = await form_of(request)
    name = text_of(given, "name", most=40)
    if not name:
        raise UsageError("a device needs a short name, such as headset")
    ask_about_names(given, "name", "place")
    device = Device(name, text_of(given, "kind"), text_of(given, "place"))
    await run_in_threadpool(clients.add_device, caseload_of(request), device)
    return back_to(request, "capture", client_in(request, given))


def _therapy(given: Mapping[str, str]) -> dict[str, Any]:
    """What was said of when therapy ran; empty where nothing was."""
    said: dict[str, Any] = {}
    for name in ("starts", "pauses", "resumes"):
        said |= _day(given, f"therapy_{name}", name)
    return said | ({"under_way": True} if given.get("therapy_under_way") == "yes" else {})


async def state_therapy(request: Request) -> Response:
    """Say when therapy starts, pauses, resumes, or that it was under way before the first probe."""
    given = await form_of(request)
    code, said = client_in(request, given), _therapy(given)
    if not said:
        raise UsageError("nothing was said: give the day therapy starts, or tick that it was under way before")
    await run_in_threadpool(clients.change_client, caseload_of(request), code, {"therapy": said})
    return back_to(request, "", code)


async def state_device(request: Request) -> Response:
    """State the device of the sessions ticked, all at once, and go back to the client."""
    pairs = await pairs_of(request)
    numbers = [number_of({"session": value}, "session") for name, value in pairs if name == "session"]
    given = dict(pairs)
    device, code = text_of(given, "device", most=80), client_in(request, given)
    if not device or not numbers:
        raise UsageError("tick the sessions and choose the device that was used in them")
    ticked = [number for number in numbers if number is not None]
    await run_in_threadpool(sessions.change_sessions, caseload_of(request), code, ticked, {"device": device})
    return back_to(request, "", code)


PAGES: dict[str, Answer] = {
    "/": start,
    "/capture": capture,
    "/judge": judge,
    "/review": review,
    "/progress": progress,
    "/progress/months.svg": months,
    "/report": report_file,
}
ASKED: dict[str, Answer] = {"/do/progress/points": points}
FORMS: dict[str, Answer] = {
    "/clients": add_client,
    "/devices": add_device,
    "/sessions/device": state_device,
    "/therapy": state_therapy,
}
