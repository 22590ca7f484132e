"""Who may ask: this machine's own page with the session's token, and nobody else; what every answer carries."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import re
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .opening import ENTERED, Entrance, same

HOST = "127.0.0.1"
COOKIE = "sibilant"
MOST_BYTES = 128 << 20  # of one request: twenty minutes at 48 kHz and 16 bit, hours of a phone's
MOST_KEY_BYTES = 1 << 10  # of the request that hands the key over
KEY_S, MOST_KEYS = 10.0, 8
"""How long a key may take to arrive, and how many may be on their way: the oldest makes room, for ours come whole."""
OPEN, PROOF = "/open", "/proof"
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
NO_TOKEN = "open the address that sibilant page printed last; the key it carries is good once\n"
WRONG_HOST = "this page answers to 127.0.0.1 only; open the address that sibilant page printed\n"
WRONG_ORIGIN = "refused: asked from another page; open the address that sibilant page printed\n"
TOO_LARGE = "too much was sent at once; press P for pauses and keep a word under three minutes\n"


class Guard:
    """Let through what comes from the session's own page: right host, right token, right origin, bounded size.

    The site stands below a path of its own, drawn anew each time: browsers send a cookie to every port of a host, but
    not outside its path, so that no other server on 127.0.0.1 is ever sent this one's.
    """

    def __init__(self, app: ASGIApp, *, port: int, token: str, root: str, entrance: Entrance, proof: str) -> None:
        self.app, self.token, self.root, self.entrance = app, token, root, entrance
        self.proof = bytes.fromhex(proof)
        self._arriving: list[asyncio.Task[str]] = []
        self.host = f"{HOST}:{port}"
        self.origin = f"http://{self.host}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        answer = await self._door(scope, receive) or self._refusal(scope)
        below = {**scope, "root_path": self.root}
        await (answer or self.app)(below, receive, _with_headers(send))

    async def _door(self, scope: Scope, receive: Receive) -> Response | None:
        """Answer what is asked without a cookie: to be let in, or for the proof that this is the page's own program."""
        headers = Headers(scope=scope)
        if headers.get("host", "") != self.host:
            return PlainTextResponse(WRONG_HOST, 421)
        asked = (scope["method"], scope["path"])
        query = parse_qs(scope["query_string"].decode("latin-1"))
        if asked == ("GET", PROOF):
            return self._proof(query.get("challenge", [""])[0])
        if asked == ("POST", OPEN):
            return self._entered(await self._key_sent(scope, receive), HTMLResponse(ENTERED.format(root=self.root)))
        if asked == ("GET", "/") and "key" in query and "purpose" not in headers and "sec-purpose" not in headers:
            return self._entered(query["key"][0], RedirectResponse(f"{self.root}/", 303))
        return None

    async def _key_sent(self, scope: Scope, receive: Receive) -> str:
        """The key in a form; empty where none came in time."""
        reading = asyncio.create_task(_read_key(scope, receive))
        self._arriving = [*(one for one in self._arriving if not one.done()), reading]
        if len(self._arriving) > MOST_KEYS:
            self._arriving.pop(0).cancel()
        await asyncio.wait({reading}, timeout=KEY_S)
        if reading.cancel() or reading.cancelled() or reading.exception():
            return ""
        return reading.result()

    def _entered(self, given: str, answer: Response) -> Response:
        """Turn the secret, which is then spent, into a cookie; the secret leaves the address."""
        if not self.entrance.spend(given):
            return PlainTextResponse(NO_TOKEN, 403)
        answer.set_cookie(COOKIE, self.token, httponly=True, samesite="strict", path=f"{self.root}/")
        return answer

    def _proof(self, challenge: str) -> Response:
        """HMAC-SHA256 of a random challenge by the key that every page of this run holds, and no other program."""
        if not re.fullmatch(r"[0-9a-f]{32,128}", challenge):
            return PlainTextResponse("a challenge of 32 to 128 hexadecimal digits is needed\n", 400)
        return PlainTextResponse(hmac.new(self.proof, challenge.encode(), hashlib.sha256).hexdigest())

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        changes = scope["method"] not in {"GET", "HEAD"}
        if changes and headers.get("origin", "") != self.origin:
            return PlainTextResponse(WRONG_ORIGIN, 403)
        if headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
            return PlainTextResponse(WRONG_ORIGIN, 403)
        if changes:
            length = headers.get("content-length", "")
            if not length.isdecimal() or int(length) > MOST_BYTES:
                return PlainTextResponse(TOO_LARGE, 413)
        if not (scope["path"].startswith(f"{self.root}/") and self._known(headers)):
            return PlainTextResponse(NO_TOKEN, 403)
        return None

    def _known(self, headers: Headers) -> bool:
        pairs = (piece.strip().partition("=") for piece in headers.get("cookie", "").split(";"))
        return any(name == COOKIE and same(value, self.token) for name, _, value in pairs)


async def _read_key(scope: Scope, receive: Receive) -> str:
    """The key in a form that was sent; empty where there is none or the form is longer than one can be."""
    length = Headers(scope=scope).get("content-length", "")
    if not length.isdecimal() or int(length) > MOST_KEY_BYTES:
        return ""
    sent = parse_qs((await Request(scope, receive).body()).decode("latin-1"))
    return sent.get("key", [""])[0]


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in ANSWERED.items():
                headers[name] = value
        await send(message)

    return sending
