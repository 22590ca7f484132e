"""A wanted change and spreads come in; how many words and probes it needs go out.

Each design tells its three ways to be wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..terms.lending import ClinicSpread
from .means import half_width, least_difference
from .planning import WORDS, YEAR_ALARM, Design, Spacing, spacings, trade
from .related import FULL_GAP_DAYS, cost_of_spacing


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One design: words and baselines, the limit to expect, three ways to be wrong, and whether it is enough.

    ``one_probe`` is how often one unchanged probe passes the limit, ``year`` how often an unchanged client is called
    larger than error in twelve monthly probes, ``missed`` how often the change is not called within three.
    """

    n_words: int
    k_baseline: int
    limit: float
    half_width: float
    least_between_two: float
    enough: bool
    one_probe: float
    year: float
    missed: float


@dataclass(frozen=True, slots=True)
class Plan:
    """Designs for one measure and wanted change, with the SDs assumed and where they come from.

    ``lent`` is what other clients lend (None: the plain rule); ``spacings`` what days between baselines cost the design
    of ``spaced`` (words, baselines): the smallest that is enough, else the largest.
    """

    key: str
    change: float
    token_sd: float
    day_sd: float
    source: str
    rows: tuple[PlanRow, ...]
    advice: str
    lent: ClinicSpread | None = None
    spacings: tuple[Spacing, ...] = ()
    spaced: tuple[int, int] = (0, 0)

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
    year_alarm: float = YEAR_ALARM,
    lent: ClinicSpread | None = None,
) -> Plan:
    """Return each design with its three ways to be wrong; enough is 80 % found within three probes at the yearly alarm.

    Examples
    --------
    >>> smallest = plan("centroid_hz", 600.0, 500.0).smallest
    >>> smallest.n_words, smallest.k_baseline, round(smallest.missed, 1)
    (20, 4, 0.1)
    """
    size = abs(change)
    designs = trade(size, token_sd, day_sd=day_sd, lent=lent, year_alarm=year_alarm, words=WORDS)
    rows = tuple(_row(one, token_sd, day_sd) for one in designs)
    one = min(
        (d for d in designs if d.enough), key=lambda d: (d.n_words * d.k_baseline, d.k_baseline), default=designs[-1]
    )
    gaps = spacings(size, token_sd, one, day_sd=day_sd, lent=lent) if day_sd > 0 else ()
    told = (one.n_words, one.k_baseline)
    return Plan(key, size, token_sd, day_sd, source, rows, _advice(rows), lent, gaps, told)


def _row(one: Design, token_sd: float, day_sd: float) -> PlanRow:
    half, least = half_width(token_sd, one.n_words), least_difference(token_sd, one.n_words, day_sd=day_sd)
    wrong = (one.one_probe, one.year, one.missed)
    return PlanRow(one.n_words, one.k_baseline, one.limit, half, least, one.enough, *wrong)


def _advice(rows: Sequence[PlanRow]) -> str:
    spacing = (
        f"baselines {FULL_GAP_DAYS // 7} weeks apart; bunched ones are provisional, and a limit that allows for related"
        f" days is {cost_of_spacing(7, 3):.1f} times as wide at one week, {cost_of_spacing(21, 3):.1f} at three"
    )
    if any(row.enough for row in rows):
        return spacing
    few, many = rows[0].n_words, rows[-1].n_words
    ends = [row.missed for row in rows if row.n_words in (few, many)][-2:]
    gain = f"from {few} to {many} words misses fall from {100 * ends[0]:.0f} to {100 * ends[1]:.0f} %"
    return f"no design listed finds four in five: {gain}; more baselines, or a larger change; {spacing}"
