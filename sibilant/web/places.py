"""The places that are whole pages: clients, capture, judge, review, progress; and the forms that change something."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from ..errors import CaseloadError, SibilantError, UsageError
from ..terms import MEASURES
from ..terms.clinic import DISTORTIONS, Device
from ..workflow import clients, expect, report, sessions, summarise, take
from ..workflow.caseload import cautions, folder_of
from ..workflow.pictures import INVENTED
from ..workflow.probe import CUES
from .asking import caseload_of, client_of, handles_of, number_of, text_of
from .marks import MARKS
from .showing import root_of, shown

Answer = Callable[[Request], Response | Awaitable[Response]]
LEVELS = ("", "isolation", "syllable", "word", "set-of-three", "phrase", "sentence")
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


def _who(request: Request) -> dict[str, Any] | None:
    code = client_of(request)
    return clients.show_client(caseload_of(request), code) if code else None


def _rows(request: Request) -> tuple[list[dict[str, Any]], str]:
    """All clients, or none with the reason."""
    try:
        return clients.list_clients(caseload_of(request)), ""
    except CaseloadError as missing:
        return [], str(missing)


def _choose(request: Request, place: str) -> Response:
    rows, _ = _rows(request)
    return shown(request, "choose.html.j2", rows=rows, place=place)


def start(request: Request) -> Response:
    """The start: clients under codes, one chosen, one added; and the cautions."""
    rows, why_none = _rows(request)
    who = _who(request)
    held = sessions.list_sessions(caseload_of(request), who["code"]) if who else []
    return shown(
        request,
        "clients.html.j2",
        who=who,
        rows=rows,
        why_none=why_none if not rows else "",
        sessions=held,
        added=request.query_params.get("added", ""),
        cautions=cautions(folder_of(caseload_of(request))),
        measures=[measure for measure in MEASURES.values() if measure.scope == "token"],
        directions=clients.DIRECTIONS,
        roles=ROLES,
        lists=_lists(),
        followed=MEASURES[who["main_measure"]].plain_name if who else "",
    )


def _lists() -> list[dict[str, Any]]:
    """Built-in lists that can be asked word by word."""
    return [row for row in expect.describe_lists() if row["list"] != "carriers"]


def _list_groups() -> list[tuple[str, list[dict[str, Any]]]]:
    """The lists in two groups: whole probes, and pools of one kind of word."""
    rows = _lists()
    pools = [row for row in rows if str(row["list"]).startswith(("pool-", "pairs-"))]
    return [("Probes", [row for row in rows if row not in pools]), ("Pools and pairs", pools)]


def capture(request: Request) -> Response:
    """Record a probe word by word."""
    who = _who(request)
    if who is None:
        return _choose(request, "capture")
    return shown(
        request,
        "capture.html.j2",
        who=who,
        list_groups=_list_groups(),
        levels=LEVELS,
        cues=[(letter, name) for letter, name in CUES.items()],
        devices=clients.list_devices(caseload_of(request)),
        under_way=take.under_way(caseload_of(request), who["code"]),
    )


def judge(request: Request) -> Response:
    """Judge by ear, one token after the other."""
    return _with_sessions(request, "judge.html.j2", "judge", marks=MARKS, distortions=DISTORTIONS)


def review(request: Request) -> Response:
    """Look at one token after the other; move edges, say whose voice it is and which attempt counts."""
    return _with_sessions(request, "review.html.j2", "review", sound=text_of(request.query_params, "sound", most=20))


def _with_sessions(request: Request, template: str, place: str, **values: Any) -> Response:
    who = _who(request)
    if who is None:
        return _choose(request, place)
    held = sessions.list_sessions(caseload_of(request), who["code"])
    chosen = number_of(request.query_params, "session") or (held[-1]["session"] if held else None)
    if held and chosen not in [row["session"] for row in held]:
        numbers = ", ".join(str(row["session"]) for row in held)
        raise UsageError(f"{who['code']}: no session {chosen}; there are: {numbers}")
    return shown(request, template, who=who, sessions=held, chosen=chosen, **values)


def progress(request: Request) -> Response:
    """Sessions over months: the chart, its table, and the plain sentences."""
    who = _who(request)
    if who is None:
        return _choose(request, "progress")
    key = request.query_params.get("measure", "")
    view, case = summarise.case_view(caseload_of(request), who["code"], measures=(key,) if key else ())
    try:
        alt = summarise.months_words(view, case, key=key)
        why_none = ""
    except SibilantError as nothing:
        alt, why_none = "", str(nothing)
    return shown(
        request,
        "progress.html.j2",
        who=who,
        alt=alt,
        why_none=why_none,
        columns=COLUMNS,
        rows=summarise.session_rows(view, key),
        nearest=summarise.nearest_sounds(view, key),
        groups=_grouped(summarise.lines(view)),
        measures=[measure for measure in MEASURES.values() if measure.scope == "token"],
        key=key or view.main_measure,
        kinds=report.KINDS,
        forms=report.FORMS,
    )


def _grouped(lines: list[str]) -> list[list[str]]:
    """Lines in their groups, as blank lines part them on the terminal; what every page says anyhow is left out."""
    groups: list[list[str]] = [[]]
    for line in lines:
        if line == "":
            groups.append([])
        elif line not in {summarise.SUPPORT, INVENTED}:
            groups[-1].append(line)
    return [group for group in groups if group]


def months(request: Request) -> Response:
    """The months chart as SVG, wide or narrow."""
    key = request.query_params.get("measure", "")
    narrow = request.query_params.get("width") == "narrow"
    view, case = summarise.case_view(caseload_of(request), client_of(request), measures=(key,) if key else ())
    svg = summarise.months_picture(view, case, key=key, width_mm=85.0 if narrow else 170.0)
    return Response(svg, media_type="image/svg+xml")


def report_file(request: Request) -> Response:
    """A report to download: a draft to read, fill in and sign."""
    asked = request.query_params
    kind, form = asked.get("kind", "monthly"), asked.get("form", "pdf")
    ticked = report.Ticked(published_range=asked.get("range") == "yes", session=number_of(asked, "session"))
    if form not in FORMS_OF_REPORT:
        raise UsageError(f"a report is made as {', '.join(FORMS_OF_REPORT)}; not {form[:10]!r}")
    with tempfile.TemporaryDirectory(prefix="sibilant-") as folder:
        path = Path(folder) / f"report.{form}"
        document = report.make_report(caseload_of(request), client_of(request), kind, path, ticked=ticked)
        content = path.read_bytes()
    name = f"report-{kind}.{form}"  # no code: browsers keep a list of what was downloaded
    assert document is not None
    sent_as = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=FORMS_OF_REPORT[form], headers=sent_as)


async def _form(request: Request) -> dict[str, str]:
    """The fields of a form that was sent."""
    body = (await request.body()).decode("utf-8", "replace")
    return dict(parse_qsl(body, keep_blank_values=True, max_num_fields=60))


async def add_client(request: Request) -> Response:
    """Add a client under a random code, and go to it."""
    given = await _form(request)
    added = await run_in_threadpool(_added, caseload_of(request), given)
    return RedirectResponse(
        f"{root_of(request)}?{urlencode({'client': handles_of(request).of(added), 'added': 'yes'})}", 303
    )


def _added(caseload: Path | None, given: Mapping[str, str]) -> str:
    fields: dict[str, Any] = {
        "main_measure": text_of(given, "measure") or "centroid_hz",
        "direction": text_of(given, "expected") or "none",
        **{name: text_of(given, name) for name in ("language", "hearing")},
        "list_form": text_of(given, "words"),
        "invented": given.get("invented") == "yes",
    }
    if rule := text_of(given, "rule"):
        fields["move_up"] = clients.read_move_up(rule)
    if by := text_of(given, "consent_by"):
        ticks = {name: given.get(name) == "yes" for name in ("recording", "teaching", "research")}
        fields["consent"] = {"by": by, **ticks, **_day(given, "consent_on", "given_on")}
    elif any(given.get(name) == "yes" for name in ("recording", "teaching", "research")):
        raise UsageError("consent: say who agreed (a role, such as parent, never a name)")
    client, _ = clients.add_client(caseload, text_of(given, "age", most=12), code=text_of(given, "code"), fields=fields)
    return client.code


def _day(given: Mapping[str, str], name: str, field: str) -> dict[str, dt.date]:
    text = text_of(given, name)
    if not text:
        return {}
    try:
        return {field: dt.date.fromisoformat(text)}
    except ValueError as wrong:
        raise UsageError(f"{text[:12]!r} is not a day; write it as 2026-01-31") from wrong


async def add_device(request: Request) -> Response:
    """Register a microphone and place, and go back to where it was asked for."""
    given = await _form(request)
    name = text_of(given, "name", most=40)
    if not name:
        raise UsageError("a device needs a short name, such as headset")
    device = Device(name, text_of(given, "kind"), text_of(given, "place"))
    await run_in_threadpool(clients.add_device, caseload_of(request), device)
    handles = handles_of(request)
    back = urlencode({"client": handles.of(handles.code(text_of(given, "client", most=12)))})
    return RedirectResponse(f"{root_of(request)}capture?{back}", 303)


PAGES: dict[str, Answer] = {
    "/": start,
    "/capture": capture,
    "/judge": judge,
    "/review": review,
    "/progress": progress,
    "/progress/months.svg": months,
    "/report": report_file,
}
FORMS: dict[str, Answer] = {"/clients": add_client, "/devices": add_device}
