"""The passphrase while a program runs: held until nobody has used the caseload for a while, then forgotten."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

from .. import store
from ..errors import LockedError

Ask = Callable[[Path], str]


class Held:
    """What a person said once, for one program that opens the caseload many times.

    A command asks again when it was forgotten. A page, which can't ask whoever sends a request, is ``guarded``: it is
    then locked until the passphrase is given in its terminal, whatever the environment holds.

    Parameters
    ----------
    ask : callable
        Asks the person at the terminal for the passphrase of a folder.
    timer : callable
        Seconds that only go forward; tests give their own.

    Examples
    --------
    >>> held = Held(lambda folder: "six invented words")
    >>> held.passphrase(Path("caseload"), 900.0), held.locks_after(0.0), held.locks_after(900.0)
    ('six invented words', True, False)
    """

    def __init__(self, ask: Ask, timer: Callable[[], float] = time.monotonic) -> None:
        self._ask, self._timer = ask, timer
        self._said, self._used_s = "", timer()
        self._one_asks = threading.Lock()
        self.guarded = False

    def passphrase(self, folder: Path, idle_s: float) -> str:
        """Return the passphrase: as held, from the environment, or asked.

        Raises
        ------
        LockedError
            When it is a page's, and nobody used it for ``idle_s`` seconds (0: never locks).
        """
        self.lock_when_idle(idle_s)
        with self._one_asks:
            if not self._said and self.guarded:
                raise LockedError(
                    f"caseload {folder.name}: locked, as nobody used it for {idle_s / 60:g} minutes; type the"
                    " passphrase in the terminal where the page runs, then do it again"
                )
            self._said = self._said or os.environ.get(store.PASSPHRASE_FROM) or self._ask(folder)
            self._used_s = self._timer()
            return self._said

    def is_locked(self) -> bool:
        """Say whether it is a page's and was forgotten: nothing is shown until it is given again."""
        return self.guarded and not self._said

    def locks_after(self, idle_s: float) -> bool:
        """Say whether it is held and was not used for so many seconds."""
        return bool(self._said) and self._timer() - self._used_s >= idle_s

    def lock_when_idle(self, idle_s: float) -> bool:
        """Forget it where it was not used for so many seconds (0: never); say whether it was forgotten now."""
        if not idle_s or not self.locks_after(idle_s):
            return False
        self.forget()
        return True

    def forget(self) -> None:
        """Forget it and the key stretched from it; what Python's memory keeps of it until it is used again stays."""
        self._said = ""
        store.forget_passphrases()

    def give(self, passphrase: str) -> None:
        """Hold a passphrase that a person has just given."""
        self._said, self._used_s = passphrase, self._timer()
