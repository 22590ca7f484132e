"""Indices for one client's phases: non-overlap, Tau in its named variants, and the drawing aids beside them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..terms.change import PhaseEffect
from .trend import theil_sen

Values = Sequence[float]


def _s_between(a: Values, b: Values) -> int:
    return int(np.sum(np.sign(np.asarray(b, float)[None, :] - np.asarray(a, float)[:, None])))


def _s_within(y: Values) -> int:
    array = np.asarray(y, dtype=float)
    return int(np.sum(np.triu(np.sign(array[None, :] - array[:, None]), 1)))


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


@dataclass(frozen=True, slots=True)
class TauVariants:
    """Tau in four named variants; each may mislead, and the second may pass 1 when the baseline falls."""

    a_against_b: float
    minus_trend_a: float
    plus_trend_b: float
    minus_trend_a_plus_trend_b: float
    s_between: int
    s_a: int
    s_b: int


def tau_variants(a: Values, b: Values) -> TauVariants:
    """Return Tau of A against B, and the three variants that take trends in.

    S_AB / mn; (S_AB - S_A) / mn; (S_AB + S_B) / (mn + n(n-1)/2); (S_AB - S_A + S_B) / (N(N-1)/2).
    Source: Parker, Vannest, Davis & Sauber 2011, Behav Ther 42:284-299. The second has no bound at 1.
    """
    m, n = len(a), len(b)
    between, within_a, within_b = _s_between(a, b), _s_within(a), _s_within(b)
    pairs_b = n * (n - 1) / 2
    return TauVariants(
        a_against_b=between / (m * n),
        minus_trend_a=(between - within_a) / (m * n),
        plus_trend_b=(between + within_b) / (m * n + pairs_b),
        minus_trend_a_plus_trend_b=(between - within_a + within_b) / (m * n + m * (m - 1) / 2 + pairs_b),
        s_between=between,
        s_a=within_a,
        s_b=within_b,
    )


def baseline_corrected(a: Values, b: Values) -> tuple[float, float]:
    """Return Tau = S/mn, and Kendall's tau-b with the phase, after the baseline's Theil-Sen line is taken out.

    Source: Tarlow 2017, Behav Modif 41:427-467.
    """
    y = np.asarray([*a, *b], dtype=float)
    x = np.arange(1, y.size + 1, dtype=float)
    left = np.round(y - theil_sen(list(x[: len(a)]), a).slope * x, 9)
    between = _s_between(list(left[: len(a)]), list(left[len(a) :]))
    pairs = len(a) * len(b)
    differ = int(np.sum(np.triu(left[:, None] != left, 1)))
    return between / pairs, between / math.sqrt(pairs * differ) if differ else 0.0


def pnd(a: Values, b: Values) -> float:
    """Return the share of later values above the highest baseline value: one outlier decides."""
    return float(np.mean(np.asarray(b, float) > np.max(a)))


def pem(a: Values, b: Values) -> float:
    """Return the share of later values above the baseline median, ties one half."""
    above = np.asarray(b, float) - float(np.median(a))
    return float(np.mean((above > 0) + 0.5 * (above == 0)))


def pand(a: Values, b: Values) -> float:
    """Return the share of all values left when the fewest are taken out so that the phases do not overlap."""
    values = np.unique(np.asarray([*a, *b], dtype=float))
    cuts = [-math.inf, *((values[1:] + values[:-1]) / 2), math.inf]
    fewest = min(int(np.sum(np.asarray(a) > cut)) + int(np.sum(np.asarray(b) < cut)) for cut in cuts)
    return 1 - fewest / (len(a) + len(b))


def robust_ird(a: Values, b: Values) -> float:
    """Return the robust improvement rate difference: 1 - (m+n)^2 / (2mn) (1 - PAND)."""
    m, n = len(a), len(b)
    return 1 - (m + n) ** 2 / (2 * m * n) * (1 - pand(a, b))


def baseline_sd_difference(a: Values, b: Values) -> tuple[float, float]:
    """Return (mean B - mean A) / SD A (Busk & Serlin's first form), plain and corrected by 1 - 3/(4m - 5)."""
    plain = float((np.mean(b) - np.mean(a)) / np.std(a, ddof=1))
    return plain, plain * (1 - 3 / (4 * len(a) - 5))


def log_response_ratio(a: Values, b: Values) -> tuple[float, float, float]:
    """Return ln(mean B / mean A), its bias-corrected form, and its standard error; for ratio scales only."""
    m, n = len(a), len(b)
    mean_a, mean_b = float(np.mean(a)), float(np.mean(b))
    part_a = float(np.var(a, ddof=1)) / (m * mean_a**2)
    part_b = float(np.var(b, ddof=1)) / (n * mean_b**2)
    plain = math.log(mean_b / mean_a)
    return plain, plain + (part_b - part_a) / 2, math.sqrt(part_a + part_b)


def two_sd_band(a: Values) -> tuple[float, float]:
    """Return the baseline mean -+ 2 SD: a picture only, wild with three points (Gottman & Leiblum 1974, memory)."""
    mean, sd = float(np.mean(a)), float(np.std(a, ddof=1))
    return mean - 2 * sd, mean + 2 * sd


def longest_run_outside(a: Values, b: Values) -> int:
    """Return the longest run of later values above the two-SD band."""
    _, high = two_sd_band(a)
    longest = run = 0
    for value in b:
        run = run + 1 if value > high else 0
        longest = max(longest, run)
    return longest


def split_middle(y: Values) -> tuple[float, float]:
    """Return slope and intercept of the split-middle line at x = 1, 2, ...: a drawing aid (White 1974, from memory)."""
    array = np.asarray(y, dtype=float)
    x = np.arange(1, array.size + 1, dtype=float)
    half = array.size // 2
    x1, x2 = float(np.median(x[:half])), float(np.median(x[-half:]))
    y1, y2 = float(np.median(array[:half])), float(np.median(array[-half:]))
    slope = (y2 - y1) / (x2 - x1)
    return slope, float(np.median(array - slope * x))


def phase_effect(key: str, months: Values, baseline: Values, later: Values) -> PhaseEffect:
    """Return NAP and Tau of later probes against the baseline's, with Newcombe's interval and the baseline's slope."""
    m, n = len(baseline), len(later)
    if m < 3 or n < 3:
        nan = math.nan
        return PhaseEffect(key, m, n, nan, nan, nan, nan, nan, ("three probes in each phase are needed",))
    value = nap(baseline, later)
    low, high = auc_interval(value, m, n)
    return PhaseEffect(key, m, n, value, low, high, 2 * value - 1, theil_sen(months[:m], baseline).slope)
