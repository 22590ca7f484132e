"""Trend over few probes: Theil-Sen's slope and the exact permutation distribution of Kendall's S, ties and all."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..terms.change import Trend

LEAST_PROBES = 5


def kendall_s(y: Sequence[float]) -> int:
    """Return Kendall's S of values in the order of time: rising pairs minus falling pairs.

    Examples
    --------
    >>> kendall_s([5, 6, 11, 8, 10])
    6
    """
    array = np.asarray(y, dtype=float)
    return int(np.sum(np.triu(np.sign(array[None, :] - array[:, None]), 1)))


def exact_p(y: Sequence[float]) -> float:
    """Return the two-sided p of S over all orders of the values, exact with ties among them (times differ).

    The inversions of a multiset are distributed as the Gaussian multinomial coefficient; S = M - 2 inversions, where
    M counts the pairs that differ. Source: Kendall 1970 (from memory); held against enumeration in the tests.

    Examples
    --------
    >>> round(exact_p([5, 6, 11, 8, 10]), 6)
    0.233333
    """
    counts = [int(count) for count in np.unique(np.asarray(y, dtype=float), return_counts=True)[1]]
    distribution = [1]
    placed = 0
    for count in counts:
        distribution = _times(distribution, _gaussian_binomial(placed + count, count))
        placed += count
    total, pairs = sum(distribution), len(distribution) - 1
    observed = abs(kendall_s(y))
    return sum(ways for inversions, ways in enumerate(distribution) if abs(pairs - 2 * inversions) >= observed) / total


def _times(a: list[int], b: list[int]) -> list[int]:
    product = [0] * (len(a) + len(b) - 1)
    for i, x in enumerate(a):
        for j, y in enumerate(b):
            product[i + j] += x * y
    return product


def _gaussian_binomial(n: int, k: int) -> list[int]:
    """Coefficients of the Gaussian binomial [n choose k], by its Pascal rule."""
    row: list[list[int]] = [[1]] + [[0] for _ in range(k)]
    for size in range(1, n + 1):
        for i in range(min(size, k), 0, -1):
            shifted = [0] * i + row[i] if size > i else [0]
            longest = max(len(row[i - 1]), len(shifted))
            row[i] = [
                (row[i - 1][j] if j < len(row[i - 1]) else 0) + (shifted[j] if j < len(shifted) else 0)
                for j in range(longest)
            ]
    return row[k]


def trend(key: str, phase: str, months: Sequence[float], values: Sequence[float]) -> Trend:
    """Return the Theil-Sen slope per month within one phase, with its 95 % interval and exact p from five probes on.

    Source: Sen 1968, JASA 63:1379-1389, by ``scipy.stats.theilslopes``.
    """
    n = len(values)
    if n < 2 or len(set(months)) < 2:
        return Trend(key, phase, math.nan, math.nan, math.nan, math.nan, n, None, ("fewer than two probes",))
    from scipy.stats import theilslopes

    slope = theilslopes(np.asarray(values, float), np.asarray(months, float), 0.95)
    reasons: tuple[str, ...] = ()
    p: float | None = None
    if n < LEAST_PROBES:
        reasons = (f"{n} probes; a p needs {LEAST_PROBES}",)
    elif len(set(months)) < n:
        reasons = ("two probes on one day; no exact p",)
    else:
        p = exact_p(values)
    low, high = (float(slope.low_slope), float(slope.high_slope)) if n >= LEAST_PROBES else (math.nan, math.nan)
    return Trend(key, phase, float(slope.slope), low, high, float(slope.intercept), n, p, reasons)
