"""A server on the loopback address and nowhere else, with a new token each time it starts."""

from __future__ import annotations

import contextlib
import secrets
import signal
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn

from ..clinic import encryption
from ..clinic.caseload import CaseloadHandle
from ..errors import OutputError
from .connections import bounded, quiet_logs
from .guard import HOST
from .locking import locking
from .opening import Entrance, OpeningFile
from .site import make_site

PORT = 8737  # own choice; another where it is taken
START_S = 10.0  # for the server to answer


@dataclass(slots=True)
class Running:
    """A server that runs: the address that opens it next, the session's token, and how to stop it."""

    port: int
    token: str
    root: str
    entrance: Entrance
    server: uvicorn.Server
    thread: threading.Thread

    @property
    def address(self) -> str:
        """The address that opens the page; its key is good once, so each browser takes a new one."""
        return _address(self.port, self.entrance)

    def stop(self) -> None:
        """Stop it and wait until it has."""
        self.server.should_exit = True
        self.thread.join(START_S)


def _listening(port: int | None) -> socket.socket:
    """A socket bound to 127.0.0.1: the port asked for, or the usual one, or any that is free.

    Raises
    ------
    OutputError
        When the port asked for is taken or not allowed.
    """
    for wanted in (port,) if port is not None else (PORT, 0):
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, wanted))
            listening.listen(64)
        except OSError as error:
            listening.close()
            if port is None and wanted:
                continue
            reason = (error.strerror or "error").lower()
            raise OutputError(
                f"port {wanted}: can't be had on 127.0.0.1 ({reason}); choose another by --port"
            ) from error
        return listening
    raise OutputError("no port is free on 127.0.0.1; stop another program first")


@dataclass(frozen=True, slots=True)
class _Ready:
    """A server that is ready to run, its socket, its token, the path that its site stands below, what lets in."""

    server: uvicorn.Server
    listening: socket.socket
    token: str
    root: str
    entrance: Entrance

    @property
    def port(self) -> int:
        number: int = self.listening.getsockname()[1]
        return number


def _ready(caseload: CaseloadHandle, port: int | None) -> _Ready:
    listening = _listening(port)
    number = listening.getsockname()[1]
    token, root, entrance = secrets.token_urlsafe(32), f"/{secrets.token_urlsafe(9)}", Entrance()
    quiet_logs()
    config = uvicorn.Config(
        make_site(caseload, port=number, token=token, root=root, entrance=entrance),
        http=bounded(),
        log_level="error",
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        proxy_headers=False,
        timeout_graceful_shutdown=3,
    )
    return _Ready(uvicorn.Server(config), listening, token, root, entrance)


def _address(port: int, entrance: Entrance) -> str:
    return f"http://{HOST}:{port}/?key={entrance.secret}"


def serve(
    caseload: CaseloadHandle,
    *,
    port: int | None,
    announce: Callable[[str], None],
    launch: Callable[[str], None] | None = None,
    locked: Callable[[], None] = lambda: None,
) -> None:
    """Serve the page until it is stopped (Ctrl-C); ``announce`` is given the address once it answers.

    Parameters
    ----------
    caseload : CaseloadHandle
        The caseload, as the door opened it.
    port : int or None
        The port on 127.0.0.1; None takes 8737, or any free one where that is taken.
    announce : callable
        Told the address, whose key is good once; told the next one each time it was used.
    launch : callable or None
        Given the path of a file of the user's own that opens the page in the browser it is opened with.
    locked : callable
        Called when the page of an encrypted caseload was locked, as nobody used it for a while.

    Raises
    ------
    OutputError
        When the port can't be had.
    """
    encryption.unlock(caseload)
    ready = _ready(caseload, port)
    announce(_address(ready.port, ready.entrance))
    opening = OpeningFile(f"http://{HOST}:{ready.port}", ready.entrance.secret) if launch is not None else None

    def renewed() -> None:
        if opening is not None:
            opening.erase()
        announce(_address(ready.port, ready.entrance))

    ready.entrance.renewed = renewed
    if opening is not None:
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # so that the file goes when the page is ended
    try:
        if launch is not None and opening is not None:
            launch(str(opening.path))
        with ready.listening, locking(caseload, locked), contextlib.suppress(KeyboardInterrupt):
            ready.server.run(sockets=[ready.listening])
    finally:
        if opening is not None:
            opening.erase()


def start(caseload: CaseloadHandle, *, port: int | None = 0) -> Running:
    """Serve the page from a thread of this process; return how to reach and stop it.

    Parameters
    ----------
    caseload : CaseloadHandle
        The caseload, as the door opened it.
    port : int or None
        The port on 127.0.0.1; 0 takes any free one.

    Returns
    -------
    Running
        Its address carries a key that is good once.

    Raises
    ------
    OutputError
        When the port can't be had, or the server does not answer within ten seconds.
    """
    ready = _ready(caseload, port)
    thread = threading.Thread(target=ready.server.run, kwargs={"sockets": [ready.listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + START_S
    while not ready.server.started:
        if time.monotonic() > until or not thread.is_alive():
            raise OutputError("the page did not start; look at what else runs on 127.0.0.1")
        time.sleep(0.01)
    return Running(ready.port, ready.token, ready.root, ready.entrance, ready.server, thread)
