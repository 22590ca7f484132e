"""Rows as a data frame that says what its columns mean: units, meanings, and sets of words as categories."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..terms.vocabulary import CUES, FINDINGS, LEVELS, POSITIONS, SIBILANTS, VOICES
from .columns import Column, token_columns
from .rows import Cell
from .write import rounded

if TYPE_CHECKING:
    import pandas as pd

_YES = ("yes", "no")
CATEGORIES: Mapping[str, Sequence[str]] = {
    "finding": tuple(FINDINGS),
    "phone": tuple(SIBILANTS),
    "position": tuple(POSITIONS),
    "level": tuple(LEVELS),
    "cue": tuple(CUES),
    "voice": tuple(VOICES),
    "counts": _YES,
    "rounded": _YES,
    "boundary": ("automatic", "reviewed"),
}
"""Columns whose cells are words of a set, in the set's order."""


def as_frame(rows: Iterable[Mapping[str, Cell]], columns: Sequence[Column] | None = None) -> pd.DataFrame:
    """Return rows as a data frame, every column there, numbers rounded as files round them.

    Parameters
    ----------
    rows : iterable of mapping
        Cells by column name.
    columns : sequence of Column, optional
        Those of TABLE.csv without it.

    Returns
    -------
    DataFrame
        Whole numbers as ``Int64``, numbers as ``float64``, the words of a set as categories in the set's order (a
        column that holds any other word stays text), other text as ``object``, empty where there is none.
        ``attrs["units"]`` and ``attrs["meanings"]`` tell each column.

    Examples
    --------
    >>> frame = as_frame([{"phone": "S", "duration_ms": 101.26}])
    >>> frame["duration_ms"].item(), frame.attrs["units"]["duration_ms"], list(frame["phone"].cat.categories)[:2]
    (101.3, 'ms', ['S', 'Z'])
    """
    import pandas as pd

    columns = token_columns() if columns is None else columns
    held = list(rows)
    made = {column.name: [rounded(row.get(column.name), column) for row in held] for column in columns}
    return described(pd.DataFrame(made, columns=[column.name for column in columns]), columns)


def described(frame: pd.DataFrame, columns: Sequence[Column] | None = None) -> pd.DataFrame:
    """Return a frame with its columns typed and told as :func:`as_frame` does; columns it does not know stay."""
    import pandas as pd

    known = [column for column in (token_columns() if columns is None else columns) if column.name in frame]
    typed: dict[str, pd.Series[Any]] = {}
    for column in known:
        cells = frame[column.name]
        if column.datatype == "integer":
            typed[column.name] = pd.to_numeric(cells, errors="coerce").astype("Int64")
        elif column.datatype == "number":
            typed[column.name] = pd.to_numeric(cells, errors="coerce").astype("float64")
        elif column.name in CATEGORIES and set(cells.dropna()) - {""} <= set(CATEGORIES[column.name]):
            words = pd.Categorical(cells.replace("", None), list(CATEGORIES[column.name]))
            typed[column.name] = pd.Series(words, index=frame.index)
        else:
            typed[column.name] = cells.fillna("").astype(object)
    made = frame.assign(**typed)
    made.attrs["units"] = {column.name: column.unit for column in known if column.unit}
    made.attrs["meanings"] = {column.name: column.description for column in known}
    return made
