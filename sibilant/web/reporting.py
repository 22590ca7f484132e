"""Reports read before they are made, their fields filled in where they stand; and the planner."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import plan, report, written
from ..errors import NoSpreadError, UsageError
from ..terms import MEASURES
from ..terms.document import Part, Picture
from ..terms.vocabulary import REPORT_KINDS
from .asking import caseload_of, client_of, number_of, text_of
from .forms import ask_about_names, back_to, client_in, pairs_of
from .places import FORMS_OF_REPORT, Answer, chosen_client
from .showing import shown

MOST_LETTERS = 2000  # of one field of a report
FIELD = "field:"


def place(request: Request) -> Response:
    """A report as it stands, each field that only a clinician can fill as a field."""
    who = chosen_client(request, "reports")
    if isinstance(who, Response):
        return who
    asked = request.query_params
    kind = REPORT_KINDS.read(asked.get("kind", "monthly"))
    with_range = asked.get("range") == "yes"
    ticked = report.Ticked(published_range=with_range, session=number_of(asked, "session"))
    document = report.report_document(caseload_of(request), who["code"], kind, ticked)
    return shown(
        request,
        "reports.html.j2",
        who=who,
        kind=kind,
        kinds=tuple(REPORT_KINDS),
        forms=tuple(FORMS_OF_REPORT),
        with_range=with_range,
        draft=written.draft_of(caseload_of(request), who["code"], kind),
        done=text_of(asked, "done", most=20),
        document=document,
        parts=[(_name(part), part) for part in document.parts],
    )


def picture(request: Request) -> Response:
    """A picture of a report, as it stands in that very report."""
    asked = request.query_params
    ticked = report.Ticked(published_range=asked.get("range") == "yes")
    kind = REPORT_KINDS.read(asked.get("kind", "monthly"))
    document = report.report_document(caseload_of(request), client_of(request), kind, ticked)
    for part in document.of_kind(Picture):
        if isinstance(part, Picture) and part.name == asked.get("name") and "svg" in part.images:
            return Response(part.images["svg"], media_type="image/svg+xml")
    raise UsageError(f"a {kind} report has no such picture; load the page again")


def _name(part: Part) -> str:
    return type(part).__name__


async def make(request: Request) -> Response:
    """The report as a file, with what was written into its fields; or that kept as a draft, where this was asked."""
    pairs = await pairs_of(request)
    given = dict(pairs)
    if given.get("keep"):
        return await _keep(request, given)
    code, kind, form = client_in(request, given), text_of(given, "kind"), text_of(given, "form")
    if form not in FORMS_OF_REPORT:
        raise UsageError(f"a report is made as {', '.join(FORMS_OF_REPORT)}; not {form[:10]!r}")
    filled = tuple(_filled(given).items())
    ask_about_names(given, "filed_as")
    filed_as = text_of(given, "filed_as", most=60)
    ticked = report.Ticked(published_range=given.get("range") == "yes", filled=filled, filed_as=filed_as)
    content = await run_in_threadpool(
        lambda: report.report_bytes(caseload_of(request), code, kind, form, ticked=ticked)
    )
    sent_as = {"content-disposition": f'attachment; filename="report-{REPORT_KINDS.read(kind)}.{form}"'}
    return Response(content, media_type=FORMS_OF_REPORT[form], headers=sent_as)


def _filled(given: Mapping[str, str]) -> dict[str, str]:
    """What was written, by the label of its field."""
    names = [name for name in given if name.startswith(FIELD)]
    return {name.removeprefix(FIELD): text_of(given, name, most=MOST_LETTERS) for name in names}


async def _keep(request: Request, given: Mapping[str, str]) -> Response:
    """Keep what was written as the client's draft, or throw the draft away."""
    code, kind = client_in(request, given), REPORT_KINDS.read(text_of(given, "kind"))
    away = given["keep"] == "away"
    filled = {} if away else _filled(given)
    ask_about_names({**filled, "no_name": given.get("no_name")}, *filled)
    await run_in_threadpool(written.keep_draft, caseload_of(request), code, kind, filled)
    return back_to(request, "reports", code, kind=kind, done="away" if away else "kept")


def planner(request: Request) -> Response:
    """How many words and probes a wanted change needs."""
    who = chosen_client(request, "plan")
    if isinstance(who, Response):
        return who
    asked, code = request.query_params, client_of(request)
    key, change = asked.get("measure", who["main_measure"]), asked.get("change", "")
    found, assumed = [], False
    if change:
        try:
            size = float(change)
        except ValueError as wrong:
            raise UsageError(f"change {change[:12]!r}: a size in the measure’s unit is needed, such as 400") from wrong
        try:
            designs = plan.plan(key, size, caseload=caseload_of(request), client=code)
        except NoSpreadError:
            assumed, designs = True, plan.plan(key, size)
        found = [(*plan.told(one), plan.rows(one)) for one in designs]
    measures = [measure for measure in MEASURES.values() if measure.scope == "token"]
    return shown(
        request, "plan.html.j2", who=who, found=found, assumed=assumed, key=key, change=change, measures=measures
    )


PAGES: dict[str, Answer] = {"/reports": place, "/reports/picture.svg": picture, "/plan": planner}
FORMS: dict[str, Answer] = {"/reports": make}
