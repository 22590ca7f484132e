"""The difference of two shares of the same words, with the interval that knows that they are the same words."""

from __future__ import annotations

import math

from .proportions import wilson


def newcombe_paired(
    both: int, gained: int, lost: int, neither: int, *, level: float = 0.95
) -> tuple[float, float, float]:
    r"""Return later - earlier share over the same words, and its interval.

    Square-and-add of the two Wilson intervals, less what the words have in common:
    ``delta^2 = (p - l_p)^2 - 2 phi (p - l_p)(u_q - q) + (u_q - q)^2`` and its mirror image; ``phi`` is the correlation
    of the two answers, its cross product ``ad - bc`` drawn towards 0 by n/2 where it is positive.

    Parameters
    ----------
    both, gained, lost, neither : int
        Words right both times, only later, only earlier, and neither time.
    level : float, optional
        Of the interval.

    Returns
    -------
    tuple of float
        Difference, low, high; NaN without words.

    Notes
    -----
    Source: Newcombe 1998, Stat Med 17:2635-2650, method 10.

    Examples
    --------
    >>> [round(value, 4) for value in newcombe_paired(20, 12, 2, 16)]
    [0.2, 0.0562, 0.3292]
    """
    n = both + gained + lost + neither
    if not n:
        return math.nan, math.nan, math.nan
    later, earlier = both + gained, both + lost
    p, q = later / n, earlier / n
    low_p, high_p = wilson(later, n, level=level)
    low_q, high_q = wilson(earlier, n, level=level)
    phi = _phi(both, gained, lost, neither)
    below = _reach(p - low_p, high_q - q, phi)
    above = _reach(high_p - p, q - low_q, phi)
    return p - q, p - q - below, p - q + above


def _reach(one: float, other: float, phi: float) -> float:
    return math.sqrt(max(0.0, one * one - 2 * phi * one * other + other * other))


def _phi(both: int, gained: int, lost: int, neither: int) -> float:
    n = both + gained + lost + neither
    margins = (both + gained) * (lost + neither) * (both + lost) * (gained + neither)
    if not margins:
        return 0.0
    cross: float = both * neither - gained * lost
    if cross > 0:
        cross = max(cross - n / 2, 0.0)
    return cross / math.sqrt(margins)
