"""Differences between groups over speaker means, in the measure's unit and standardised, with intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from .frame import Prepared
from .permute import permuted_between, permuted_within
from .question import Question

Values = npt.NDArray[np.float64]
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Effect:
    """Group ``second`` less group ``first`` over speaker means: 95 % intervals, p by permutation, and adjusted.

    ``n_first``, ``n_second``: speakers (the pairs, where speakers have both). ``g``: Hedges's g.
    """

    measure: str
    first: str
    second: str
    n_first: int
    n_second: int
    mean_first: float
    mean_second: float
    difference: float
    low: float
    high: float
    g: float
    g_low: float
    g_high: float
    p: float
    p_holm: float = math.nan
    p_fdr: float = math.nan


def hedges_between(x: Sequence[float], y: Sequence[float]) -> tuple[float, float, float]:
    r"""Hedges's g of two groups of speakers, mean(y) - mean(x), with its 95 % interval.

    Notes
    -----
    :math:`g = J(\nu)(\bar y - \bar x) / s_p` with the pooled SD, :math:`\nu = n_x + n_y - 2` and the exact correction
    :math:`J = \Gamma(\nu/2) / (\sqrt{\nu/2}\,\Gamma((\nu-1)/2))` (Hedges 1981, J Educ Stat 6:107-128); interval from
    the noncentral t distribution (Steiger & Fouladi 1997), whose limits are of the true difference and so take no
    correction. Both from memory. NaN where a group has no spread.

    Examples
    --------
    >>> [round(v, 2) for v in hedges_between([1.0, 2.0, 3.0], [3.0, 4.0, 5.0])]
    [1.6, -0.15, 4.02]
    """
    a, b = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    df = a.size + b.size - 2
    pooled = math.sqrt(float(np.sum((a - a.mean()) ** 2) + np.sum((b - b.mean()) ** 2)) / df)
    if not pooled > 0:
        return math.nan, math.nan, math.nan
    unit = math.sqrt(1 / a.size + 1 / b.size)
    d = float(b.mean() - a.mean()) / pooled
    low, high = noncentral_limits(d / unit, df)
    j = correction(df)
    return j * d, low * unit, high * unit


def hedges_within(x: Sequence[float], y: Sequence[float]) -> tuple[float, float, float]:
    r"""Hedges's g of pairs, mean(y - x) over the average SD of the two, with its 95 % interval.

    Notes
    -----
    :math:`d_{av} = \overline{(y - x)} / \sqrt{(s_x^2 + s_y^2) / 2}` corrected by J(n - 1); limits are those of the
    noncentral t of the paired test, times :math:`\sqrt{2 (s_x^2 + s_y^2 - 2 s_{xy}) / (n (s_x^2 + s_y^2))}` (Algina &
    Keselman 2003, Educ Psychol Meas 63:537-553; from memory). Multiplied by J they covered the truth in 92 % of
    simulated studies of 12 speakers; as they are, in 95 to 98 % (measured by this project).
    """
    a, b = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    n = a.size
    difference = b - a
    both = float(np.var(a, ddof=1) + np.var(b, ddof=1))
    spread = float(np.std(difference, ddof=1))
    if not (both > 0 and spread > 0):
        return math.nan, math.nan, math.nan
    unit = math.sqrt(2 * spread**2 / (n * both))
    low, high = noncentral_limits(float(difference.mean()) / (spread / math.sqrt(n)), n - 1)
    j = correction(n - 1)
    return j * float(difference.mean()) / math.sqrt(both / 2), low * unit, high * unit


def correction(df: int) -> float:
    """Hedges's exact correction for few degrees of freedom.

    Examples
    --------
    >>> round(correction(10), 4)
    0.9227
    """
    if df < 2:
        return math.nan
    return math.exp(math.lgamma(df / 2) - math.lgamma((df - 1) / 2)) / math.sqrt(df / 2)


def noncentral_limits(t: float, df: int) -> tuple[float, float]:
    r"""Noncentrality parameters for which ``t`` lies at the 97.5 and the 2.5 % point.

    Notes
    -----
    :math:`P(T \le t) = \int \Phi(t s - \lambda) f(s) ds`, :math:`s = \sqrt{\chi^2_\nu / \nu}`, by the trapezium rule
    over :math:`\log s`; library functions of the noncentral t fail where t is large.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr

    s, weight = _scales(df)
    reach = 10 + 12 * abs(t)

    def at(share: float) -> float:
        return float(brentq(lambda ncp: float(ndtr(t * s - ncp) @ weight) - share, t - reach, t + reach, xtol=1e-7))

    half = (1 - CONFIDENCE) / 2
    return at(1 - half), at(half)


@lru_cache(maxsize=64)
def _scales(df: int) -> tuple[Values, Values]:
    """Points of the SD ratio s and their weights."""
    from scipy.stats import chi2

    ends = np.sqrt(chi2.isf([1 - 1e-14, 1e-14], df) / df)
    low = max(float(ends[0]), 1e-7)
    u = np.linspace(math.log(low), math.log(float(ends[1])), 2001)
    s = np.exp(u)
    density = chi2.pdf(df * s**2, df) * 2 * df * s * s
    return s, density / density.sum()


def all_effects(prepared: Prepared, question: Question) -> list[Effect]:
    """Return the effect of each measure and pair, p adjusted over all of them (Holm; Benjamini-Hochberg)."""
    found = []
    for measure in prepared.measures:
        means = prepared.speaker_means(measure)
        for first, second in prepared.pairs(question.reference):
            found.append(effect_of(measure, first, second, means[first].to_numpy(), means[second].to_numpy(),
                                   paired=prepared.design == "within", question=question))  # fmt: skip
    return adjusted(found)


def effect_of(
    measure: str, first: str, second: str, x: Values, y: Values, *, paired: bool, question: Question
) -> Effect:
    """Return the effect between two groups from speaker means (NaN where a speaker has none)."""
    if paired:
        both = np.isfinite(x) & np.isfinite(y)
        x, y = x[both], y[both]
    else:
        x, y = x[np.isfinite(x)], y[np.isfinite(y)]
    nothing = math.nan
    if min(x.size, y.size) < 3:
        return Effect(measure, first, second, x.size, y.size, *[nothing] * 9)
    low, high = _interval(x, y, paired=paired)
    draw = permuted_within if paired else permuted_between
    return Effect(
        measure, first, second, x.size, y.size, float(x.mean()), float(y.mean()), float(y.mean() - x.mean()), low, high,
        *(hedges_within(x.tolist(), y.tolist()) if paired else hedges_between(x.tolist(), y.tolist())),
        draw(x, y, n=question.n_permutations, seed=question.seed),
    )  # fmt: skip


def _interval(x: Values, y: Values, *, paired: bool) -> tuple[float, float]:
    """95 % interval of the difference of means: paired t, or Welch's."""
    from scipy.special import stdtrit

    difference = float(y.mean() - x.mean())
    if paired:
        error, df = float(np.std(y - x, ddof=1)) / math.sqrt(x.size), float(x.size - 1)
    else:
        a, b = float(np.var(x, ddof=1)) / x.size, float(np.var(y, ddof=1)) / y.size
        error = math.sqrt(a + b)
        df = (a + b) ** 2 / (a**2 / (x.size - 1) + b**2 / (y.size - 1)) if error > 0 else 1.0
    half = float(stdtrit(df, 0.5 + CONFIDENCE / 2)) * error
    return difference - half, difference + half


def adjusted(effects: Sequence[Effect]) -> list[Effect]:
    """Return the effects with p adjusted over all of them."""
    from statsmodels.stats.multitest import multipletests

    tested = [number for number, effect in enumerate(effects) if math.isfinite(effect.p)]
    if not tested:
        return list(effects)
    p = [effects[number].p for number in tested]
    holm, fdr = (multipletests(p, method=name)[1] for name in ("holm", "fdr_bh"))
    found = list(effects)
    for place, number in enumerate(tested):
        found[number] = replace(found[number], p_holm=float(holm[place]), p_fdr=float(fdr[place]))
    return found
