"""Three ways to be wrong, and designs that keep all three small: one-probe alarms, alarms over a year, and misses.

A year is twelve monthly probes; an alarm over the year is any "larger than error" among them for a client who did not
change; a miss is a lasting change not called within the first three probes. Each is drawn for independent days; what
the spacing of baselines costs, for days alike over the stated decay.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms.lending import ClinicSpread
from .change import limit_factor
from .related import DECAY_DAYS, FULL_GAP_DAYS, likeness, widened
from .spread import FIRST_LOOKS, clinic_level, clinic_limit, sd_known

POWER = 0.8
"""Share of lasting changes of the wanted size to be found (common practice, no source)."""
YEAR_ALARM = 0.05  # alarms of an unchanged client among twelve monthly probes, at most; own choice
YEAR = 12  # probes of a year
WORDS = (10, 20, 30, 40)  # designs that are told
BASELINES = (3, 4, 5, 6)  # the same
N_DRAWS = 4000  # draws a design: a share of 5 % is then known to 0.3
_SEED = 20261126  # fixed, so that the same question has the same answer
_KINDS_OF_BASELINE = 200  # places of the baseline's SD between which limits are interpolated
Rows = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Design:
    """One design and its three ways to be wrong; ``enough`` when both promises hold."""

    n_words: int
    k_baseline: int
    limit: float
    one_probe: float
    year: float
    found: float
    enough: bool

    @property
    def missed(self) -> float:
        """Share of lasting changes of the wanted size not called within three probes."""
        return 1 - self.found


def trade(
    change: float,
    token_sd: float,
    *,
    day_sd: float = 0.0,
    lent: ClinicSpread | None = None,
    year_alarm: float = YEAR_ALARM,
    words: Sequence[int] = WORDS,
) -> tuple[Design, ...]:
    """Return what each number of words and baselines gives for a lasting change.

    Parameters
    ----------
    change : float
        Size of the change wanted, in the measure's unit.
    token_sd, day_sd : float
        SD of one token, and from day to day.
    lent : ClinicSpread, optional
        What other clients lend (SD of a probe's mean); without it the plain rule is drawn.
    year_alarm : float, optional
        The yearly alarm that is still right.
    words : sequence of int, optional
        Words a probe to try.

    Returns
    -------
    tuple of Design
        By baselines and words. ``enough`` is said of none that finds less than 80 % within three probes.

    Examples
    --------
    >>> designs = trade(800.0, 500.0, day_sd=200.0)
    >>> [(one.k_baseline, round(one.found, 1), one.enough) for one in designs if one.n_words == 20]
    [(3, 0.4, False), (4, 0.6, False), (5, 0.7, False), (6, 0.8, False)]
    """
    found = []
    for k in BASELINES:
        random = np.random.default_rng(_SEED + k)
        noise = random.standard_normal((N_DRAWS, YEAR + 1))
        own = np.sqrt(random.chisquare(k - 1, N_DRAWS) / (k - 1))
        for n in words:
            found.append(_design(k, n, _Sds(abs(change), token_sd, day_sd, lent, year_alarm), noise, own))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Sds:
    change: float
    token: float
    day: float
    lent: ClinicSpread | None
    year_alarm: float


def _design(k: int, n: int, sds: _Sds, noise: Rows, own: Rows) -> Design:
    floor = sds.token / math.sqrt(n)
    sd = math.hypot(floor, sds.day)
    limits = _limits(k, floor, sd * own, sds.lent)
    difference = sd * (noise[:, 1:] - noise[:, :1] / math.sqrt(k))
    alarms = _called(difference, limits)
    hits = _called(difference + sds.change, limits)[:, :FIRST_LOOKS]
    year, found = float(alarms.any(axis=1).mean()), float(hits.any(axis=1).mean())
    one = float((np.abs(difference) > limits)[:, 0].mean())
    # two Monte-Carlo standard errors are asked of power, so that "enough" is never luck
    enough = found - 2 * math.sqrt(found * (1 - found) / N_DRAWS) >= POWER and year <= sds.year_alarm
    return Design(n, k, float(np.median(limits[:, 0])), one, year, found, enough)


def _limits(k: int, floor: float, own: Rows, lent: ClinicSpread | None) -> Rows:
    """Limits of each look, (draws, probes); those of other clients from a table over the baseline's SD."""
    if lent is None:
        return np.repeat(limit_factor(k) * np.maximum(own, floor)[:, np.newaxis], YEAR, axis=1)
    at = np.quantile(own, np.linspace(0, 1, _KINDS_OF_BASELINE))
    early, late = (
        np.interp(own, at, clinic_limit(at, k, lent, floor, level=clinic_level(k, look))) for look in (1, YEAR)
    )
    first = np.arange(1, YEAR + 1) <= FIRST_LOOKS
    return np.where(first, early[:, np.newaxis], late[:, np.newaxis])


def _called(difference: Rows, limits: Rows) -> npt.NDArray[np.bool_]:
    """Which probes are called: past the limit, the probe beside too, on the same side."""
    side = np.where(np.abs(difference) > limits, np.sign(difference), 0.0)
    agree = (side[:, 1:] == side[:, :-1]) & (side[:, 1:] != 0)
    found = np.zeros(side.shape, dtype=bool)
    found[:, 1:] |= agree
    found[:, :-1] |= agree
    return found


SPACINGS = (7, 14, FULL_GAP_DAYS)
"""Days between baselines whose cost is told."""


@dataclass(frozen=True, slots=True)
class Spacing:
    """What so many days between baselines give, were days alike over the stated decay: by the rule and under it."""

    gap_days: int
    year: float
    found: float
    year_allowed: float
    found_allowed: float


def spacings(
    change: float, token_sd: float, design: Design, *, day_sd: float = 0.0, lent: ClinicSpread | None = None
) -> tuple[Spacing, ...]:
    """Return what each spacing of a design's baselines gives where days are alike over the stated decay.

    ``year`` and ``found`` are those of the verdict for independent days, which bunched baselines make provisional;
    ``year_allowed`` and ``found_allowed`` those under the limit that allows for the decay.

    Examples
    --------
    >>> design = next(one for one in trade(800.0, 500.0, day_sd=200.0) if (one.n_words, one.k_baseline) == (20, 4))
    >>> week, *_, three = spacings(800.0, 500.0, design, day_sd=200.0)
    >>> week.year > three.year, week.year_allowed < week.year
    (True, True)
    """
    sds = _Sds(abs(change), token_sd, day_sd, lent, YEAR_ALARM)
    return tuple(_spacing(gap, design, sds) for gap in SPACINGS)


def _spacing(gap: int, design: Design, sds: _Sds) -> Spacing:
    k, floor = design.k_baseline, sds.token / math.sqrt(design.n_words)
    days = [*(gap * i for i in range(k)), *(gap * (k - 1) + 30 * i for i in range(1, YEAR + 1))]
    random = np.random.default_rng([_SEED, gap, k])
    alike = np.exp(-np.abs(np.subtract.outer(days, days)) / DECAY_DAYS)
    state = sds.day * random.standard_normal((N_DRAWS, len(days))) @ np.linalg.cholesky(alike).T
    means = state + floor * random.standard_normal((N_DRAWS, len(days)))
    own = means[:, :k].std(axis=1, ddof=1)
    difference = means[:, k:] - means[:, :k].mean(axis=1, keepdims=True)
    limits = _limits(k, floor, own, sds.lent)
    allowed = limits * _allowing(days, k, own, floor, sds.lent)
    told = []
    for limit in (limits, allowed):
        year = float(_called(difference, limit).any(axis=1).mean())
        told += [year, float(_called(difference + sds.change, limit)[:, :FIRST_LOOKS].any(axis=1).mean())]
    return Spacing(gap, *told)


def _allowing(days: Sequence[int], k: int, own: Rows, floor: float, lent: ClinicSpread | None) -> Rows:
    """By what each limit grows where days are alike over the stated decay: (draws, later probes)."""
    first = dt.date(2026, 1, 5)
    on = [first + dt.timedelta(days=day) for day in days]
    at = np.quantile(own, np.linspace(0, 1, _KINDS_OF_BASELINE))
    taken = sd_known(at, k, lent, floor) if lent is not None else np.maximum(at, floor)
    grown = [
        np.interp(own, at, [widened(float(sd), floor, alike) for sd in taken])
        for alike in (likeness(on[:k], later) for later in on[k:])
    ]
    return np.stack(grown, axis=1)
