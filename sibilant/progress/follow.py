"""One measure over the sessions: its error, every later probe against the baseline, trend and phase effect."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..terms import MEASURES
from ..terms.change import Change, MeasurementError, MeasureSummary, PhaseEffect, SessionSummary, Trend
from ..terms.clinic import Session
from .change import LEAST_BASELINE, Bridge, Probe, measurement_error, plain_factor
from .frame import Frame
from .series import Series, bridge_to
from .single_case import phase_effect
from .spread import sd_known
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
    n_measures = 1 if key == frame.case.client.main_measure else max(1, len(frame.keys) - 1)
    lent = {session: found for (measure, session), found in frame.lent.items() if measure == key}
    beside = Beside({one.number: one.on for one in summaries}, lent, n_measures)
    main = frame.series[0] if frame.series else Series(("", "", "", ""), (), (), True)
    found: list[Change] = []
    joined = [*main.later]
    offsets: dict[int, Bridge] = {}
    apart: dict[int, tuple[str, ...]] = {}
    bridged: list[str] = []
    for line in frame.series[1:]:
        if line.baseline:
            found += _compared(frame, key, line.baseline, line.later, table, replace(beside, lent={}))
            continue
        joined += line.later
        over = bridge_to(line, main, table, lambda session, method: frame.summary(session, key, method))
        if over is None:
            apart.update({session.number: line.apart for session in line.later})
        else:
            offsets.update({session.number: over[0] for session in line.later})
            bridged.append(_bridge_sentence(key, *over))
    joined.sort(key=lambda session: months[session.number])
    found += _compared(frame, key, main.baseline, joined, table, beside, apart=apart, offsets=offsets)
    found.sort(key=lambda change: (months[change.session], change.session))
    error = _with_lent(measurement_error(key, _probes(main.baseline, table)), found, n_measures)
    if main.reference != "baseline":
        error = replace(error, reasons=_as_reference(error.reasons))
        found = [replace(change, reasons=_as_reference(change.reasons)) for change in found]
    return Followed(error, tuple(found), *_shape(key, main, table, months), tuple(bridged))


def _compared(
    frame: Frame,
    key: str,
    baseline: Sequence[Session],
    later: Sequence[Session],
    table: dict[int, MeasureSummary],
    beside: Beside,
    **asked: Any,
) -> list[Change]:
    """Later probes against a baseline, those under each method by themselves, the baseline measured under it too."""
    there = [session for session in later if session.number in table]
    wide = [session for session in there if not table[session.number].apart]
    found = _changes(frame, key, _probes(baseline, table), _probes(wide, table), beside=beside, **asked)
    narrow: dict[str, list[Session]] = defaultdict(list)
    for session in there:
        if table[session.number].apart:
            narrow[frame.under(session, key)].append(session)
    for label, sessions in narrow.items():
        before = [(one.number, frame.summary(one, key, label)) for one in baseline if one.number in table]
        alone = replace(beside, lent={})
        changes = _changes(frame, key, before, _probes(sessions, table), beside=alone, **asked)
        mean = measurement_error(key, before).mean
        found += [replace(one, baseline=mean, reasons=(*one.reasons, *table[one.session].apart)) for one in changes]
    return found


def _with_lent(error: MeasurementError, found: Sequence[Change], n_measures: int) -> MeasurementError:
    """The baseline's error, its limit for so many measures, with what others lent to the latest verdict."""
    if n_measures > 1 and error.k >= LEAST_BASELINE:
        error = replace(error, limit=error.limit * plain_factor(error.k, n_measures) / plain_factor(error.k))
    lent = next((one.lent for one in reversed(found) if one.lent is not None), None)
    if lent is None or error.k < LEAST_BASELINE:
        return error
    return replace(error, lent=lent, sd_known=float(sd_known(error.sd, error.k, lent, error.token_only)))


def _as_reference(reasons: Sequence[str]) -> tuple[str, ...]:
    """Reasons in words that call no probe a baseline."""
    return tuple(reason.replace("baseline", "reference") for reason in reasons)


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


def _changes(
    frame: Frame,
    key: str,
    baseline: list[Probe],
    later: list[Probe],
    *,
    beside: Beside,
    apart: dict[int, tuple[str, ...]] | None = None,
    offsets: dict[int, Bridge] | None = None,
) -> list[Change]:
    main = key == frame.case.client.main_measure
    expected_direction = frame.case.client.direction if main else "none"
    asked = {"expected": expected_direction, "apart": apart, "offsets": offsets, "exploratory": not main}
    return list(weighed(key, baseline, later, beside, **asked))


def _bridge_sentence(key: str, over: Bridge, old: Session, new: Session) -> str:
    unit = MEASURES[key].unit if key in MEASURES else ""
    name = MEASURES[key].name if key in MEASURES else key
    return (
        f"{new.device} is brought to {old.device} by the bridge of sessions {old.number} and {new.number}: {name}"
        f" {over.offset.value:+.4g} {unit} ({over.offset.low:.4g} to {over.offset.high:.4g}, {over.n_words} words)"
    )
