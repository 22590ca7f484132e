"""Quantiles of t and chi-square, and the normal law: own lines, since loading scipy's takes a tenth of a second."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

_SMALLEST, _PRECISION, _MOST_STEPS = 1e-300, 1e-16, 10_000  # stand-in for 0, double precision, and never reached


@lru_cache(maxsize=4096)
def t_quantile(df: float, level: float = 0.95) -> float:
    """Return the two-sided t quantile: |T| with ``df`` degrees of freedom stays below it with probability ``level``.

    P(|T| > t) = I(df / (df + t^2); df/2, 1/2), solved by Newton's steps within a bracket.

    Examples
    --------
    >>> round(t_quantile(2), 4), round(t_quantile(9.5, 0.9), 4)
    (4.3027, 1.8222)
    """
    if not df > 0:
        return math.nan
    start = NormalDist().inv_cdf(0.5 + level / 2)
    if math.isinf(df):
        return start
    constant = math.lgamma((df + 1) / 2) - math.lgamma(df / 2) - 0.5 * math.log(df * math.pi)

    def density(t: float) -> float:
        return 2 * math.exp(constant - (df + 1) / 2 * math.log1p(t * t / df))

    return _solved(lambda t: 1 - _beta_below(df / (df + t * t), df / 2, 0.5), density, level, start)


@lru_cache(maxsize=4096)
def chi_square_quantile(df: float, tail: float) -> float:
    """Return the value that chi-square with ``df`` degrees of freedom passes with probability ``tail``.

    Examples
    --------
    >>> round(chi_square_quantile(2, 0.025), 4)
    7.3778
    """
    a = df / 2
    start = df * max(1 - 2 / (9 * df) + NormalDist().inv_cdf(1 - tail) * math.sqrt(2 / (9 * df)), 0.02) ** 3

    def density(x: float) -> float:
        return 0.5 * math.exp((a - 1) * math.log(x / 2) - x / 2 - math.lgamma(a))

    return _solved(lambda x: _gamma_below(a, x / 2), density, 1 - tail, start)


def normal_cdf(x: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the standard normal distribution function of an array, to 14 digits.

    By the complementary error function in three ranges. Source: Cody 1969, Math Comp 23:631-637 (coefficients from
    memory, held against scipy in the tests).

    Examples
    --------
    >>> normal_cdf([0.0, 1.96]).round(4).tolist()
    [0.5, 0.975]
    """
    z = np.asarray(x, dtype=np.float64) / -math.sqrt(2)
    far = np.minimum(np.abs(z), 40.0)
    tail = np.where(far > 4, _erfc_far(np.maximum(far, 4.0)), _erfc_middle(np.clip(far, 0.46, 4.0)))
    near = 1 - np.clip(z, -0.47, 0.47) * _ratio(_NEAR, np.minimum(far, 0.47) ** 2)
    return np.asarray(0.5 * np.where(far <= 0.46875, near, np.where(z < 0, 2 - tail, tail)))


def _solved(below: Callable[[float], float], density: Callable[[float], float], level: float, start: float) -> float:
    """Where a growing distribution function reaches a level: Newton's steps, halved where they leave the bracket."""
    low, high, x = 0.0, math.inf, start
    for _ in range(100):
        past = below(x) - level
        low, high = (low, x) if past > 0 else (x, high)
        slope = density(x)
        step = past / slope if slope > 0 else math.inf
        if abs(step) <= 1e-8 * x:  # the next step would be about its square
            return x - step
        if low < x - step < high:
            x -= step
        else:
            x = (low + high) / 2 if math.isfinite(high) else 2 * x
    return x


def _beta_below(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I(x; a, b) by its continued fraction (DLMF 8.17.22)."""
    if x >= 1:
        return 1.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x > (a + 1) / (a + b + 2):
        return 1 - front / b * _fraction(lambda m: _beta_step(m, b, a, 1 - x))
    return front / a * _fraction(lambda m: _beta_step(m, a, b, x))


def _beta_step(place: int, a: float, b: float, x: float) -> tuple[float, float]:
    m = place // 2
    if place % 2:
        return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
    return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)), 1.0


def _fraction(step: Callable[[int], tuple[float, float]]) -> float:
    """1 / (1 + s1/(b1 + s2/(b2 + ...))) by Lentz's way."""
    value, c, d = 1.0, 1.0, 0.0
    for place in range(1, _MOST_STEPS):
        top, bottom = step(place)
        d = 1 / (bottom + top * d or _SMALLEST)
        c = bottom + top / c or _SMALLEST
        value *= c * d
        if abs(c * d - 1) < _PRECISION:
            break
    return 1 / value


def _gamma_below(a: float, x: float) -> float:
    """Regularised incomplete gamma function P(a, x): series (DLMF 8.11.4), fraction (8.9.2) beyond a + 1."""
    if x <= 0:
        return 0.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a + 1))
    if x < a + 1:
        term = total = 1.0
        for n in range(1, _MOST_STEPS):
            term *= x / (a + n)
            total += term
            if term < _PRECISION * total:
                break
        return front * total
    b0 = x + 1 - a
    scaled = _fraction(lambda n: (-n * (n - a) / (b0 + 2 * n - 2) / (b0 + 2 * n), 1.0))
    return 1 - front * a / b0 * scaled


_NEAR = (
    (3.16112374387056560e00, 1.13864154151050156e02, 3.77485237685302021e02, 3.20937758913846947e03),
    (2.36012909523441209e01, 2.44024637934444173e02, 1.28261652607737228e03, 2.84423683343917062e03),
    1.85777706184603153e-1,
)
"""Cody's coefficients of erf(x)/x in x^2; top, bottom, and the top's highest."""
_MIDDLE = (
    (
        5.64188496988670089e-1,
        8.88314979438837594e0,
        6.61191906371416295e01,
        2.98635138197400131e02,
        8.81952221241769090e02,
        1.71204761263407058e03,
        2.05107837782607147e03,
        1.23033935479799725e03,
    ),
    (
        1.57449261107098347e01,
        1.17693950891312499e02,
        5.37181101862009858e02,
        1.62138957456669019e03,
        3.29079923573345963e03,
        4.36261909014324716e03,
        3.43936767414372164e03,
        1.23033935480374942e03,
    ),
    2.15311535474403846e-8,
)
_FAR = (
    (
        3.05326634961232344e-1,
        3.60344899949804439e-1,
        1.25781726111229246e-1,
        1.60837851487422766e-2,
        6.58749161529837803e-4,
    ),
    (
        2.56852019228982242e00,
        1.87295284992346725e00,
        5.27905102951428412e-1,
        6.05183413124413191e-2,
        2.33520497626869185e-3,
    ),
    1.63153871373020978e-2,
)


def _ratio(
    of: tuple[tuple[float, ...], tuple[float, ...], float], x: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Ratio of two polynomials of one degree; the bottom's highest coefficient is 1."""
    tops, bottoms, highest = of
    top, bottom = highest * x + tops[0], x + bottoms[0]
    for above, under in zip(tops[1:], bottoms[1:], strict=True):
        top, bottom = top * x + above, bottom * x + under
    return np.asarray(top / bottom)


def _erfc_middle(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.asarray(np.exp(-x * x) * _ratio(_MIDDLE, x))


def _erfc_far(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    inverse = 1 / (x * x)
    return np.asarray(np.exp(-x * x) / x * (1 / math.sqrt(math.pi) - inverse * _ratio(_FAR, inverse)))
