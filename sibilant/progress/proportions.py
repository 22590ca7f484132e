"""Shares and their intervals: Wilson for one, Newcombe for two, exact McNemar for the same words twice."""

from __future__ import annotations

import math
from statistics import NormalDist


def wilson(n_correct: int, n: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return Wilson's score interval of a share; NaN with nothing counted.

    (p + z^2/2n -+ z sqrt(p q/n + z^2/4n^2)) / (1 + z^2/n), kept within 0 and 1.
    Source: Wilson 1927; Newcombe 1998, Stat Med 17:857-872, method 3.

    Examples
    --------
    >>> [round(limit, 4) for limit in wilson(81, 263)]
    [0.2553, 0.3662]
    """
    if n == 0:
        return math.nan, math.nan
    p = n_correct / n
    z = NormalDist().inv_cdf(0.5 + level / 2)
    middle = p + z * z / (2 * n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low, high = ((middle + sign * half) / (1 + z * z / n) for sign in (-1, 1))
    return 0.0 if n_correct == 0 else low, 1.0 if n_correct == n else high


def newcombe(later: tuple[int, int], earlier: tuple[int, int], *, level: float = 0.95) -> tuple[float, float, float]:
    """Return the difference of two independent shares (later - earlier) and its interval.

    Newcombe 1998, Stat Med 17:873-890, method 10: square-and-add of the two Wilson intervals.

    Examples
    --------
    >>> [round(value, 4) for value in newcombe((9, 10), (3, 10))]
    [0.6, 0.1705, 0.809]
    """
    (a, m), (b, n) = later, earlier
    if not m or not n:
        return math.nan, math.nan, math.nan
    p, q = a / m, b / n
    low_p, high_p = wilson(a, m, level=level)
    low_q, high_q = wilson(b, n, level=level)
    difference = p - q
    low = difference - math.hypot(p - low_p, high_q - q)
    high = difference + math.hypot(high_p - p, q - low_q)
    return difference, low, high


def mcnemar_exact(gained: int, lost: int) -> float:
    """Return the exact two-sided p of McNemar's test: gains among the words that changed, against one half.

    Twice the smaller tail of the binomial distribution, at most 1 (it is symmetric at one half).

    Examples
    --------
    >>> mcnemar_exact(8, 2)
    0.109375
    """
    changed = gained + lost
    tail = sum(math.comb(changed, k) for k in range(min(gained, lost) + 1))
    return float(min(1.0, 2 * tail / 2**changed))
