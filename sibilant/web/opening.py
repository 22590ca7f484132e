"""How the page is opened: by a secret that is good once, handed to the browser by a file of the user's own."""

from __future__ import annotations

import contextlib
import hmac
import os
import secrets
import shutil
import tempfile
from collections.abc import Callable
from html import escape
from pathlib import Path

from ..errors import OutputError


def same(given: str, wanted: str) -> bool:
    """Say whether two texts are the same, in a time that does not tell where they differ."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode())


class Entrance:
    """The secret that opens the page next; each is spent at its first use, and ``renewed`` is told that another stands.

    Examples
    --------
    >>> entrance = Entrance()
    >>> first = entrance.secret
    >>> entrance.spend(first), entrance.spend(first), entrance.secret == first
    (True, False, False)
    """

    def __init__(self) -> None:
        self.secret = secrets.token_urlsafe(32)
        self.renewed: Callable[[], None] = lambda: None

    def spend(self, given: str) -> bool:
        """Say whether this is the secret; if so it is good no more."""
        if not same(given, self.secret):
            return False
        self.secret = secrets.token_urlsafe(32)
        self.renewed()
        return True


class OpeningFile:
    """A file (0600, in a folder of its own) that posts the secret: a browser started on it has no key in its arguments.

    The secret goes as a password does: what a browser writes down of its windows, to bring them back after a crash,
    then leaves out what was posted (Chromium keeps the body of any other form in its profile).

    Parameters
    ----------
    origin : str
        The page's origin, such as ``http://127.0.0.1:8737``.
    secret : str
        What opens it once.

    Raises
    ------
    OutputError
        When the folder for temporary files can't be written.
    """

    def __init__(self, origin: str, secret: str) -> None:
        try:
            self.folder = Path(tempfile.mkdtemp(prefix="sibilant-"))
            self.path = self.folder / "open.html"
            handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                stream.write(_FORM.format(origin=escape(origin), secret=escape(secret)))
        except OSError as error:
            raise OutputError(
                f"the file that opens the page can't be written ({error.strerror}); open the printed address yourself"
            ) from error

    def erase(self) -> None:
        """Take it away, once it has served or the page stops."""
        with contextlib.suppress(OSError):
            shutil.rmtree(self.folder)


_FORM = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="referrer" content="no-referrer"><title>sibilant</title></head>
<body><form id="open" method="post" action="{origin}/open">
<input type="password" name="key" value="{secret}" autocomplete="one-time-code" hidden>
<button>Open the page</button></form>
<script>document.getElementById("open").submit();</script></body></html>
"""
ENTERED = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta http-equiv="refresh" content="0; url={root}/"><title>sibilant</title>
</head><body><p><a href="{root}/">Go on to the page</a></p></body></html>
"""
