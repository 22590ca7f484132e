"""Differences between groups over speaker means, in the measure's unit and standardised, with intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import Field, dataclass, replace
from typing import Any, ClassVar, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from .frame import Prepared
from .noncentral import CONFIDENCE, correction, found_at_80, noncentral_limits
from .permute import permuted_between, permuted_mixed, permuted_within
from .question import Question

Values = npt.NDArray[np.float64]
LEAST = 3  # speakers a group below which nothing is compared; own choice
_NAN = math.nan


class _WithP(Protocol):
    """A dataclass that holds a p."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    @property
    def p(self) -> float: ...


_Tested = TypeVar("_Tested", bound=_WithP)


@dataclass(frozen=True, slots=True)
class Effect:
    """Group ``second`` less group ``first`` over speaker means: 95 % intervals, p by permutation, and adjusted.

    ``kind``: ``paired`` over the speakers who have both groups, ``between`` over those who have one. ``n_first``,
    ``n_second``: speakers (the pairs, where speakers have both); ``n_aside``: speakers of either group that this
    comparison can't use. ``g``: Hedges's g. ``p_everyone``: p with those aside too, values within speakers and speakers
    between groups permuted at once. ``found_at_80``: the smallest true difference that would be found four times in
    five.
    """

    measure: str
    first: str
    second: str
    n_first: int
    n_second: int
    mean_first: float = _NAN
    mean_second: float = _NAN
    difference: float = _NAN
    low: float = _NAN
    high: float = _NAN
    g: float = _NAN
    g_low: float = _NAN
    g_high: float = _NAN
    p: float = _NAN
    p_holm: float = _NAN
    p_fdr: float = _NAN
    kind: str = "between"
    n_tokens_first: int = 0
    n_tokens_second: int = 0
    n_aside: int = 0
    p_everyone: float = _NAN
    found_at_80: float = _NAN


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


def all_effects(prepared: Prepared, question: Question) -> list[Effect]:
    """Return the effect of each measure and pair, p adjusted over all of them (Holm; Benjamini-Hochberg)."""
    found = []
    for measure in prepared.measures:
        means, counts = prepared.speaker_means(measure), prepared.speaker_counts(measure)
        for first, second in prepared.pairs(question.reference):
            x, y = (means[group].to_numpy(dtype=np.float64) for group in (first, second))
            one, used = _of_pair(measure, first, second, x, y, question)
            tokens = [int(counts[group].to_numpy()[used & np.isfinite(own)].sum()) for group, own in
                      ((first, x), (second, y))]  # fmt: skip
            found.append(replace(one, n_tokens_first=tokens[0], n_tokens_second=tokens[1]))
    return adjusted(found)


def _of_pair(
    measure: str, first: str, second: str, x: Values, y: Values, question: Question
) -> tuple[Effect, npt.NDArray[np.bool_]]:
    """The effect over the speakers who have both, where three have; else over those who have one; and who they are."""
    has_x, has_y = np.isfinite(x), np.isfinite(y)
    both, single = has_x & has_y, has_x ^ has_y
    paired = bool(both.sum() >= LEAST or not single.any())
    used = both if paired else single
    one = effect_of(measure, first, second, x[used], y[used], paired=paired, question=question)
    one = replace(one, n_aside=int((has_x | has_y).sum() - used.sum()))
    x_only, y_only = x[has_x & ~has_y], y[has_y & ~has_x]
    if both.sum() and x_only.size and y_only.size and x_only.size + y_only.size >= LEAST:
        everyone = permuted_mixed((x[both], y[both]), x_only, y_only, n=question.n_permutations, seed=question.seed)
        one = replace(one, p_everyone=everyone)
    return one, used


def effect_of(
    measure: str, first: str, second: str, x: Values, y: Values, *, paired: bool, question: Question
) -> Effect:
    """Return the effect between two groups from speaker means (NaN where a speaker has none)."""
    if paired:
        both = np.isfinite(x) & np.isfinite(y)
        x, y = x[both], y[both]
    else:
        x, y = x[np.isfinite(x)], y[np.isfinite(y)]
    kind = "paired" if paired else "between"
    if min(x.size, y.size) < LEAST:
        return Effect(measure, first, second, x.size, y.size, kind=kind)
    low, high, error, df = interval(x, y, paired=paired)
    draw = permuted_within if paired else permuted_between
    return Effect(
        measure, first, second, x.size, y.size, float(x.mean()), float(y.mean()), float(y.mean() - x.mean()), low, high,
        *(hedges_within(x.tolist(), y.tolist()) if paired else hedges_between(x.tolist(), y.tolist())),
        draw(x, y, n=question.n_permutations, seed=question.seed), kind=kind, found_at_80=found_at_80(error, df),
    )  # fmt: skip


def interval(x: Values, y: Values, *, paired: bool) -> tuple[float, float, float, float]:
    """95 % interval of the difference of means (paired t, or Welch's), its standard error and degrees of freedom."""
    from scipy.special import stdtrit

    difference = float(y.mean() - x.mean())
    if paired:
        error, df = float(np.std(y - x, ddof=1)) / math.sqrt(x.size), float(x.size - 1)
    else:
        a, b = float(np.var(x, ddof=1)) / x.size, float(np.var(y, ddof=1)) / y.size
        error = math.sqrt(a + b)
        df = (a + b) ** 2 / (a**2 / (x.size - 1) + b**2 / (y.size - 1)) if error > 0 else 1.0
    half = float(stdtrit(df, 0.5 + CONFIDENCE / 2)) * error
    return difference - half, difference + half, error, df


def adjusted(tested: Sequence[_Tested]) -> list[_Tested]:
    """Return results that have ``p`` with ``p_holm`` and ``p_fdr`` over all of them.

    Holm (1979), Scand J Stat 6:65-70; Benjamini & Hochberg (1995), J R Stat Soc B 57:289-300.
    """
    p = np.array([one.p for one in tested], dtype=float)
    holm, fdr = holm_and_fdr(p)
    return [replace(one, p_holm=float(a), p_fdr=float(b)) for one, a, b in zip(tested, holm, fdr, strict=True)]


def holm_and_fdr(p: Values) -> tuple[Values, Values]:
    """Return p adjusted by Holm and by Benjamini & Hochberg; NaN stays and does not count.

    Examples
    --------
    >>> [one.tolist() for one in holm_and_fdr(np.array([0.01, 0.04, 0.03]))]
    [[0.03, 0.06, 0.06], [0.03, 0.04, 0.04]]
    """
    holm, fdr = np.full(p.size, np.nan), np.full(p.size, np.nan)
    order = np.argsort(p, kind="stable")[: int(np.isfinite(p).sum())]
    n = order.size
    rank = np.arange(n)
    holm[order] = np.minimum(1.0, np.maximum.accumulate((n - rank) * p[order]))
    fdr[order] = np.minimum(1.0, np.minimum.accumulate((n / (rank + 1) * p[order])[::-1])[::-1])
    return holm, fdr
