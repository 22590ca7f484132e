"""How many words and probes a wanted change needs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .change import limit_factor
from .means import half_width, least_difference

WORDS = (10, 20, 30, 40)
BASELINES = (3, 4, 5)


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One design: words a probe and baseline probes, the limit to expect, and whether the wanted change passes it."""

    n_words: int
    k_baseline: int
    limit: float
    half_width: float
    least_between_two: float
    enough: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """Designs for one measure and wanted change, with the SDs assumed and where they come from."""

    key: str
    change: float
    token_sd: float
    day_sd: float
    source: str
    rows: tuple[PlanRow, ...]
    advice: str

    @property
    def smallest(self) -> PlanRow | None:
        """The design with the fewest recordings (words times baselines) that is enough."""
        able = [row for row in self.rows if row.enough]
        return min(able, key=lambda row: (row.n_words * row.k_baseline, row.k_baseline), default=None)


def plan(
    key: str,
    change: float,
    token_sd: float,
    *,
    day_sd: float = 0.0,
    source: str = "",
    words: Sequence[int] = WORDS,
) -> Plan:
    """Return the limit to expect for each design: t(.975, k-1) sqrt(1 + 1/k) sqrt(token_sd^2/n + day_sd^2).

    Examples
    --------
    >>> smallest = plan("centroid_hz", 600.0, 500.0).smallest
    >>> smallest.n_words, smallest.k_baseline, round(smallest.limit)
    (10, 4, 563)
    """
    size = abs(change)
    rows = []
    for n in words:
        for k in BASELINES:
            limit = limit_factor(k) * math.sqrt(token_sd**2 / n + day_sd**2)
            half, least = half_width(token_sd, n), least_difference(token_sd, n, day_sd=day_sd)
            rows.append(PlanRow(n, k, limit, half, least, limit <= size))
    return Plan(key, size, token_sd, day_sd, source, tuple(rows), _advice(rows, size, day_sd))


def _advice(rows: Sequence[PlanRow], size: float, day_sd: float) -> str:
    if any(row.enough for row in rows):
        return "a larger change than the limit is found about every second time or more; plan for more than the least"
    if day_sd and limit_factor(BASELINES[-1]) * day_sd > size:
        return "the day-to-day spread alone passes this change: more words cannot buy it back; repeat the baseline"
    return "no design listed is enough for this change; more words or more baselines are needed, or a larger change"
