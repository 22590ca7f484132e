"""A few values come in; their mean, spread and intervals go out.

Few is the rule here: t and chi-square, never a normal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..ranges.quantiles import chi_square_quantile, t_quantile

Values = Sequence[float] | npt.NDArray[np.float64]
SEED = 20261124  # fixed, so that the same case has the same intervals


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its interval, and where a test was made, its statistic, degrees of freedom and two-sided p."""

    value: float
    low: float
    high: float
    statistic: float = math.nan
    df: float = math.nan
    p: float = math.nan


def mean_interval(values: Values, *, level: float = 0.95) -> Estimate:
    """Return the mean with its t interval; the interval is NaN under two values.

    Examples
    --------
    >>> estimate = mean_interval([1.0, 2.0, 3.0])
    >>> round(estimate.low, 3), estimate.value
    (-0.484, 2.0)
    """
    array = np.asarray(values, dtype=float)
    if array.size == 0:
        return Estimate(math.nan, math.nan, math.nan)
    mean = float(np.mean(array))
    if array.size < 2:
        return Estimate(mean, math.nan, math.nan)
    half = t_quantile(array.size - 1, level) * float(np.std(array, ddof=1)) / math.sqrt(array.size)
    return Estimate(mean, mean - half, mean + half, df=array.size - 1)


def sd_interval(sd: float, df: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return the chi-square interval of a standard deviation with ``df`` degrees of freedom."""
    if df < 1 or not math.isfinite(sd):
        return math.nan, math.nan
    tail = (1 - level) / 2
    return sd * math.sqrt(df / chi_square_quantile(df, tail)), sd * math.sqrt(df / chi_square_quantile(df, 1 - tail))


def robust_sd(values: Values) -> float:
    """Return 1.4826 times the median absolute deviation: the SD of a normal sample, unmoved by odd values."""
    array = np.asarray(values, dtype=float)
    return float(1.4826 * np.median(np.abs(array - np.median(array)))) if array.size else math.nan


def paired(first: Values, second: Values, *, level: float = 0.95) -> Estimate:
    """Return the mean of first - second over pairs, its t interval and test (Student 1908)."""
    from scipy.stats import ttest_rel

    result = ttest_rel(np.asarray(first, float), np.asarray(second, float))
    interval = result.confidence_interval(level)
    difference = float(np.mean(np.asarray(first, float) - np.asarray(second, float)))
    return Estimate(
        difference,
        float(interval.low),
        float(interval.high),
        float(result.statistic),
        float(result.df),
        float(result.pvalue),
    )


def welch(first: Values, second: Values, *, level: float = 0.95) -> Estimate:
    """Return the difference of two independent means with Welch's interval and test."""
    from scipy.stats import ttest_ind

    a, b = np.asarray(first, float), np.asarray(second, float)
    result = ttest_ind(a, b, equal_var=False)
    interval = result.confidence_interval(level)
    return Estimate(
        float(np.mean(a) - np.mean(b)),
        float(interval.low),
        float(interval.high),
        float(result.statistic),
        float(result.df),
        float(result.pvalue),
    )


def half_width(sd: float, n: int) -> float:
    """Return half the 95 % interval of a mean of n tokens with SD ``sd``: t(n-1) sd / sqrt(n)."""
    return t_quantile(n - 1) * sd / math.sqrt(n)


def least_difference(sd: float, n: int, *, day_sd: float = 0.0) -> float:
    """Return the least difference between two session means of n tokens each that 95 % limits can show.

    Without a day-to-day SD: t(2n-2) sd sqrt(2/n); with one: 1.96 sqrt(2 (sd^2/n + day_sd^2)). Own.
    """
    if day_sd == 0:
        return t_quantile(2 * n - 2) * sd * math.sqrt(2 / n)
    return 1.96 * math.sqrt(2 * (sd * sd / n + day_sd * day_sd))
