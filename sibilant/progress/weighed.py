"""One measure's later probes weighed: by the clinic's limit where others lend strength, the plain rule beside it.

Where baselines are bunched the verdict under a stated decay stands beside it too, and the first is provisional.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from ..terms.change import UNJUDGED, Change
from ..terms.lending import ClinicSpread
from .change import AS_IT_IS, ChangeRequest, Limits, Probe, changes, plain_limits, usable_baseline
from .decay import Decay
from .related import DECAY_DAYS, bunched_words, likeness, widened
from .spread import clinic_level, clinic_limit, sd_known


@dataclass(frozen=True, slots=True)
class Beside:
    """What a measure is weighed with: days of the sessions, what others lend to each, how many measures, a decay."""

    on: Mapping[int, dt.date] = field(default_factory=dict)
    lent: Mapping[int, ClinicSpread] = field(default_factory=dict)
    n_measures: int = 1
    decay: Decay | None = None

    @property
    def decay_days(self) -> float:
        """The decay that bunched verdicts are also told under: fitted where it could be, else the stated one."""
        return self.decay.days if self.decay is not None else DECAY_DAYS


def weighed(
    key: str, baseline: Sequence[Probe], later: Sequence[Probe], beside: Beside, asked: ChangeRequest = AS_IT_IS
) -> tuple[Change, ...]:
    """Return every later probe with its verdict, the plain rule's, and the one under the stated decay where days bunch.

    ``asked`` goes to :func:`~sibilant.progress.changes`. A session without anything lent is judged by the plain rule.
    """
    plain = partial(plain_limits, n_measures=beside.n_measures)
    by_plain = changes(key, baseline, later, asked=asked, limits=plain)
    looks = {number: look for look, (number, _) in enumerate(later, start=1)}
    limits = _limits(beside, looks, plain)
    given = changes(key, baseline, later, asked=asked, limits=limits) if beside.lent else by_plain
    days = [beside.on[number] for number, _ in usable_baseline(baseline)[0] if number in beside.on]
    why = bunched_words(days)
    related = changes(key, baseline, later, asked=asked, limits=_related(limits, beside, days)) if why else given
    return tuple(
        replace(
            one,
            plain_verdict=first.verdict,
            plain_limit=first.limit,
            lent=beside.lent.get(one.session),
            n_measures=beside.n_measures,
            **(_provisional(why, other, beside) if why and one.verdict != UNJUDGED else {}),
        )
        for one, first, other in zip(given, by_plain, related, strict=True)
    )


def _provisional(why: str, other: Change, beside: Beside) -> dict[str, Any]:
    told = {"related_days": beside.decay_days, "related_basis": beside.decay.words if beside.decay is not None else ""}
    return {"provisional": why, "related_verdict": other.verdict, "related_limit": other.limit, **told}


def _limits(beside: Beside, looks: Mapping[int, int], plain: Limits) -> Limits:
    def limits(s: float, k: int, floor: float, session: int) -> tuple[float, float]:
        lent = beside.lent.get(session)
        if lent is None:
            return plain(s, k, floor, session)
        level = clinic_level(k, looks[session]) / beside.n_measures
        half = float(clinic_limit(s, k, lent, floor, level=0.05))
        return half, float(clinic_limit(s, k, lent, floor, level=level))

    return limits


def _related(limits: Limits, beside: Beside, days: Sequence[dt.date]) -> Limits:
    def related(s: float, k: int, floor: float, session: int) -> tuple[float, float]:
        half, limit = limits(s, k, floor, session)
        lent = beside.lent.get(session)
        taken = float(sd_known(s, k, lent, floor)) if lent is not None else max(s, floor if floor == floor else 0.0)
        grown = widened(taken, floor, likeness(days, beside.on[session], decay_days=beside.decay_days))
        return half * grown, limit * grown

    return related
