"""Indices for one client's phases: non-overlap, Tau in its named variants, and the drawing aids beside them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from ..terms.change import PhaseEffect
from .trend import theil_sen

Values = Sequence[float]


def _s_between(a: Values, b: Values) -> int:
    return int(np.sum(np.sign(np.asarray(b, float)[None, :] - np.asarray(a, float)[:, None])))


def nap(a: Values, b: Values) -> float:
    """Return non-overlap of all pairs: the share of (baseline, later) pairs where later is higher, ties one half.

    Source: Parker & Vannest 2009, Behav Ther 40:357-367.

    Examples
    --------
    >>> round(nap([20, 20, 26, 25, 22, 23], [28, 25, 24, 27, 30, 30, 29]), 4)
    0.9167
    """
    return 0.5 + _s_between(a, b) / (2 * len(a) * len(b))


def auc_interval(theta: float, m: int, n: int, *, z: float = 1.959964) -> tuple[float, float]:
    """Return Newcombe's score interval (method 5) of an area under the curve of m against n values.

    Solves |theta_hat - theta| = z sqrt(V(theta)), V = theta (1 - theta) (1 + (N - 1) ((1 - theta)/(2 - theta)
    + theta/(1 + theta))) / (m n), N = (m + n)/2. Source: Newcombe 2006, Stat Med 25:559-573 (from memory); its null SE
    is 0.255 at 3 + 3 and 0.215 at 3 + 6.
    """
    if not m or not n or not math.isfinite(theta):
        return math.nan, math.nan
    size = (m + n) / 2 - 1

    def outside(candidate: float) -> bool:
        spread = 1 + size * ((1 - candidate) / (2 - candidate) + candidate / (1 + candidate))
        return abs(theta - candidate) > z * math.sqrt(max(0.0, candidate * (1 - candidate) * spread / (m * n)))

    return _edge(outside, 0.0, theta), _edge(outside, 1.0, theta)


def _edge(outside: Callable[[float], bool], far: float, near: float) -> float:
    """Bisect between a value outside an interval and one inside it."""
    for _ in range(60):
        middle = (far + near) / 2
        if outside(middle):
            far = middle
        else:
            near = middle
    return near


def phase_effect(key: str, months: Values, baseline: Values, later: Values) -> PhaseEffect:
    """Return NAP and Tau of later probes against the baseline's, with Newcombe's interval and the baseline's slope."""
    m, n = len(baseline), len(later)
    if m < 3 or n < 3:
        nan = math.nan
        return PhaseEffect(key, m, n, nan, nan, nan, nan, nan, ("three probes in each phase are needed",))
    value = nap(baseline, later)
    low, high = auc_interval(value, m, n)
    return PhaseEffect(key, m, n, value, low, high, 2 * value - 1, theil_sen(months[:m], baseline).slope)
