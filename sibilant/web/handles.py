"""What stands in an address for a client: a handle that this run of the page alone can read, so that no code does."""

from __future__ import annotations

import hashlib
import hmac
import re

from ..errors import UsageError
from ..terms.codes import is_client_code

_FORM = re.compile(r"k[0-9a-f]{11}")


def handle_of(token: str, code: str) -> str:
    """Return the handle of a client in one run: the start of HMAC-SHA256 (RFC 2104) of the code by the run's token.

    Examples
    --------
    >>> handle_of("x", "C-7QXK") == handle_of("x", "C-7QXK"), handle_of("x", "C-7QXK") == handle_of("y", "C-7QXK")
    (True, False)
    """
    return f"k{hmac.new(token.encode(), code.encode(), hashlib.sha256).hexdigest()[:11]}"


class Handles:
    """The handles given out in one run of the page; what a browser's history keeps of them names nobody later."""

    def __init__(self, token: str) -> None:
        self._token = token
        self._codes: dict[str, str] = {}

    def of(self, code: str) -> str:
        """The handle of a client, known from then on."""
        handle = handle_of(self._token, code)
        self._codes[handle] = code
        return handle

    def code(self, given: str) -> str:
        """The code that a handle stands for; what is no handle is returned as it is.

        Raises
        ------
        UsageError
            When the handle is of another run.

        Examples
        --------
        >>> handles = Handles("x")
        >>> handles.code(handles.of("C-7QXK")), handles.code("C-7QXK")
        ('C-7QXK', 'C-7QXK')
        """
        if is_client_code(given) or not _FORM.fullmatch(given):
            return given
        if given not in self._codes:
            raise UsageError("this address is of an earlier time; go back to the start and choose the client there")
        return self._codes[given]
