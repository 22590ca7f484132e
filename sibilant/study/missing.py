"""What is missing, by group and measure, and between what bounds the differences lie whatever it would have been."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .effects import LEAST
from .frame import NOT_HEARD, Prepared
from .question import Question

Values = npt.NDArray[np.float64]
LOWEST, HIGHEST = 0.05, 0.95
"""Between which points of all measured tokens a missing one is taken to lie (own rule, after Manski 1990, from
memory)."""


@dataclass(frozen=True, slots=True)
class Missing:
    """Sounds expected of a group, measured, and missing: without a value, or by what was found instead of a sound."""

    measure: str
    group: str
    n_expected: int
    n_measured: int
    n_missing: int
    n_no_value: int
    n_no_frication: int
    n_unsure: int
    n_prompt_missing: int
    n_unreadable: int
    share_missing: float


@dataclass(frozen=True, slots=True)
class Bound:
    """A difference over speakers' means if all that is missing were as it would be least, and most, in its favour.

    ``one_sided``: whether it stays on one side of 0 at both.
    """

    measure: str
    first: str
    second: str
    n_missing_first: int
    n_missing_second: int
    difference: float
    least: float
    most: float
    one_sided: bool


def missing_by_group(prepared: Prepared) -> tuple[Missing, ...]:
    """Count what is missing in every group and measure."""
    absent = prepared.absent
    found = []
    for measure in prepared.measures:
        for group in prepared.groups:
            own = prepared.tokens[prepared.tokens["group"] == group]
            n_measured = int(own[measure].notna().sum())
            gone = absent.loc[absent["group"] == group, "finding"].value_counts()
            silent, unsure, unheard, unread = (int(gone.get(finding, 0)) for finding in NOT_HEARD)
            n_expected = len(own) + silent + unsure + unheard + unread
            share = 1 - n_measured / n_expected if n_expected else math.nan
            found.append(Missing(measure, group, n_expected, n_measured, n_expected - n_measured,
                                 len(own) - n_measured, silent, unsure, unheard, unread, share))  # fmt: skip
    return tuple(found)


def bounds(prepared: Prepared, question: Question) -> tuple[Bound, ...]:
    """Return each difference with all missing sounds of one group as low and of the other as high as they might be.

    Notes
    -----
    A missing sound takes the 5 or the 95 % point of all tokens of the study; each speaker's mean in a group is taken
    over measured and missing ones, and so are speakers all of whose sounds in a group are missing. No assumption about
    why a sound is missing is made.
    """
    found = []
    for measure in prepared.measures:
        table = _Table(prepared, measure)
        for first, second in prepared.pairs(question.reference):
            a, b = (prepared.groups.index(group) for group in (first, second))
            least, most = table.difference(a, b, HIGHEST, LOWEST), table.difference(a, b, LOWEST, HIGHEST)
            found.append(Bound(measure, first, second, int(table.gone[:, a].sum()), int(table.gone[:, b].sum()),
                               table.difference(a, b), least, most, bool(least > 0 or most < 0)))  # fmt: skip
    return tuple(found)


class _Table:
    """Sums, counts and missing ones by speaker and group."""

    def __init__(self, prepared: Prepared, measure: str) -> None:
        absent, tokens = prepared.absent, prepared.tokens
        both = np.concatenate([tokens["speaker"].to_numpy(dtype=str), absent["speaker"].to_numpy(dtype=str)])
        speakers = np.unique(both, return_inverse=True)[1]
        number = {group: k for k, group in enumerate(prepared.groups)}
        groups = np.concatenate([tokens["group"].map(number), absent["group"].map(number)]).astype(np.int64)
        n = len(prepared.groups)
        self.values = tokens[measure].to_numpy(dtype=np.float64)
        there = np.concatenate([np.isfinite(self.values), np.zeros(len(absent), dtype=bool)])
        cell, size = speakers * n + groups, (int(speakers.max()) + 1) * n
        filled = np.concatenate([np.nan_to_num(self.values), np.zeros(len(absent))])
        self.sums = np.bincount(cell[there], filled[there], size).reshape(-1, n)
        self.counts = np.bincount(cell[there], minlength=size).reshape(-1, n)
        self.gone = np.bincount(cell[~there], minlength=size).reshape(-1, n)

    def difference(self, a: int, b: int, of_a: float | None = None, of_b: float | None = None) -> float:
        """Difference over speakers, missing sounds at the given points of all tokens; without them, as measured."""
        means = []
        for k, point in ((a, of_a), (b, of_b)):
            total, n = self.sums[:, k], self.counts[:, k].astype(np.float64)
            if point is not None:
                total = total + self.gone[:, k] * float(np.nanquantile(self.values, point))
                n = n + self.gone[:, k]
            means.append(np.where(n > 0, total / np.maximum(n, 1), np.nan))
        x, y = means
        whole = (self.counts[:, [a, b]] + self.gone[:, [a, b]] > 0).all(axis=1)
        both = whole if of_a is not None else (self.counts[:, [a, b]] > 0).all(axis=1)
        if both.sum() >= LEAST:
            return float(np.mean(y[both] - x[both]))
        if not (np.isfinite(x).any() and np.isfinite(y).any()):
            return math.nan
        return float(np.nanmean(y) - np.nanmean(x))
