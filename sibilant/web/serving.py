"""A server on the loopback address and nowhere else, with a new token each time it starts."""

from __future__ import annotations

import contextlib
import secrets
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from ..errors import OutputError
from ..workflow import lock
from .guard import HOST
from .site import make_site

PORT = 8737
START_S = 10.0


@dataclass(slots=True)
class Running:
    """A server that runs: its address with the token, and how to stop it."""

    address: str
    port: int
    token: str
    root: str
    server: uvicorn.Server
    thread: threading.Thread

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


def _server(caseload: Path | None, port: int | None) -> tuple[uvicorn.Server, socket.socket, str, str]:
    """A server that is ready to run, its socket, its token and the path that its site stands below."""
    listening = _listening(port)
    number = listening.getsockname()[1]
    token, root = secrets.token_urlsafe(32), f"/{secrets.token_urlsafe(9)}"
    config = uvicorn.Config(
        make_site(caseload, port=number, token=token, root=root),
        log_level="error",
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        proxy_headers=False,
        timeout_graceful_shutdown=3,
    )
    return uvicorn.Server(config), listening, token, root


def _address(listening: socket.socket, token: str) -> str:
    return f"http://{HOST}:{listening.getsockname()[1]}/?key={token}"


def serve(caseload: Path | None, *, port: int | None, announce: Callable[[str], None]) -> None:
    """Serve the page until it is stopped (Ctrl-C); ``announce`` is given the address once it answers.

    Parameters
    ----------
    caseload : Path or None
        The caseload's folder, or None for the usual one.
    port : int or None
        The port on 127.0.0.1; None takes 8737, or any free one where that is taken.
    announce : callable
        Told the address, which carries the session's token.

    Raises
    ------
    OutputError
        When the port can't be had.
    """
    lock.unlock(caseload)
    server, listening, token, _ = _server(caseload, port)
    announce(_address(listening, token))
    with listening, contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listening])


def start(caseload: Path | None, *, port: int | None = 0) -> Running:
    """Serve the page from a thread of this process; return how to reach and stop it.

    Parameters
    ----------
    caseload : Path or None
        The caseload's folder, or None for the usual one.
    port : int or None
        The port on 127.0.0.1; 0 takes any free one.

    Returns
    -------
    Running
        Its address carries the session's token.

    Raises
    ------
    OutputError
        When the port can't be had, or the server does not answer within ten seconds.
    """
    server, listening, token, root = _server(caseload, port)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + START_S
    while not server.started:
        if time.monotonic() > until or not thread.is_alive():
            raise OutputError("the page did not start; look at what else runs on 127.0.0.1")
        time.sleep(0.01)
    return Running(_address(listening, token), listening.getsockname()[1], token, root, server, thread)
