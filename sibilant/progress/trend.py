"""Trend over few probes: Theil-Sen's slope and the exact permutation distribution of Kendall's S, ties and all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from statistics import NormalDist

import numpy as np

from ..terms.change import Trend

LEAST_PROBES = 5  # fewer give no p below 0.05 (2 of 4! is 0.08)
MOST_EXACT = 50
"""Probes up to which p is exact; beyond them it is ``normal_p``."""


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
    distribution = _inversions(_tied(y))
    total, pairs = sum(distribution), len(distribution) - 1
    observed = abs(kendall_s(y))
    return sum(ways for inversions, ways in enumerate(distribution) if abs(pairs - 2 * inversions) >= observed) / total


def normal_p(y: Sequence[float]) -> float:
    """Return the two-sided p of S by the normal approximation with a continuity correction of one.

    var S = (n(n-1)(2n+5) - sum over ties t(t-1)(2t+5)) / 18. Source: Kendall 1970 (from memory). Beyond fifty values it
    is within 0.003 of the exact p (tests), less near where nearly all values are alike.

    Examples
    --------
    >>> round(normal_p([5, 6, 11, 8, 10]), 3)
    0.221
    """
    past = max(abs(kendall_s(y)) - 1, 0)
    sd = _sd_of_s(len(y), _tied(y))
    return math.erfc(past / sd / math.sqrt(2)) if sd else 1.0


def _tied(y: Sequence[float]) -> list[int]:
    """How often each value stands among the values."""
    return [int(count) for count in np.unique(np.asarray(y, dtype=float), return_counts=True)[1]]


def _sd_of_s(n: int, ties: Sequence[int]) -> float:
    """SD of S over all orders of ``n`` values, those tied in groups of the given sizes."""
    free = n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in ties)
    return math.sqrt(max(free, 0) / 18)


def _inversions(counts: Sequence[int]) -> list[int]:
    """Orders of a multiset by their inversions: [n]! over the product of [t]!, where [n] = 1 + q + ... + q^(n-1)."""
    ways = [1]
    for size in range(2, sum(counts) + 1):
        ways = _times_q_number(ways, size)
    for size in (size for count in counts for size in range(2, count + 1)):
        ways = _over_q_number(ways, size)
    return ways


def _times_q_number(ways: list[int], size: int) -> list[int]:
    """Product with 1 + q + ... + q^(size-1): the running sum of the last ``size`` coefficients."""
    running = [0, *accumulate([*ways, *[0] * (size - 1)])]
    return [running[end] - running[max(0, end - size)] for end in range(1, len(running))]


def _over_q_number(ways: list[int], size: int) -> list[int]:
    """Exact quotient by 1 + q + ... + q^(size-1): what ``_times_q_number`` is undone by."""
    found: list[int] = []
    for place in range(len(ways) - size + 1):
        step = ways[place] - (ways[place - 1] if place else 0)
        found.append(step + (found[place - size] if place >= size else 0))
    return found


@dataclass(frozen=True, slots=True)
class TheilSen:
    """Median of the slopes between pairs, the interval of it, and the line's height at zero."""

    slope: float
    low: float
    high: float
    intercept: float


def theil_sen(x: Sequence[float], y: Sequence[float], *, level: float = 0.95) -> TheilSen:
    """Return the median slope between pairs that differ in x, with Sen's interval by the normal law of Kendall's S.

    Source: Sen 1968, JASA 63:1379-1389, equation 2.6; held against ``scipy.stats.theilslopes`` in the tests.

    Examples
    --------
    >>> theil_sen([0, 1, 2, 4], [1, 3, 4, 9]).slope
    2.0
    """
    at, height = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    apart = at[:, None] - at
    slopes = np.sort((height[:, None] - height)[apart > 0] / apart[apart > 0])
    if not slopes.size:
        return TheilSen(*(math.nan,) * 4)
    middle = float(np.median(slopes))
    reach = NormalDist().inv_cdf(0.5 + level / 2) * _sd_of_s(at.size, [*_tied(x), *_tied(y)])
    low = max(round((slopes.size - reach) / 2) - 1, 0)
    high = min(round((slopes.size + reach) / 2), slopes.size - 1)
    intercept = float(np.median(height)) - middle * float(np.median(at))
    return TheilSen(middle, float(slopes[low]), float(slopes[high]), intercept)


def trend(key: str, phase: str, months: Sequence[float], values: Sequence[float]) -> Trend:
    """Return the Theil-Sen slope per month within one phase, with its 95 % interval and exact p from five probes on.

    From more than fifty probes on p is the normal approximation of the same S.
    """
    n = len(values)
    if n < 2 or len(set(months)) < 2:
        return Trend(key, phase, math.nan, math.nan, math.nan, math.nan, n, None, ("fewer than two probes",))
    line = theil_sen(months, values)
    reasons: tuple[str, ...] = ()
    p: float | None = None
    if n < LEAST_PROBES:
        reasons = (f"{n} probes; a p needs {LEAST_PROBES}",)
    elif len(set(months)) < n:
        reasons = ("two probes on one day; no exact p",)
    else:
        p = exact_p(values) if n <= MOST_EXACT else normal_p(values)
    low, high = (line.low, line.high) if n >= LEAST_PROBES else (math.nan, math.nan)
    return Trend(key, phase, line.slope, low, high, line.intercept, n, p, reasons)
