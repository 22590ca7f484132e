"""Columns that enter a model beside the group: numbers as numbers (ages too), anything else as levels."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import pandas as pd

_AGE = re.compile(r"(\d+)(?:y(?:(\d+)m)?|;(\d+))")


@dataclass(frozen=True, slots=True)
class Covariate:
    """One column of a model: ``numbers`` (n,) where it is a number, else ``codes`` (n,) into ``levels``."""

    name: str
    numbers: npt.NDArray[np.float64] | None
    codes: npt.NDArray[np.int64]
    levels: tuple[str, ...]

    def columns(self) -> tuple[list[str], npt.NDArray[np.float64]]:
        """Columns (n, k) for a model, centred: a number on its mean, levels on their equal-weighted middle.

        So a difference between groups is that at the mean of a number and at the middle of the levels, also where group
        and covariate interact. A level's coefficient is level less first level.
        """
        if self.numbers is not None:
            return [self.name], (self.numbers - self.numbers.mean())[:, np.newaxis]
        n = len(self.levels)
        table = np.eye(n)[:, 1:] - 1 / n
        return [f"{self.name}: {level} - {self.levels[0]}" for level in self.levels[1:]], table[self.codes]


def number_of(cell: object) -> float:
    """Return a cell as a number, an age such as ``7y4m`` in years; NaN where it is none.

    Examples
    --------
    >>> number_of("7y6m"), number_of("12.5"), number_of("7;3"), number_of("f")
    (7.5, 12.5, 7.25, nan)
    """
    text = str(cell).strip()
    if age := _AGE.fullmatch(text):
        return int(age[1]) + int(age[2] or age[3] or 0) / 12
    try:
        return float(text)
    except ValueError:
        return float("nan")


def is_empty(column: pd.Series) -> pd.Series:
    """Which cells hold nothing."""
    return column.isna() | column.astype(str).str.strip().isin(["", "nan"])


def covariate(frame: pd.DataFrame, name: str) -> Covariate:
    """Read a column of a frame without empty cells: numbers where every cell is one, else levels in order of name."""
    levels, codes = np.unique(frame[name].astype(str).str.strip().to_numpy(dtype=str), return_inverse=True)
    values = np.array([number_of(level) for level in levels])
    numbers = values[codes] if np.isfinite(values).all() else None
    return Covariate(name, numbers, codes.astype(np.int64), tuple(str(level) for level in levels))
