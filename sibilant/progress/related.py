r"""Days that resemble each other: what bunched baselines leave out, and a limit under a stated decay.

In: days of probes. Out: factors and sentences. How long days resemble each other can't be learnt from a few baselines
(of clients with a true decay of 60 days, 41 % fit "a year"); so a decay is stated, and what hangs on it is printed
under both assumptions. Own: likeness of two days is taken as exp(-gap / decay), that of tokens as none.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

DECAY_DAYS = 60.0
"""The stated default decay: health, teeth and mood are taken to last for weeks to months (own choice)."""
FULL_GAP_DAYS = 21
"""Gap between baselines that the full promise needs."""


@dataclass(frozen=True, slots=True)
class Likeness:
    """How alike the days are: mean over pairs of baselines, and over the later probe with each baseline."""

    among: float
    with_later: float
    k: int

    @property
    def seen(self) -> float:
        """Share of the day variance that the baselines' own SD shows: 1 - mean likeness."""
        return 1 - self.among

    @property
    def of_difference(self) -> float:
        """Variance of (later - baseline mean) over the day variance: 1 + (1 + (k - 1) r) / k - 2 c."""
        return 1 + (1 + (self.k - 1) * self.among) / self.k - 2 * self.with_later


def likeness(baseline: Sequence[dt.date], later: dt.date, *, decay_days: float = DECAY_DAYS) -> Likeness:
    """Return how alike days are under exp(-gap / decay).

    Examples
    --------
    >>> days = [dt.date(2026, 1, 5), dt.date(2026, 1, 12), dt.date(2026, 1, 19)]
    >>> found = likeness(days, dt.date(2026, 7, 1))
    >>> round(found.seen, 2), round(found.of_difference, 2)
    (0.14, 1.79)
    """
    on = np.asarray([day.toordinal() for day in baseline], dtype=np.float64)
    alike: npt.NDArray[np.float64] = np.exp(-np.abs(on[:, np.newaxis] - on) / decay_days)
    pairs = alike[~np.eye(on.size, dtype=bool)]
    across = np.exp(-np.abs(later.toordinal() - on) / decay_days)
    return Likeness(float(pairs.mean()) if pairs.size else 0.0, float(across.mean()), on.size)


def widened(sd: float, floor: float, alike: Likeness) -> float:
    r"""Return by what a limit for independent days grows where days are alike.

    With the token error e and the day variance ``d^2 = (s^2 - e^2) / (1 - r)``, the difference of a later probe has the
    variance ``e^2 (1 + 1/k) + d^2 v``; the factor is its root over that under independent days, never below 1.

    Parameters
    ----------
    sd : float
        SD of a probe's mean as taken for the limit.
    floor : float
        Error that the tokens alone give (NaN: none is known, all of the SD is the days').
    alike : Likeness
        From :func:`likeness`.

    Examples
    --------
    >>> round(widened(230.0, 110.0, Likeness(0.0, 0.0, 3)), 2), round(widened(230.0, 110.0, Likeness(0.8, 0.1, 3)), 2)
    (1.0, 2.25)
    """
    tokens = min(floor, sd) ** 2 if math.isfinite(floor) else 0.0
    independent = sd**2 * (1 + 1 / alike.k)
    if not independent > 0:
        return 1.0
    days = (sd**2 - tokens) / max(alike.seen, 1e-6)
    return max(1.0, math.sqrt((tokens * (1 + 1 / alike.k) + days * alike.of_difference) / independent))


def smallest_gap(baseline: Sequence[dt.date]) -> int | None:
    """Return the smallest gap between baselines in days; None with fewer than two."""
    on = sorted(day.toordinal() for day in baseline)
    return min((b - a for a, b in pairwise(on)), default=None)


def bunched(baseline: Sequence[dt.date]) -> bool:
    """Say whether a gap between baselines is shorter than the full promise needs."""
    gap = smallest_gap(baseline)
    return gap is not None and gap < FULL_GAP_DAYS


def bunched_words(baseline: Sequence[dt.date]) -> str:
    """Return why a verdict is provisional; empty where the baselines stand three weeks apart.

    Examples
    --------
    >>> bunched_words([dt.date(2026, 1, 5), dt.date(2026, 1, 12), dt.date(2026, 1, 19)])
    'baselines 7 days apart: days may be alike, so the verdict is provisional; three weeks apart give the full promise'
    """
    if not bunched(baseline):
        return ""
    gap = smallest_gap(baseline)
    return (
        f"baselines {gap} day{'s' * (gap != 1)} apart: days may be alike, so the verdict is provisional;"
        f" {_weeks(FULL_GAP_DAYS)} apart give the full promise"
    )


def next_baseline(baseline: Sequence[dt.date], *, wanted: int = 3) -> str:
    """Return when to take the next baseline, and what taking it sooner costs; empty where there are enough.

    Examples
    --------
    >>> print(next_baseline([dt.date(2026, 1, 5)]))  # doctest: +NORMALIZE_WHITESPACE
    next baseline: 2026-01-26 or later, three weeks after the last; sooner is provisional (a limit that allows for days
    alike over 60 days is 3.1 times as wide at one week, 1.9 at three). Therapy need not wait for it
    """
    if not baseline or len(set(baseline)) >= wanted:
        return ""
    day = max(baseline) + dt.timedelta(days=FULL_GAP_DAYS)
    week, full = cost_of_spacing(7, wanted), cost_of_spacing(FULL_GAP_DAYS, wanted)
    return (
        f"next baseline: {day} or later, {_weeks(FULL_GAP_DAYS)} after the last; sooner is provisional (a limit that"
        f" allows for days alike over {DECAY_DAYS:.0f} days is {week:.1f} times as wide at one week, {full:.1f} at"
        f" three). Therapy need not wait for it"
    )


def cost_of_spacing(gap_days: float, k: int, *, decay_days: float = DECAY_DAYS) -> float:
    """Return how much wider a limit is that allows for related days, half a year on, tokens left aside.

    Examples
    --------
    >>> [round(cost_of_spacing(gap, 3), 1) for gap in (1, 7, 14, 21, 42)]
    [8.0, 3.1, 2.2, 1.9, 1.4]
    """
    first = dt.date(2026, 1, 5)
    days = [first + dt.timedelta(days=round(gap_days * i)) for i in range(k)]
    return widened(1.0, math.nan, likeness(days, days[-1] + dt.timedelta(days=182), decay_days=decay_days))


def _weeks(days: int) -> str:
    return {7: "one week", 14: "two weeks", 21: "three weeks"}.get(days, f"{days} days")
