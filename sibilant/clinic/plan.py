"""How many words and probes a wanted change needs, with this client's own spread where there is one."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from .. import progress, store
from ..errors import NoSpreadError, UsageError
from ..progress import Plan
from ..terms import MEASURES
from ..terms.lending import ClinicSpread
from .answers import DesignRow
from .caseload import CaseloadHandle, client_or_last, opened
from .lending import lent_to

ASSUMED = (0.5, 1.0, 1.5)  # SDs over words assumed, in changes, where none is known


def plan(
    key: str,
    change: float,
    *,
    caseload: CaseloadHandle | None = None,
    client: str | None = None,
    token_sd: float | None = None,
    day_sd: float = 0.0,
    year_alarm: float = progress.YEAR_ALARM,
) -> list[Plan]:
    """Return designs for a wanted change: with the client's own SDs, with the SD given, or with three assumed ones.

    Raises
    ------
    UsageError
        When the measure is not known, the change is zero, or the client has too few baselines to take SDs from.
    """
    if key not in MEASURES:
        raise UsageError(f"measure {key[:40]!r} is not known; docs/measures.md lists them, such as centroid_hz")
    if not change or not math.isfinite(change):
        raise UsageError("--change: a size above zero in the measure's unit is needed")
    if not 0 < year_alarm < 1:
        raise UsageError("--year-alarm is a share between 0 and 1, such as 0.05")
    if client is not None:
        if caseload is None:
            raise UsageError(f"{client}: its own spread needs the caseload that it is kept in")
        own = _own(caseload, client, key)
        asked = partial(progress.plan, key, change, source=own.source, year_alarm=year_alarm)
        return [asked(own.token_sd, day_sd=own.day_sd, lent=own.lent)]
    if token_sd is not None:
        if token_sd <= 0 or day_sd < 0:
            raise UsageError("--token-sd is above zero, and --day-sd is not below zero")
        return [progress.plan(key, change, token_sd, day_sd=day_sd, source="as given", year_alarm=year_alarm)]
    return [
        progress.plan(
            key,
            change,
            share * abs(change),
            day_sd=day_sd,
            source=f"assumed: {share:g} times the change",
            year_alarm=year_alarm,
        )
        for share in ASSUMED
    ]


@dataclass(frozen=True, slots=True)
class _Own:
    token_sd: float
    day_sd: float
    source: str
    lent: ClinicSpread | None


def _own(caseload: CaseloadHandle, client: str, key: str) -> _Own:
    """Token and day SD from the client's baseline: day variance is what the baseline means have beyond the tokens'.

    With what other clients lend, the rule that would give its verdicts.
    """
    with opened(caseload) as one:
        name = client_or_last(one, client)
        case = store.read_case(one, name)
        asked = progress.ViewRequest(measures=(key,))
        given = lent_to(one, case, asked).given
    view = progress.view(case, asked)
    error = view.error_of(key)
    baseline = [one for one in view.summaries if error is not None and one.number in error.sessions]
    if error is None or error.k < 2 or not math.isfinite(error.token_only):
        raise NoSpreadError(f"{name}: fewer than two baseline probes with {key}; give --token-sd and --day-sd instead")
    n_words = min(one.measures[key].n_words for one in baseline)
    token_sd = error.token_only * math.sqrt(n_words)
    day_sd = math.sqrt(max(0.0, error.sd**2 - error.token_only**2))
    coming = given.get((key, progress.NEXT))
    source = f"{name}, {error.k} baseline probes of {n_words} words"
    return _Own(token_sd, day_sd, source, coming.lent if coming is not None else None)


def as_plain(found: Plan) -> dict[str, Any]:
    """Return a plan as plain values for JSON."""
    smallest = found.smallest
    return {**asdict(found), "smallest": asdict(smallest) if smallest is not None else None}


def rows(found: Plan) -> list[DesignRow]:
    """Return one row a design: words a probe, baseline probes, the limit to expect, and what two probes alone need."""
    decimals = MEASURES[found.key].decimals
    return [
        {
            "words": row.n_words,
            "baselines": row.k_baseline,
            "limit": f"{row.limit:.{decimals}f}",
            "two probes": f"{row.least_between_two:.{decimals}f}",
            "alarm a probe": f"{100 * row.one_probe:.1f} %",
            "alarm a year": f"{100 * row.year:.1f} %",
            "missed": f"{100 * row.missed:.0f} %",
            "enough": "yes" if row.enough else "no",
        }
        for row in found.rows
    ]


def lines(found: Plan) -> list[str]:
    """Return what stands above the table, as lines for the terminal."""
    head, told_of = told(found)
    return [head, *told_of]


def told(found: Plan) -> tuple[str, list[str]]:
    """Return what is planned with which SDs; and beneath, the smallest design, the advice, what days cost."""
    measure, smallest = MEASURES[found.key], found.smallest
    sds = f"SD of a token {found.token_sd:.{measure.decimals}f} {measure.unit}, from day to day {found.day_sd:.4g}"
    head = f"{measure.name}, change of {found.change:.4g} {measure.unit}; {sds} ({found.source})"
    least = (
        f"least: {smallest.n_words} words a probe with {smallest.k_baseline} baseline probes"
        if smallest is not None
        else "no design listed is enough"
    )
    wrong = (
        "three ways to be wrong: one unchanged probe past the limit; an unchanged client called larger than error among"
        " twelve monthly probes; a lasting change not called within three. Enough: 80 % found, the yearly alarm kept;"
        f" independent days, {_rule(found)}"
    )
    return head, [f"{least}; {found.advice}", wrong, *_spacing_lines(found)]


def _rule(found: Plan) -> str:
    if found.lent is None:
        return "the plain rule"
    return f"the limit with the spread of {found.lent.n_clients} other clients"


def _spacing_lines(found: Plan) -> list[str]:
    """What days between baselines cost the design named, were days alike over the stated decay."""
    words, baselines = found.spaced
    return [
        f"baselines {one.gap_days} days apart ({words} words, {baselines} baselines, days alike over"
        f" {progress.DECAY_DAYS:.0f} days):"
        f" {'the' if one.gap_days >= progress.FULL_GAP_DAYS else 'provisional'} verdict"
        f" {_wrong(one.year, one.found)}; allowing for it {_wrong(one.year_allowed, one.found_allowed)}"
        for one in found.spacings
    ]


def _wrong(year: float, found: float) -> str:
    return f"{100 * year:.0f} % alarms a year, {100 * (1 - found):.0f} % missed"
