"""Settings of the whole caseload: devices, the listener's code, whether it is encrypted and whole."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ..clinic import clients, encryption, settings, wholeness
from ..errors import CaseloadError, UsageError
from ..terms.clinic import Device
from .asking import caseload_of, client_of, text_of
from .forms import ask_about_names, back_to, form_of
from .places import Answer
from .showing import shown


def place(request: Request) -> Response:
    """Devices, codes of those who listen, and the state of the caseload."""
    folder, code = caseload_of(request), client_of(request)
    found: dict[str, Any] = {"state": None, "why_none": "", "devices": [], "listener": ""}
    try:
        found["state"] = encryption.status(folder)
        found["devices"] = clients.list_devices(folder)
        found["listener"] = settings.listener(folder)
    except CaseloadError as missing:
        found["why_none"] = str(missing)
    checked = wholeness.lines(wholeness.check(folder)) if request.query_params.get("check") == "yes" else []
    who = clients.show_client(folder, code) if code else None
    done = text_of(request.query_params, "done", most=20)
    return shown(request, "settings.html.j2", who=who, checked=checked, done=done, **found)


async def add_device(request: Request) -> Response:
    """Register a microphone and place."""
    given = await form_of(request)
    name, distance = text_of(given, "name", most=40), text_of(given, "distance_cm", most=6)
    if not name:
        raise UsageError("a device needs a short name, such as headset")
    try:
        far = float(distance) if distance else None
    except ValueError as wrong:
        raise UsageError(f"distance {distance!r}: a number of centimetres is needed") from wrong
    ask_about_names(given, "name", "place")
    device = Device(name, text_of(given, "kind"), text_of(given, "place"), far)
    await run_in_threadpool(clients.add_device, caseload_of(request), device)
    return back_to(request, "settings", done="device")


async def name_listener(request: Request) -> Response:
    """Keep the code under which the next judgements and reviews are filled in."""
    given = await form_of(request)
    await run_in_threadpool(settings.name_listener, caseload_of(request), text_of(given, "rater", most=40))
    return back_to(request, "settings", done="listener")


PAGES: dict[str, Answer] = {"/settings": place}
FORMS: dict[str, Answer] = {"/settings/device": add_device, "/settings/listener": name_listener}
