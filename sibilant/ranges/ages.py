"""Ages as the trade writes them (7;4, 7y4m) come in, whole months go out, and back: a child's range turns on months."""

from __future__ import annotations

import re

from ..errors import UsageError

_OLDEST_Y = 120  # own choice; months taken for years lie above


def read_age(text: str) -> int:
    """Return an age in months from ``7y4m``, ``7;4``, ``7y``, ``88m`` or whole years such as ``34``.

    Raises
    ------
    UsageError
        When it is none of these, or twelve months or more stand beside years.

    Examples
    --------
    >>> read_age("7y4m"), read_age("7;4"), read_age("34")
    (88, 88, 408)
    """
    tidy = text.strip().lower().replace(" ", "")
    found = re.fullmatch(r"(?:(\d{1,3})(?:y|;|$))?(?:(\d{1,4})m?)?", tidy)
    years, months = (found.group(1), found.group(2)) if found else (None, None)
    only_months = years is None and months is not None and tidy.endswith("m")
    if not found or (years is None and not only_months) or (years and months and int(months) > 11):
        raise UsageError(f"age {text!r} is not understood; write 7y4m, or 7;4 in quotes, or whole years such as 34")
    total = 12 * int(years or 0) + int(months or 0)
    if total > 12 * _OLDEST_Y:
        raise UsageError(f"age {text!r} is above {_OLDEST_Y} years; write 7y4m")
    return total


def age_words(months: int) -> str:
    """Write an age as commands take it.

    Examples
    --------
    >>> age_words(88), age_words(408)
    ('7y4m', '34y')
    """
    years, rest = divmod(months, 12)
    return f"{years}y{rest}m" if rest else f"{years}y"
