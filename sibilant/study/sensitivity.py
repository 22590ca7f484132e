"""How far a claimed difference hangs on where the edges of the sounds were put."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from .beside import Beside
from .effects import effect_of
from .frame import Prepared
from .mixed import fit
from .question import Question

if TYPE_CHECKING:
    import pandas as pd

N_DRAWS = 100  # draws of moved edges
Values = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """A claimed difference, by the primary analysis, when the edges move by up to 10 ms.

    ``difference``, ``low``, ``high``: as measured, with its own interval. ``against``, ``against_low``,
    ``against_high``: every token of both groups moved by half its boundary range towards closing the difference, the
    worst that could be. ``moved_low``, ``moved_high``: 2.5 and 97.5 % points of the difference over speakers' means in
    100 draws in which each token moves by chance. ``holds``: whether the interval at the worst still leaves 0 out on
    the same side. ``inside``: whether the difference at the worst lies inside the interval as measured.
    """

    measure: str
    first: str
    second: str
    difference: float
    low: float
    high: float
    against: float
    against_low: float
    against_high: float
    moved_low: float
    moved_high: float
    holds: bool
    inside: bool


def boundary_sensitivity(prepared: Prepared, analyses: Sequence[Beside], question: Question) -> tuple[Sensitivity, ...]:
    """Compute each claimed difference again with the measure moved inside the range that shifted edges give."""
    found = []
    for one in analyses:
        column = f"{one.measure}_boundary"
        if one.claimed and column in prepared.tokens and prepared.tokens[column].notna().any():
            found.append(_moved(prepared, one, column, question))
    return tuple(found)


def _moved(prepared: Prepared, one: Beside, column: str, question: Question) -> Sensitivity:
    tokens = prepared.tokens
    half = tokens[column].fillna(0.0).to_numpy(dtype=np.float64) / 2
    values = tokens[one.measure].to_numpy(dtype=np.float64)
    way = np.sign(one.estimate) * (
        (tokens["group"] == one.first).to_numpy(dtype=float) - (tokens["group"] == one.second).to_numpy(dtype=float)
    )
    worst = _again(replace(prepared, tokens=tokens.assign(**{one.measure: values + way * half})), one, question)
    rng = np.random.default_rng([question.seed, 5])
    over = _Means(tokens, one, values)
    drawn = [over.difference(values + rng.uniform(-1, 1, half.size) * half) for _ in range(N_DRAWS)]
    low, high = np.nanquantile(drawn, (0.025, 0.975))
    holds = worst[1] > 0 if one.estimate > 0 else worst[2] < 0
    return Sensitivity(one.measure, one.first, one.second, one.estimate, one.low, one.high, *worst, float(low),
                       float(high), bool(holds), bool(one.low <= worst[0] <= one.high))  # fmt: skip


def _again(moved: Prepared, one: Beside, question: Question) -> tuple[float, float, float]:
    """The difference and its interval by the primary analysis."""
    if question.leading == "mixed":
        for contrast in fit(moved, one.measure, question, leaning=False).contrasts:
            if (contrast.first, contrast.second) == (one.first, one.second):
                return contrast.estimate, contrast.low, contrast.high
    means = moved.speaker_means(one.measure)
    x, y = (means[group].to_numpy(dtype=np.float64) for group in (one.first, one.second))
    if not one.paired:
        single = np.isfinite(x) ^ np.isfinite(y)
        x, y = np.where(single, x, np.nan), np.where(single, y, np.nan)
    quick = replace(question, n_permutations=99)
    effect = effect_of(one.measure, one.first, one.second, x, y, paired=one.paired, question=quick)
    return effect.difference, effect.low, effect.high


class _Means:
    """Differences over speakers' means, by counts alone."""

    def __init__(self, tokens: pd.DataFrame, one: Beside, values: Values) -> None:
        self.rows = tokens["group"].isin([one.first, one.second]).to_numpy() & np.isfinite(values)
        own = tokens[self.rows]
        speakers = np.unique(own["speaker"].to_numpy(dtype=str), return_inverse=True)[1]
        self.codes = 2 * speakers + (own["group"] == one.second).to_numpy(dtype=np.int64)
        self.size = 2 * (int(speakers.max()) + 1)
        self.counts = np.bincount(self.codes, minlength=self.size).reshape(-1, 2)
        both = (self.counts > 0).all(axis=1)
        self.used = both if one.paired else ~both

    def difference(self, values: Values) -> float:
        """Mean of the second group's speakers less that of the first's."""
        sums = np.bincount(self.codes, values[self.rows], self.size).reshape(-1, 2)[self.used]
        counts = self.counts[self.used]
        first, second = (sums[counts[:, k] > 0, k] / counts[counts[:, k] > 0, k] for k in (0, 1))
        return float(second.mean() - first.mean()) if first.size and second.size else float("nan")
