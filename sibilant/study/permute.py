"""p values by permuting whole speakers, exact where all arrangements can be counted."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
MOST_COUNTED = 20_000
_SLACK = 1e-9


def permuted_between(x: Values, y: Values, *, n: int = 9999, seed: int = 2026) -> float:
    """Two-sided p of a difference between two groups of speakers, speakers moved between the groups.

    All arrangements are counted up to 20,000 of them; beyond, ``n`` are drawn and p is (1 + as far) / (1 + n), as
    Phipson & Smyth (2010), Stat Appl Genet Mol Biol 9:39 (from memory).

    Examples
    --------
    >>> permuted_between(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0]))
    0.1
    """
    pooled = np.concatenate([x, y])
    size = pooled.size
    observed = abs(float(y.mean() - x.mean()))
    total = float(pooled.sum())
    exact = math.comb(size, x.size) <= MOST_COUNTED
    if exact:
        chosen = np.array(list(combinations(range(size), x.size)))
        sums = pooled[chosen].sum(axis=1)
    else:
        rng = np.random.default_rng([seed, size])
        sums = np.array([pooled[rng.permutation(size)[: x.size]].sum() for _ in range(n)])
    differences = np.abs((total - sums) / y.size - sums / x.size)
    return _share(differences, observed, exact=exact)


def permuted_within(x: Values, y: Values, *, n: int = 9999, seed: int = 2026) -> float:
    """Two-sided p of a mean difference within speakers, each speaker's two values swapped or not.

    Examples
    --------
    >>> permuted_within(np.array([1.0, 2.0, 3.0]), np.array([2.0, 4.0, 6.0]))
    0.25
    """
    difference = y - x
    exact = 2**difference.size <= MOST_COUNTED
    if exact:
        bits = (np.arange(2**difference.size)[:, np.newaxis] >> np.arange(difference.size)) & 1
        signs = 1.0 - 2.0 * bits
    else:
        signs = np.random.default_rng([seed, difference.size]).choice([-1.0, 1.0], (n, difference.size))
    means = np.abs((signs * difference).mean(axis=1))
    return _share(means, abs(float(difference.mean())), exact=exact)


def _share(drawn: Values, observed: float, *, exact: bool) -> float:
    """Share of arrangements at least as far as the one observed."""
    far = int(np.sum(drawn >= observed * (1 - _SLACK) - 1e-300))
    return far / drawn.size if exact else (1 + far) / (1 + drawn.size)
