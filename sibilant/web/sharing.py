"""What is handed on and taken in: an export of one client, an import, a backup of the caseload."""

from __future__ import annotations

import contextlib
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from ..clinic import clients, sharing
from ..errors import SibilantError, UsageError
from .asking import caseload_of, client_of, handles_of, number_of, text_of
from .bringing import handed_over
from .forms import client_in, day_in, form_of
from .places import Answer
from .showing import shown

MOST_WORDS = 400  # letters of the list of names


def place(request: Request) -> Response:
    """Where a client is exported or brought in, and the whole caseload backed up."""
    code = client_of(request)
    who = clients.show_client(caseload_of(request), code) if code else None
    return shown(request, "share.html.j2", who=who)


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(",") if word.strip())


async def export(request: Request) -> Response:
    """One client in open formats, days counted from the first probe, as a ZIP to download."""
    given = await form_of(request)
    code = client_in(request, given)
    asked: dict[str, Any] = {name: _words(text_of(given, name, most=MOST_WORDS)) for name in ("names", "allowed")}
    asked |= {name: given.get(name) == "yes" for name in ("audio", "new_code")}
    content = await run_in_threadpool(lambda: sharing.export_zip(caseload_of(request), code, **asked))
    sent_as = {"content-disposition": 'attachment; filename="export.zip"'}
    return Response(content, media_type="application/zip", headers=sent_as)


async def take_in(request: Request) -> Response:
    """Keep a client from an export, or an earlier table of the client at hand; say what was kept."""
    asked, found = await handed_over(request)
    if len(found) != 1:
        raise UsageError("choose one file: the ZIP that export wrote, or a CSV table of earlier probes")
    (name, content), new_code = found[0], asked.get("new_code") == "yes"
    done = await run_in_threadpool(
        lambda: sharing.import_file(
            caseload_of(request),
            name,
            content,
            client=client_of(request),
            source=text_of(asked, "source"),
            day_zero=day_in(asked, "day_zero"),
            new_code=new_code,
        )
    )
    line = (
        f"{done['client']}: {done['probes']} earlier probes kept"
        if "probes" in done
        else f"{done['client']}: {done['sessions']} sessions kept; first probe on {done['day_zero']}"
    )
    return JSONResponse({"lines": [line], "to": f"?client={handles_of(request).of(done['client'])}"})


async def back_up(request: Request) -> Response:
    """The whole caseload as one file to download; encrypted where the caseload is."""
    given = await form_of(request)
    made_in = contextlib.ExitStack()
    gone = BackgroundTask(made_in.close)
    try:
        folder = await run_in_threadpool(made_in.enter_context, sharing.aside(caseload_of(request)))
        remind = number_of(given, "remind_after") or None
        made, _ = await run_in_threadpool(sharing.backup_file, caseload_of(request), folder, remind)
    except SibilantError:
        await gone()
        raise
    return FileResponse(made, media_type="application/octet-stream", filename=made.name, background=gone)


PAGES: dict[str, Answer] = {"/share": place}
FORMS: dict[str, Answer] = {"/share/export": export, "/share/backup": back_up}
DONE: dict[str, Answer] = {"/do/share/import": take_in}
