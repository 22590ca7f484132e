"""Levels of a session some of whose sounds are buried in the noise: from their sums of power, none left out.

A threshold of its own would keep the sounds whose level came out high.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping

from ..terms.summaries import MeasureSummary
from ..terms.sums import Pooled, pooled_level_db

LEVELS = {"low_mid_db": ("low", "mid"), "mid_high_db": ("mid", "high")}
"""Levels that are one band's power over another's, by measure."""
Sums = Mapping[str, tuple[float, float]]


def pooled_level(sums: Sums, *, spread_db: float = 0.0) -> Pooled:
    """Return the level of the first power over the second, pooled over words; the stronger one stands below.

    Examples
    --------
    >>> round(pooled_level({"seal": (0.010, 1.0), "bus": (0.006, 1.0), "sun": (0.011, 1.0)}).value, 1)
    -20.5
    >>> round(pooled_level({"seal": (0.01, 1.0), "bus": (-0.001, 1.0), "sun": (0.012, 1.0)}).at_most, 1)
    -18.2
    """
    totals = [math.fsum(pair[side] for pair in sums.values()) for side in (0, 1)]
    turned = totals[0] > totals[1]
    rows = [{"over": pair[turned], "under": pair[not turned]} for pair in sums.values()]
    found = pooled_level_db(rows, "over", "under", spread_db=spread_db)
    return found if not turned else Pooled(-found.value, found.error, -found.at_most, found.n)


def is_pooled(summary: MeasureSummary) -> bool:
    """Say whether some of a session's sounds are buried, so that its level is a pooled one."""
    return len(summary.sums) > len({word.word for word in summary.words})


def pooled_difference(before: MeasureSummary, new: MeasureSummary, shared: Collection[str]) -> float:
    """Return new minus before, pooled over the words that both have; NaN where either is buried as a whole."""
    was, now = (pooled_level({word: one.sums[word] for word in shared}) for one in (before, new))
    return now.value - was.value
