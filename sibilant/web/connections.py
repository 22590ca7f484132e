"""How much one visitor may hold: a time to finish a request's head, a number of idle connections, of lines logged."""

from __future__ import annotations

import asyncio
import logging
import time
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0  # for a request's head to arrive
MOST_IDLE = 64  # connections without a request; the oldest gives way
MOST_LINES = 20  # of log in LINES_S
LINES_S = 60.0  # seconds


class _Bounded(H11Protocol):
    idle: ClassVar[dict[H11Protocol, None]]
    most_idle: ClassVar[int]
    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        while len(self.idle) >= self.most_idle:
            self._end(next(iter(self.idle)))
        self._sort(wait=True)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._sort(wait=True)

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._sort(wait=False)

    def connection_lost(self, exc: Exception | None) -> None:
        self.idle.pop(self, None)
        self._in_time()
        super().connection_lost(exc)

    def _sort(self, *, wait: bool) -> None:
        """Count the connection among the idle ones or not; while a head is awaited a time runs, from its start."""
        if self.transport.is_closing():
            return
        if self.cycle is not None and not self.cycle.response_complete:
            self.idle.pop(self, None)
            self._in_time()
            return
        self.idle.setdefault(self)
        if not wait:
            self._in_time()
        elif self._late is None:
            self._late = self.loop.call_later(HEAD_S, self._end, self)

    def _in_time(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _end(self, one: H11Protocol) -> None:
        self.idle.pop(one, None)
        one.transport.abort()


def bounded(*, most_idle: int = MOST_IDLE) -> type[asyncio.Protocol]:
    """Return the protocol of one server: a head not whole in time ends the connection, and so does being one too many.

    The time is :data:`HEAD_S`, from the connection or the first byte after an answer. Only connections on which nothing
    is being answered count; the oldest of them makes room, since the page's own browser sends its head at once.

    Parameters
    ----------
    most_idle : int
        Connections that may wait at a time.
    """

    class Bounded(_Bounded):
        idle: ClassVar[dict[H11Protocol, None]] = {}

    Bounded.most_idle = most_idle
    return Bounded


class _Seldom(logging.Filter):
    """Let through a number of lines a minute; the first that is held back says so."""

    def __init__(self) -> None:
        super().__init__()
        self._since, self._n = 0.0, 0

    def filter(self, record: logging.LogRecord) -> bool:
        now = time.monotonic()
        if now - self._since > LINES_S:
            self._since, self._n = now, 0
        self._n += 1
        if self._n == MOST_LINES:
            record.msg, record.args, record.exc_info = "more of the same is not shown for a minute", (), None
        return self._n <= MOST_LINES


_SELDOM = _Seldom()


def quiet_logs() -> None:
    """Bound the lines that the server and its event loop may log."""
    for name in ("asyncio", "uvicorn.error"):
        logging.getLogger(name).addFilter(_SELDOM)
