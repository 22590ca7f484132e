"""Everything that can go wrong, drawn once.

::

    SibilantError            what was asked, what is there, the way out, in one line
    ├── UsageError           the question is wrong (exit code 2)
    │   └── WordError        a word that is none of those its place allows; also a ValueError
    └── InputError           an input can't be used, or was refused (exit code 3)
        ├── RecordingError   a sound file: missing, unreadable, empty, not a sound
        ├── ListError        a word list, judgement or review file
        ├── LexiconError     a word without a known pronunciation
        ├── MethodError      a method that is unknown or can't serve here
        ├── RangeError       a reference value that is incomplete or contradicts itself
        ├── CaseloadError    the store: not found, locked, newer than this program
        │   └── RefusedError asked for something that is not done (a probe kept twice, a held client removed)
        │       └── QuestionError not done until a person has answered (a list of which few words were heard)
        ├── LockedError      the caseload of a page that nobody used for a while
        └── OutputError      a place that can't be written: read-only, full, a folder for a file

A single sound that can't be measured inside a session is not an error: it is NaN with a flag, and counted by
reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


class SibilantError(Exception):
    r"""Base of all errors raised on purpose; its text is one line: what was asked, what is there, the way out.

    What it quotes may be anything: signs that no screen shows, and that might steer a terminal, are replaced.

    Examples
    --------
    >>> str(SibilantError("age '\x1b[2J'")) == "age '\ufffd[2J'"
    True
    """

    def __str__(self) -> str:
        """Return its text, fit to be printed."""
        return "".join(sign if sign.isprintable() or sign == "\n" else "\ufffd" for sign in super().__str__())


class UsageError(SibilantError):
    """The question itself is wrong, such as an unknown option value."""


class NoSpreadError(UsageError):
    """A client's own spread was asked for, and too few baseline probes are there to have one."""


class WordError(UsageError, ValueError):
    """A word that is none of those allowed in its place, such as the level ``wrod``; the line names those allowed."""


class InputError(SibilantError):
    """An input can't be used, or an action was refused."""


class RecordingError(InputError):
    """A sound file that is missing, unreadable, empty or not a sound."""


class ChannelsError(RecordingError):
    """Channels that differ, of which a person has to choose one."""


class ListError(InputError):
    """A word list, judgement file or review file that can't be read as one."""


class LexiconError(InputError):
    """A word without a known pronunciation, or phones that are not phones."""


class MethodError(InputError):
    """A method that is unknown, or that can't serve this recording."""


class RangeError(InputError):
    """A reference value that is incomplete or contradicts itself."""


class CaseloadError(InputError):
    """The caseload can't be opened: not found, locked, damaged, or newer than this program."""


class LockedError(InputError):
    """The page is locked, as nobody used it for a while; its terminal unlocks it."""


class RefusedError(CaseloadError):
    """Something that is not done, such as keeping the same recording twice."""


class QuestionError(RefusedError):
    """Not done until a person has answered; ``answers`` name what may be said to it, such as ``anyway``.

    ``asked`` is the question alone, as the page shows it above its buttons; the whole line also says how it is answered
    in the terminal.
    """

    def __init__(self, asked: str, answers: tuple[str, ...], in_terminal: str = "") -> None:
        super().__init__(f"{asked}. {in_terminal}" if in_terminal else asked)
        self.asked = asked
        self.answers = answers


class OutputError(InputError):
    """A place that can't be written: read-only, full, or a folder where a file was asked."""


class NoRoomError(CaseloadError):
    """The caseload can be read, but its medium is full or can't be written."""


MOST_FAULTS = 40  # named in one message; the rest is counted


class Faults:
    """Errors gathered instead of raised at the first, so that a person mends a list in one go.

    Examples
    --------
    >>> faults = Faults()
    >>> for word in ("seal", "sael", "lael"):
    ...     with faults.gathered():
    ...         if word != "seal":
    ...             raise LexiconError(f"'{word}' is not known; give its phones")
    >>> faults.line()
    "'sael' is not known, 'lael' is not known; give its phones"
    """

    def __init__(self) -> None:
        self.errors: list[InputError] = []

    @contextmanager
    def gathered(self) -> Iterator[None]:
        """Keep an error of an input instead of letting it out."""
        try:
            yield
        except InputError as error:
            self.errors.append(error)

    def line(self, where: str = "") -> str:
        """All of them in one line, ``where`` once: those with the same way out named together before it."""
        ways: dict[str, list[str]] = {}
        for error in self.errors[:MOST_FAULTS]:
            fault, _, way_out = str(error).removeprefix(where).partition("; ")
            ways.setdefault(way_out, []).append(fault)
        told = [", ".join(faults) + (f"; {way}" if way else "") for way, faults in ways.items()]
        left = len(self.errors) - MOST_FAULTS
        return ". ".join([*told, f"And {left} more faults"] if left > 0 else told)

    def let_out(self, where: str = "") -> None:
        """Raise what was gathered as one error of the first one's kind; none where nothing was gathered."""
        if self.errors:
            raise type(self.errors[0])(f"{where}{self.line(where)}") from self.errors[0]
