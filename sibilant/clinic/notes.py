"""What stands beside something that was kept: a plain line, and the terminal's way to do something about it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Note:
    """A line beside what was kept; ``command`` is what does something about it in the terminal."""

    text: str
    command: str = ""

    def __str__(self) -> str:
        """The line as the terminal prints it.

        Examples
        --------
        >>> str(Note("device phone is not registered", "sibilant device add phone"))
        'device phone is not registered: sibilant device add phone'
        """
        return f"{self.text}: {self.command}" if self.command else self.text
