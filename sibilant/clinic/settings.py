"""What is filled in beforehand (the code of the person who listens): read and written in the caseload's own file."""

from __future__ import annotations

import re

from .. import store
from ..errors import UsageError
from .caseload import CaseloadHandle, opened
from .judge import rater_or_last

CODE = re.compile(r"[A-Za-z]{1,3}-?\d{1,4}")


def listener(caseload: CaseloadHandle) -> str:
    """Return the code of the person who listened last, R1 where nobody has."""
    with opened(caseload) as one:
        return rater_or_last(one, "")


def name_listener(caseload: CaseloadHandle, code: str) -> str:
    """Remember the code of the person who listens.

    Raises
    ------
    UsageError
        When it is no code such as R1; a name is none.
    """
    if not CODE.fullmatch(code.strip()):
        raise UsageError(f"{code[:12]!r}: a code of letters and a number, such as R1, never a name")
    with opened(caseload) as one:
        store.remember(one, {"last_rater": code.strip()})
    return code.strip()
