"""The page of an encrypted caseload locks itself when nobody has used it for a while."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator

from ..clinic.caseload import CaseloadHandle

LOOKS_EVERY_S = 1.0  # how late the lock may come


@contextlib.contextmanager
def locking(caseload: CaseloadHandle, locked: Callable[[], None], *, every_s: float = LOOKS_EVERY_S) -> Iterator[None]:
    """Look now and then whether the page is still used; when not, forget the passphrase and call ``locked``.

    ``locked`` asks for it in the terminal, in a thread of its own, and returns once that is done or can't be; how the
    terminal was set is put back when the page ends meanwhile.
    """
    ended, idle_s = threading.Event(), caseload.idle_s()

    def look() -> None:
        while not ended.wait(every_s):
            if caseload.held.lock_when_idle(idle_s):
                locked()

    with _terminal_kept():
        threading.Thread(target=look, daemon=True).start()
        try:
            yield
        finally:
            ended.set()


@contextlib.contextmanager
def _terminal_kept() -> Iterator[None]:
    """Put the terminal back as it was: a passphrase may be asked, without showing it, when the page is stopped."""
    import sys

    try:
        import termios
    except ImportError:  # Windows: its terminal needs no putting back
        yield
        return
    try:
        before = termios.tcgetattr(sys.stdin)
    except (OSError, ValueError, AttributeError, termios.error):  # no terminal
        yield
        return
    try:
        yield
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)
