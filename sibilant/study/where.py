"""Filters of rows as a person types them (``age>7``, ``sex=f|m``) come in, a mask over a table goes out."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from ..errors import UsageError
from .covariates import number_of

if TYPE_CHECKING:
    import pandas as pd

_FILTER = re.compile(r"\s*(.+?)\s*(>=|<=|!=|=|>|<)\s*(.*?)\s*")


def kept(frame: pd.DataFrame, told: str) -> pd.Series:
    """Return which rows a filter keeps.

    ``=`` and ``!=`` compare text (numbers as numbers) and take several values between ``|``; ``>``, ``>=``, ``<`` and
    ``<=`` compare numbers, ages such as ``7y4m`` too; an empty cell is kept by ``column=`` and by ``!=`` only.

    Raises
    ------
    UsageError
        When it can't be read, names no column, or compares text as a number.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"age": ["7y4m", "12", ""], "sex": ["f", "m", "f"]})
    >>> kept(rows, "age>=8").tolist(), kept(rows, "sex=f|x").tolist()
    ([False, True, False], [True, False, True])
    """
    import pandas as pd

    read = _FILTER.fullmatch(told)
    if read is None:
        raise UsageError(f"--where {told}: can't be read; write column=value, column!=value or column>number")
    column, how, value = read.groups()
    if column not in frame:
        raise UsageError(f"--where {told}: no column {column} in the table")
    cells = frame[column].astype(str).str.strip().replace("nan", "")
    levels, codes = np.unique(cells.to_numpy(dtype=str), return_inverse=True)
    if how in ("=", "!="):
        wanted = [one.strip() for one in value.split("|")]
        alike = np.array([any(_alike(level, one) for one in wanted) for level in levels.tolist()])
        chosen = alike if how == "=" else ~alike
    else:
        chosen = _compared(levels.tolist(), how, number_of(value), told)
    return pd.Series(chosen[codes], index=frame.index)


def _alike(level: str, wanted: str) -> bool:
    a, b = number_of(level), number_of(wanted)
    return level == wanted or a == b


def _compared(levels: list[str], how: str, limit: float, told: str) -> np.ndarray:
    numbers = np.array([number_of(level) for level in levels])
    if not np.isfinite(limit) or (~np.isfinite(numbers) & np.array([bool(level) for level in levels])).any():
        raise UsageError(f"--where {told}: > and < compare numbers, and not all that stands there is one")
    with np.errstate(invalid="ignore"):
        return {">": numbers > limit, ">=": numbers >= limit, "<": numbers < limit, "<=": numbers <= limit}[how]
