"""Who may ask: this machine's own page with the session's token, and nobody else; what every answer carries."""

from __future__ import annotations

import hmac
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOST = "127.0.0.1"
COOKIE = "sibilant"
MOST_BYTES = 128 << 20
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "worker-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
ANSWERED = {
    "content-security-policy": POLICY,
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(), geolocation=(), display-capture=()",
}
NO_TOKEN = "open the address that sibilant page printed; it carries the key of this session\n"
WRONG_HOST = "this page answers to 127.0.0.1 only; open the address that sibilant page printed\n"
WRONG_ORIGIN = "refused: asked from another page; open the address that sibilant page printed\n"
TOO_LARGE = "too much was sent at once; press P for pauses and keep a word under three minutes\n"


class Guard:
    """Let through what comes from the session's own page: right host, right token, right origin, bounded size.

    The site stands below a path of its own, drawn anew each time: browsers send a cookie to every port of a host, but
    not outside its path, so that no other server on 127.0.0.1 is ever sent this one's.
    """

    def __init__(self, app: ASGIApp, *, port: int, token: str, root: str) -> None:
        self.app, self.token, self.root = app, token, root
        self.host = f"{HOST}:{port}"
        self.origin = f"http://{self.host}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        answer = refusal or self._entrance(scope)
        below = {**scope, "root_path": self.root}
        await (answer or self.app)(below, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if headers.get("host", "") != self.host:
            return PlainTextResponse(WRONG_HOST, 421)
        if scope["method"] not in {"GET", "HEAD"} and headers.get("origin", "") != self.origin:
            return PlainTextResponse(WRONG_ORIGIN, 403)
        if headers.get("sec-fetch-site", "none") not in {"same-origin", "none"} and not self._asks_in(scope):
            return PlainTextResponse(WRONG_ORIGIN, 403)
        if scope["method"] not in {"GET", "HEAD"}:
            length = headers.get("content-length", "")
            if not length.isdigit() or int(length) > MOST_BYTES:
                return PlainTextResponse(TOO_LARGE, 413)
        inside = scope["path"].startswith(f"{self.root}/")
        if not (self._asks_in(scope) or (inside and self._known(headers))):
            return PlainTextResponse(NO_TOKEN, 403)
        return None

    def _asks_in(self, scope: Scope) -> bool:
        """Whether the address carries the token, as the one printed does."""
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        return scope["method"] == "GET" and scope["path"] == "/" and _same(given, self.token)

    def _known(self, headers: Headers) -> bool:
        pairs = (piece.strip().partition("=") for piece in headers.get("cookie", "").split(";"))
        return any(name == COOKIE and _same(value, self.token) for name, _, value in pairs)

    def _entrance(self, scope: Scope) -> Response | None:
        """Turn the address with the token into a cookie, and take the token out of the address."""
        if not self._asks_in(scope):
            return None
        answer = RedirectResponse(f"{self.root}/", 303)
        answer.set_cookie(COOKIE, self.token, httponly=True, samesite="strict", path=f"{self.root}/")
        return answer


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode())


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in ANSWERED.items():
                headers[name] = value
        await send(message)

    return sending
