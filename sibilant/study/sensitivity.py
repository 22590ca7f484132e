"""How far a conclusion hangs on where the edges of the sounds were put."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .effects import Effect, effect_of
from .frame import Prepared
from .question import Question

N_DRAWS = 100


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """An effect's g when the edges move by up to 10 ms.

    ``g_against``: every token of both groups moved by half its boundary range towards closing the difference, the worst
    that could be. ``g_low``, ``g_high``: 2.5 and 97.5 % points of 100 draws in which each token moves by chance.
    ``holds``: whether the difference keeps its sign, and an interval that left 0 out still does, at the worst.
    """

    measure: str
    first: str
    second: str
    g: float
    g_against: float
    g_low: float
    g_high: float
    holds: bool


def boundary_sensitivity(prepared: Prepared, effects: Sequence[Effect], question: Question) -> tuple[Sensitivity, ...]:
    """Compute each effect again with the measures moved inside the range that the table gives for shifted edges."""
    quick = replace(question, n_permutations=99)
    found = []
    for effect in effects:
        column = f"{effect.measure}_boundary"
        if column in prepared.tokens and np.isfinite(effect.g) and prepared.tokens[column].notna().any():
            found.append(_moved(prepared, effect, column, quick))
    return tuple(found)


def _moved(prepared: Prepared, effect: Effect, column: str, question: Question) -> Sensitivity:
    own = prepared.tokens[prepared.tokens["group"].isin([effect.first, effect.second])]
    half = own[column].fillna(0.0).to_numpy(dtype=float) / 2
    upward = np.sign(effect.difference) * np.where(own["group"] == effect.first, 1.0, -1.0)
    worst = _again(own[effect.measure].to_numpy(dtype=float) + upward * half, own, prepared, effect, question)
    rng = np.random.default_rng([question.seed, 5])
    values = own[effect.measure].to_numpy(dtype=float)
    drawn = [_quick_g(values + rng.uniform(-1, 1, half.size) * half, own, prepared, effect) for _ in range(N_DRAWS)]
    low, high = np.nanquantile(drawn, (0.025, 0.975))
    told_apart = effect.low > 0 or effect.high < 0
    same_sign = bool(np.sign(worst.difference) == np.sign(effect.difference))
    holds = same_sign and (not told_apart or worst.low > 0 or worst.high < 0)
    return Sensitivity(
        effect.measure, effect.first, effect.second, effect.g, worst.g, float(low), float(high), bool(holds)
    )


def _again(values: object, own: object, prepared: Prepared, effect: Effect, question: Question) -> Effect:
    x, y = _means(values, own, effect)
    return effect_of(
        effect.measure, effect.first, effect.second, x, y, paired=prepared.design == "within", question=question
    )


def _means(values: object, own: object, effect: Effect) -> tuple[np.ndarray, np.ndarray]:
    """Speaker means of both groups, speakers in one order."""
    import pandas as pd

    assert isinstance(own, pd.DataFrame)
    means = pd.Series(values, index=own.index).groupby([own["speaker"], own["group"]]).mean().unstack()
    return means[effect.first].to_numpy(dtype=float), means[effect.second].to_numpy(dtype=float)


def _quick_g(values: object, own: object, prepared: Prepared, effect: Effect) -> float:
    """The point value of g alone."""
    from .effects import correction

    x, y = _means(values, own, effect)
    if prepared.design == "within":
        both = np.isfinite(x) & np.isfinite(y)
        x, y = x[both], y[both]
        spread, df = np.sqrt((np.var(x, ddof=1) + np.var(y, ddof=1)) / 2), x.size - 1
    else:
        x, y = x[np.isfinite(x)], y[np.isfinite(y)]
        df = x.size + y.size - 2
        spread = np.sqrt(((x.size - 1) * np.var(x, ddof=1) + (y.size - 1) * np.var(y, ddof=1)) / df)
    return float(correction(df) * (y.mean() - x.mean()) / spread) if spread > 0 else float("nan")
