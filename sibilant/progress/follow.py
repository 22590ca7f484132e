"""One measure over the sessions: its error, every later probe against the baseline, trend and phase effect."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..terms import MEASURES
from ..terms.change import Change, MeasurementError, PhaseEffect, Trend
from ..terms.clinic import Session
from ..terms.lending import ClinicSpread
from ..terms.summaries import MeasureSummary, SessionSummary
from .change import (
    LEAST_BASELINE,
    Bridge,
    ChangeRequest,
    Probe,
    measurement_error,
    plain_factor,
    token_error,
    usable_baseline,
)
from .decay import LEAST_PROBES, Decay, fit_decay
from .frame import NEXT, Frame
from .series import Series, bridge_to
from .single_case import phase_effect
from .spread import FIRST_LOOKS, clinic_level, clinic_limit, sd_known
from .trend import trend
from .weighed import Beside, weighed


@dataclass(frozen=True, slots=True)
class Followed:
    """One measure over the sessions."""

    error: MeasurementError
    changes: tuple[Change, ...]
    trend: Trend
    effect: PhaseEffect
    bridged: tuple[str, ...] = ()


def follow(frame: Frame, key: str, summaries: Sequence[SessionSummary]) -> Followed:
    """Return one measure over all lines: those apart are judged only by a bridge or a baseline of their own.

    A session under a narrower method than its line is compared with the baseline measured under that method too.
    """
    table = {one.number: one.measures[key] for one in summaries if key in one.measures}
    months = {one.number: one.month for one in summaries}
    hoped, own = frame.case.client.direction, key == frame.case.client.main_measure
    n_measures = 1 if own else max(1, len(frame.keys) - 1)
    asked = ChangeRequest(hoped if own else "none", exploratory=not own)
    lent = {session: found for (measure, session), found in frame.lent.items() if measure == key}
    on = {one.number: one.on for one in summaries}
    main = frame.series[0] if frame.series else Series(("", "", "", ""), (), (), True)
    baseline = _probes(main.baseline, table)
    beside = Beside(on, lent, n_measures, _decay(main, baseline, on))
    found: list[Change] = []
    joined = [*main.later]
    offsets: dict[int, Bridge] = {}
    apart: dict[int, tuple[str, ...]] = {}
    bridged: list[str] = []
    for line in frame.series[1:]:
        if line.baseline:
            found += _compared(frame, key, line.baseline, line.later, table, replace(beside, lent={}), asked)
            continue
        joined += line.later
        over = bridge_to(line, main, table, lambda session, method: frame.summary(session, key, method))
        if over is None:
            apart.update({session.number: line.apart for session in line.later})
        else:
            offsets.update({session.number: over[0] for session in line.later})
            bridged.append(_bridge_sentence(key, *over))
    joined.sort(key=lambda session: months[session.number])
    asked = replace(asked, apart=apart, offsets=offsets)
    found += _compared(frame, key, main.baseline, joined, table, beside, asked)
    found.sort(key=lambda change: (months[change.session], change.session))
    last = next((one.number for one in reversed(joined) if one.number not in apart), NEXT)
    error = _with_limits(measurement_error(key, baseline), lent.get(last), n_measures)
    if main.reference != "baseline":
        error = replace(error, reasons=_as_reference(error.reasons))
        found = [
            replace(one, reasons=_as_reference(one.reasons), provisional=_as_reference([one.provisional])[0])
            for one in found
        ]
    return Followed(error, tuple(found), *_shape(key, main, table, months), tuple(bridged))


def _decay(main: Series, baseline: Sequence[Probe], on: Mapping[int, dt.date]) -> Decay | None:
    """How long days resemble each other, where the untreated probes can tell it."""
    good = usable_baseline(baseline)[0] if main.reference == "baseline" else []
    if len(good) < LEAST_PROBES:
        return None
    floor = token_error([summary for _, summary in good])
    return fit_decay([on[number] for number, _ in good], [summary.mean for _, summary in good], floor)


def _compared(
    frame: Frame,
    key: str,
    baseline: Sequence[Session],
    later: Sequence[Session],
    table: dict[int, MeasureSummary],
    beside: Beside,
    asked: ChangeRequest,
) -> list[Change]:
    """Later probes against a baseline, those under each method by themselves, the baseline measured under it too."""
    there = [session for session in later if session.number in table]
    wide = [session for session in there if not table[session.number].apart]
    found = list(weighed(key, _probes(baseline, table), _probes(wide, table), beside, asked))
    narrow: dict[str, list[Session]] = defaultdict(list)
    for session in there:
        if table[session.number].apart:
            narrow[frame.under(session, key)].append(session)
    for label, sessions in narrow.items():
        before = [(one.number, frame.summary(one, key, label)) for one in baseline if one.number in table]
        changes = weighed(key, before, _probes(sessions, table), replace(beside, lent={}), asked)
        mean = measurement_error(key, before).mean
        found += [replace(one, baseline=mean, reasons=(*one.reasons, *table[one.session].apart)) for one in changes]
    return found


def _with_limits(error: MeasurementError, lent: ClinicSpread | None, n_measures: int) -> MeasurementError:
    """The baseline's error with the limits that give the verdicts, for so many measures, and what others lend to it."""
    if error.k < LEAST_BASELINE:
        return error
    plain = error.limit * plain_factor(error.k, n_measures) / plain_factor(error.k)
    if lent is None:
        return replace(error, limit=plain, later_limit=plain, plain_limit=plain)
    first, later = (
        float(clinic_limit(error.sd, error.k, lent, error.token_only, level=clinic_level(error.k, look) / n_measures))
        for look in (1, FIRST_LOOKS + 1)
    )
    known = float(sd_known(error.sd, error.k, lent, error.token_only))
    return replace(error, limit=first, later_limit=later, plain_limit=plain, lent=lent, sd_known=known)


def _as_reference(reasons: Sequence[str]) -> tuple[str, ...]:
    """Reasons in words that call no probe a baseline."""
    return tuple(
        reason.replace("baselines", "probes of the reference").replace("baseline", "reference") for reason in reasons
    )


def _probes(sessions: Sequence[Session], table: dict[int, MeasureSummary]) -> list[Probe]:
    return [(session.number, table[session.number]) for session in sessions if session.number in table]


def _shape(
    key: str, main: Series, table: dict[int, MeasureSummary], months: dict[int, float]
) -> tuple[Trend, PhaseEffect]:
    """Trend within the treatment phase and later probes against the baseline's, on the main line alone."""
    points = [
        (months[session.number], table[session.number].mean, session)
        for session in main.sessions
        if session.number in table and math.isfinite(table[session.number].mean) and not table[session.number].apart
    ]
    treated = [point for point in points if point[2].phase in {"treatment", "reference under treatment"}]
    held, after = ({session.number for session in group} for group in (main.baseline, main.later))
    early = [point for point in points if point[2].number in held]
    late = [point for point in points if point[2].number in after]
    return (
        trend(key, "treatment", [point[0] for point in treated], [point[1] for point in treated]),
        phase_effect(key, [point[0] for point in early], [p[1] for p in early], [p[1] for p in late]),
    )


def _bridge_sentence(key: str, over: Bridge, old: Session, new: Session) -> str:
    unit = MEASURES[key].unit if key in MEASURES else ""
    name = MEASURES[key].name if key in MEASURES else key
    return (
        f"{new.device} is brought to {old.device} by the bridge of sessions {old.number} and {new.number}: {name}"
        f" {over.offset.value:+.4g} {unit} ({over.offset.low:.4g} to {over.offset.high:.4g}, {over.n_words} words)"
    )
