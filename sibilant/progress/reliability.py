"""Agreement and reliability from their first definitions: ICC, kappa, alpha, limits of agreement, SEM."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
ScaleOf = Literal["nominal", "ordinal", "interval", "ratio"]


@dataclass(frozen=True, slots=True)
class IntraclassCorrelations:
    """Six intraclass correlations (Shrout & Fleiss 1979) of targets (rows) by judges, and their mean squares."""

    one_way: float
    agreement: float
    consistency: float
    one_way_mean: float
    agreement_mean: float
    consistency_mean: float
    targets_ms: float
    judges_ms: float
    error_ms: float


def intraclass(ratings: Sequence[Sequence[float]] | Array) -> IntraclassCorrelations:
    """Return ICC(1,1), (2,1) = (A,1), (3,1) = (C,1) and those of the mean of all judges.

    Two-way mean squares of ``ratings`` (targets, judges), nothing missing. Source: Shrout & Fleiss 1979, Psychol Bull
    86:420-428.

    Raises
    ------
    ValueError
        With fewer than two targets or two judges.

    Examples
    --------
    >>> ratings = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    >>> round(intraclass(ratings).agreement, 2)
    0.29
    """
    x = np.asarray(ratings, dtype=float)
    if x.ndim != 2 or min(x.shape) < 2:
        raise ValueError("an intraclass correlation needs two targets and two judges or more")
    n, k = x.shape
    rows, columns, grand = x.mean(axis=1), x.mean(axis=0), float(x.mean())
    between = float(k * np.sum((rows - grand) ** 2) / (n - 1))
    judges = float(n * np.sum((columns - grand) ** 2) / (k - 1))
    error = float(np.sum((x - rows[:, None] - columns[None, :] + grand) ** 2) / ((n - 1) * (k - 1)))
    within = float(np.sum((x - rows[:, None]) ** 2) / (n * (k - 1)))

    def ratio(top: float, bottom: float) -> float:
        return top / bottom if bottom else math.nan

    return IntraclassCorrelations(
        one_way=ratio(between - within, between + (k - 1) * within),
        agreement=ratio(between - error, between + (k - 1) * error + k * (judges - error) / n),
        consistency=ratio(between - error, between + (k - 1) * error),
        one_way_mean=ratio(between - within, between),
        agreement_mean=ratio(between - error, between + (judges - error) / n),
        consistency_mean=ratio(between - error, between),
        targets_ms=between,
        judges_ms=judges,
        error_ms=error,
    )


@dataclass(frozen=True, slots=True)
class Kappa:
    """Cohen's kappa with its large-sample standard error and 95 % interval."""

    value: float
    se: float
    low: float
    high: float


def kappa(table: Sequence[Sequence[float]] | Array, *, weights: Array | None = None) -> Kappa:
    """Return Cohen's kappa of a square table of counts, weighted by disagreement where ``weights`` are given.

    Computed by ``statsmodels.stats.inter_rater.cohens_kappa``. Source: Cohen 1968, Psychol Bull 70:213-220.
    """
    from statsmodels.stats.inter_rater import cohens_kappa

    result = cohens_kappa(np.asarray(table, dtype=float), weights=weights)
    if weights is None:
        value, se, low, high = result.kappa, result.std_kappa, result.kappa_low, result.kappa_upp
    else:
        value, se = result.kappa, result.std_kappa
        low, high = value - 1.959964 * se, value + 1.959964 * se
    return Kappa(float(value), float(se), float(low), float(high))


def fleiss(counts: Sequence[Sequence[float]] | Array) -> float:
    """Return Fleiss's kappa of items (rows) by categories, each row summing to the number of judges."""
    from statsmodels.stats.inter_rater import fleiss_kappa

    return float(fleiss_kappa(np.asarray(counts, dtype=float)))


def alpha(ratings: Sequence[Sequence[float]] | Array, scale: ScaleOf = "nominal") -> float:
    """Return Krippendorff's alpha of judges (rows) by units (columns), NaN where a judgement is missing.

    alpha = 1 - D_observed / D_expected from the coincidence matrix. Source: Krippendorff 2011, example C (from memory).

    Examples
    --------
    >>> nan = float("nan")
    >>> round(alpha([[1, 2, 3, 3], [1, 2, 3, nan], [1, 2, 3, 3]]), 3)
    1.0
    """
    x = np.asarray(ratings, dtype=float)
    values = np.unique(x[np.isfinite(x)])
    counts = np.stack([np.sum(x == value, axis=0) for value in values], axis=1).astype(float) if values.size else x[:0]
    counts = counts[counts.sum(axis=1) >= 2]
    if counts.size == 0:
        return math.nan
    m = counts.sum(axis=1)
    weighted = counts / (m - 1)[:, None]
    coincidence = weighted.T @ counts - np.diag(weighted.sum(axis=0))
    totals = coincidence.sum(axis=0)
    distance = _DISTANCES[scale](values, totals)
    expected = (np.outer(totals, totals) - np.diag(totals)) / (totals.sum() - 1)
    bottom = float(np.sum(expected * distance))
    return 1 - float(np.sum(coincidence * distance)) / bottom if bottom else math.nan


def _nominal(values: Array, totals: Array) -> Array:
    return 1.0 - np.eye(values.size)


def _ordinal(values: Array, totals: Array) -> Array:
    middle = np.cumsum(totals) - totals / 2
    return np.asarray((middle[:, None] - middle[None, :]) ** 2, dtype=float)


def _interval(values: Array, totals: Array) -> Array:
    return np.asarray((values[:, None] - values[None, :]) ** 2, dtype=float)


def _ratio(values: Array, totals: Array) -> Array:
    total = values[:, None] + values[None, :]
    return np.asarray(((values[:, None] - values[None, :]) / np.where(total == 0, 1, total)) ** 2, dtype=float)


_DISTANCES: dict[ScaleOf, Callable[[Array, Array], Array]] = {
    "nominal": _nominal,
    "ordinal": _ordinal,
    "interval": _interval,
    "ratio": _ratio,
}
