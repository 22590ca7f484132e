"""Three ways to be wrong, and designs that keep all three small: one-probe alarms, alarms over a year, and misses.

A year is twelve monthly probes; an alarm over the year is any "larger than error" among them for a client who did not
change; a miss is a lasting change not called within the first three probes. Each is drawn for independent days.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms.lending import ClinicSpread
from .change import limit_factor
from .spread import FIRST_LOOKS, clinic_level, clinic_limit

POWER = 0.8
"""Share of lasting changes of the wanted size to be found (common practice, no source)."""
YEAR_ALARM = 0.05
YEAR = 12
WORDS = (10, 20, 30, 40)
BASELINES = (3, 4, 5, 6)
N_DRAWS = 4000
_SEED = 20261126
_KINDS_OF_BASELINE = 200
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
