"""p values by permuting whole speakers, exact where all arrangements can be counted.

A speaker who has both groups keeps both, and the two values change places or not; a speaker who has one changes places
with another who has one. Where a study holds both kinds, both are done at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
MOST_COUNTED = 20_000  # arrangements up to which all are counted, else drawn
BLOCK = 2_000_000
"""Values that a block of drawn arrangements may hold, so that memory does not grow with speakers."""
_SLACK = 1e-9  # equal but for rounding counts as equal


def permuted_between(x: Values, y: Values, *, n: int = 9999, seed: int = 2026) -> float:
    """Two-sided p of a difference between two groups of speakers, speakers moved between the groups.

    All arrangements are counted up to 20,000 of them; beyond, ``n`` are drawn and p is (1 + as far) / (1 + n), as
    Phipson & Smyth (2010), Stat Appl Genet Mol Biol 9:39 (from memory).

    Examples
    --------
    >>> permuted_between(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0]))
    0.1
    """
    exact = math.comb(x.size + y.size, x.size) <= MOST_COUNTED
    differences = _all_between(x, y) if exact else _drawn_between(x, y, n, np.random.default_rng([seed, x.size]))
    return _share(np.abs(differences), abs(float(y.mean() - x.mean())), exact=exact)


def permuted_within(x: Values, y: Values, *, n: int = 9999, seed: int = 2026) -> float:
    """Two-sided p of a mean difference within speakers, each speaker's two values swapped or not.

    Examples
    --------
    >>> permuted_within(np.array([1.0, 2.0, 3.0]), np.array([2.0, 4.0, 6.0]))
    0.25
    """
    difference = y - x
    exact = 2**difference.size <= MOST_COUNTED
    means = _all_within(difference) if exact else _drawn_within(difference, n, np.random.default_rng([seed, x.size]))
    return _share(np.abs(means), abs(float(difference.mean())), exact=exact)


def permuted_mixed(both: tuple[Values, Values], x: Values, y: Values, *, n: int = 9999, seed: int = 2026) -> float:
    """Two-sided p where some speakers have both groups (``both``: their values in each) and others one (``x``, ``y``).

    The statistic is the mean of the two differences, each weighted by the inverse of a variance that no arrangement
    changes: the mean square of the pairs' differences, and the spread of all single speakers.

    Examples
    --------
    >>> pairs = np.array([1.0, 2.0, 3.0]), np.array([2.0, 3.0, 4.5])
    >>> permuted_mixed(pairs, np.array([0.0, 1.0, 2.0]), np.array([3.0, 4.0, 5.0]))
    0.0125
    """
    difference = both[1] - both[0]
    pooled = np.concatenate([x, y])
    inside = float(np.mean(difference**2)) / difference.size
    outside = float(np.var(pooled, ddof=1)) * (1 / x.size + 1 / y.size)
    if not (inside > 0 and outside > 0):
        return math.nan
    observed = abs(float(difference.mean()) / inside + float(y.mean() - x.mean()) / outside)
    ways = 2**difference.size * math.comb(pooled.size, x.size) if difference.size < 15 else MOST_COUNTED + 1
    if ways <= MOST_COUNTED:
        drawn = _all_within(difference)[:, np.newaxis] / inside + _all_between(x, y) / outside
        return _share(np.abs(drawn.reshape(-1)), observed, exact=True)
    rng = np.random.default_rng([seed, difference.size, pooled.size])
    drawn = _drawn_within(difference, n, rng) / inside + _drawn_between(x, y, n, rng) / outside
    return _share(np.abs(drawn), observed, exact=False)


def _all_between(x: Values, y: Values) -> Values:
    pooled = np.concatenate([x, y])
    chosen = np.array(list(combinations(range(pooled.size), x.size)))
    sums = pooled[chosen].sum(axis=1)
    return np.asarray((pooled.sum() - sums) / y.size - sums / x.size)


def _drawn_between(x: Values, y: Values, n: int, rng: np.random.Generator) -> Values:
    pooled = np.concatenate([x, y])
    found = []
    for size in _blocks(n, pooled.size):
        rows = rng.permuted(np.tile(pooled, (size, 1)), axis=1)
        found.append(rows[:, x.size :].mean(axis=1) - rows[:, : x.size].mean(axis=1))
    return np.concatenate(found)


def _all_within(difference: Values) -> Values:
    bits = (np.arange(2**difference.size)[:, np.newaxis] >> np.arange(difference.size)) & 1
    return np.asarray(((1.0 - 2.0 * bits) * difference).mean(axis=1))


def _drawn_within(difference: Values, n: int, rng: np.random.Generator) -> Values:
    found = [
        (1.0 - 2.0 * rng.integers(0, 2, (size, difference.size), dtype=np.int8)) @ difference / difference.size
        for size in _blocks(n, difference.size)
    ]
    return np.concatenate(found)


def _blocks(n: int, size: int) -> Iterator[int]:
    """Sizes of blocks that add up to ``n``."""
    most = max(1, BLOCK // size)
    while n > 0:
        yield min(n, most)
        n -= most


def _share(drawn: Values, observed: float, *, exact: bool) -> float:
    """Share of arrangements at least as far as the one observed."""
    far = int(np.sum(drawn >= observed * (1 - _SLACK) - 1e-300))
    return far / drawn.size if exact else (1 + far) / (1 + drawn.size)
