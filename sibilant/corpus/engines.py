"""On what the pieces run: processes here, or the workers of a dask scheduler whose address is given."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from ..errors import InputError, UsageError
from ..terms import Method
from .pieces import measured_piece
from .request import CorpusRequest, Piece

Measure = Callable[[Iterable[Piece], Sequence[Method]], Iterator[tuple[Piece, str]]]

WAIT_S = 10  # for a scheduler to answer
WATCH_S = 0.5  # between two looks at it


@contextlib.contextmanager
def engine(order: CorpusRequest) -> Iterator[Measure]:
    """Give what measures pieces: called with some, it starts and yields each with its part, in any order.

    Only a few are under way at a time. It may be called again; what it runs on is started once.

    Raises
    ------
    InputError
        When the scheduler doesn't answer, or a piece killed worker after worker.
    """
    if order.scheduler:
        with _client(order.scheduler) as client:
            yield partial(_by_dask, client)
    elif order.workers > 1:
        pool = ProcessPoolExecutor(order.workers, get_context("spawn"), _leave_with, (os.getpid(),))
        try:
            yield partial(_by_processes, pool, order.workers)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)  # they end while the tables are written
    else:
        yield _one_by_one


def _one_by_one(pieces: Iterable[Piece], methods: Sequence[Method]) -> Iterator[tuple[Piece, str]]:
    for piece in pieces:
        yield piece, measured_piece(piece, methods)


def _by_processes(
    pool: ProcessPoolExecutor, workers: int, pieces: Iterable[Piece], methods: Sequence[Method]
) -> Iterator[tuple[Piece, str]]:
    """Measure in processes of this machine; threads were measured to gain nothing, much of the work being Python."""
    left, under_way = iter(large_first(pieces)), dict[Future[str], Piece]()

    def fill() -> None:
        for piece in islice(left, 2 * workers - len(under_way)):
            under_way[pool.submit(measured_piece, piece, methods)] = piece

    def gathered() -> Iterator[tuple[Piece, str]]:
        try:
            while under_way:
                for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                    yield under_way.pop(future), future.result()
                fill()
        except BrokenProcessPool as error:
            raise InputError(
                "a worker ended while it measured; look into this machine's memory, then --resume"
            ) from error

    fill()  # at once, so that workers start while the caller has other things to do
    return gathered()


def large_first(pieces: Iterable[Piece]) -> list[Piece]:
    """Return pieces by the size of their files, largest first, so that no worker begins a long one when others end."""
    return sorted(pieces, key=_size, reverse=True)


def _size(piece: Piece) -> int:
    try:
        return Path(piece.path).stat().st_size
    except (OSError, ValueError):
        return 0


def _leave_with(parent: int) -> None:
    """End this worker when the process that started it is gone, so that a killed run leaves nothing running."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(WATCH_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def check_scheduler(address: str) -> None:
    """Refuse a scheduler on another machine unless it is reached over TLS: a scheduler runs what it is sent.

    Examples
    --------
    >>> check_scheduler("tcp://127.0.0.1:8790")
    >>> check_scheduler("tcp://10.0.0.7:8790")
    Traceback (most recent call last):
    ...
    sibilant.errors.UsageError: --scheduler tcp://10.0.0.7:8790: another machine is reached over tls:// only, ...
    """
    parts = urlsplit(address)
    if parts.scheme not in {"tcp", "tls"} or not parts.hostname:
        raise UsageError(f"--scheduler {address}: an address such as tcp://127.0.0.1:8786 or tls://host:8786 is needed")
    if parts.scheme == "tls" or _on_loopback(parts.hostname):
        return
    raise UsageError(
        f"--scheduler {address}: another machine is reached over tls:// only, since a scheduler runs whatever it is"
        " sent; set certificates up in dask's configuration (distributed.comm.tls)"
    )


def _on_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _client(address: str) -> Any:
    try:
        import distributed
    except ImportError as error:
        raise InputError("--scheduler needs an optional part; install it with pip install sibilant[cluster]") from error
    try:
        engine: Any = distributed
        return engine.Client(address, timeout=WAIT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise InputError(
            f"--scheduler {address}: does not answer within {WAIT_S} s; start it, or check address and certificates"
        ) from error


def _by_dask(client: Any, pieces: Iterable[Piece], methods: Sequence[Method]) -> Iterator[tuple[Piece, str]]:
    import distributed
    from distributed.scheduler import KilledWorker

    engine: Any = distributed
    n_threads = max(2, sum(client.nthreads().values()))
    left, under_way = iter(large_first(pieces)), dict[str, Piece]()
    running = engine.as_completed(loop=client.loop)
    while True:
        for piece in islice(left, 2 * n_threads - len(under_way)):
            future = client.submit(measured_piece, piece, tuple(methods), pure=False, retries=3)
            under_way[future.key] = piece
            running.add(future)
        if not under_way:
            return
        future = next(running)
        try:
            yield under_way.pop(future.key), future.result()
        except KilledWorker as error:
            raise InputError(
                "a recording ended worker after worker; look into the workers' memory, then --resume"
            ) from error
