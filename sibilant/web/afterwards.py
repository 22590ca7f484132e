"""What a form is answered with has an address of its own, so that no browser writes down what was typed into the form.

A browser keeps the body of a form whose answer it shows, to bring its windows back after a crash: Chromium on the disk,
among them a text that was refused. So the answer waits here, and the browser is sent on to it.
"""

from __future__ import annotations

import secrets

from starlette.datastructures import Headers
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ..clinic.caseload import CaseloadHandle

BELOW = "/answer/"
MOST_KEPT = 8  # answers that wait to be fetched
LOCKED = 423  # status of HTTP (RFC 4918, from memory)


class Afterwards:
    """Keep the last pages that forms were answered with, in memory, until the page is locked or stopped."""

    def __init__(self, app: ASGIApp, caseload: CaseloadHandle) -> None:
        self.app, self.caseload = app, caseload
        self._kept: dict[str, Response] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        below = scope["path"].removeprefix(scope.get("root_path", ""))
        if scope["method"] == "POST" and Headers(scope=scope).get("sec-fetch-mode") == "navigate":
            await self.app(scope, receive, self._sent_on(scope, receive, send))
            return
        if self.caseload.held.is_locked():
            self._kept = {name: kept for name, kept in self._kept.items() if kept.status_code == LOCKED}
        answer = self._kept.get(below.removeprefix(BELOW)) if below.startswith(BELOW) else None
        await (answer or self.app)(scope, receive, send)

    def _sent_on(self, scope: Scope, receive: Receive, send: Send) -> Send:
        """Hold back a page, and send its address instead; what leads elsewhere or is a file goes as it is."""
        started: list[Message] = []
        content = bytearray()

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_page(message):
                started.append(message)
            elif not started:
                await send(message)
            else:
                content.extend(message.get("body", b""))
                if not message.get("more_body"):
                    await self._keep(scope, started[0], bytes(content))(scope, receive, send)

        return sending

    def _keep(self, scope: Scope, start: Message, content: bytes) -> Response:
        name = secrets.token_urlsafe(12)
        self._kept[name] = Response(content, start["status"], media_type="text/html")
        while len(self._kept) > MOST_KEPT:
            self._kept.pop(next(iter(self._kept)))
        return RedirectResponse(f"{scope.get('root_path', '')}{BELOW}{name}", 303)


def _is_page(message: Message) -> bool:
    headers = Headers(raw=message["headers"])
    is_file = "content-disposition" in headers
    return not is_file and message["status"] // 100 != 3 and headers.get("content-type", "").startswith("text/html")
