"""Reports read before they are made, their fields filled in where they stand; and the planner."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import plan, report
from ..errors import SibilantError, UsageError
from ..terms import MEASURES
from ..terms.document import Part
from ..terms.vocabulary import REPORT_KINDS
from .asking import caseload_of, client_of, number_of, text_of
from .forms import client_in, pairs_of
from .places import FORMS_OF_REPORT, Answer, chosen_client
from .showing import shown

MOST_LETTERS = 2000


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
        forms=report.FORMS,
        with_range=with_range,
        document=document,
        parts=[(_name(part), part) for part in document.parts],
    )


def _name(part: Part) -> str:
    return type(part).__name__


async def make(request: Request) -> Response:
    """The report as a file, with what was written into its fields; nothing of it is kept here."""
    pairs = await pairs_of(request)
    given = dict(pairs)
    code, kind, form = client_in(request, given), text_of(given, "kind"), text_of(given, "form")
    if form not in FORMS_OF_REPORT:
        raise UsageError(f"a report is made as {', '.join(FORMS_OF_REPORT)}; not {form[:10]!r}")
    filled = tuple(
        (name.removeprefix("field:"), text_of(given, name, most=MOST_LETTERS))
        for name in given
        if name.startswith("field:")
    )
    ticked = report.Ticked(published_range=given.get("range") == "yes", filled=filled)
    content = await run_in_threadpool(
        lambda: report.report_bytes(caseload_of(request), code, kind, form, ticked=ticked)
    )
    sent_as = {"content-disposition": f'attachment; filename="report-{REPORT_KINDS.read(kind)}.{form}"'}
    return Response(content, media_type=FORMS_OF_REPORT[form], headers=sent_as)


def planner(request: Request) -> Response:
    """How many words and probes a wanted change needs."""
    who = chosen_client(request, "plan")
    if isinstance(who, Response):
        return who
    asked, code = request.query_params, client_of(request)
    key, change = asked.get("measure", who["main_measure"]), asked.get("change", "")
    found, why_none = [], ""
    if change:
        try:
            size = float(change)
        except ValueError as wrong:
            raise UsageError(f"change {change[:12]!r}: a size in the measure’s unit is needed, such as 400") from wrong
        try:
            designs = plan.plan(key, size, caseload=caseload_of(request), client=code)
        except SibilantError as too_few:
            why_none, designs = str(too_few).split(";")[0], plan.plan(key, size)
        found = [(*plan.told(one), plan.rows(one)) for one in designs]
    measures = [measure for measure in MEASURES.values() if measure.scope == "token"]
    return shown(
        request, "plan.html.j2", who=who, found=found, why_none=why_none, key=key, change=change, measures=measures
    )


PAGES: dict[str, Answer] = {"/reports": place, "/plan": planner}
FORMS: dict[str, Answer] = {"/reports": make}
