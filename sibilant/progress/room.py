"""What unlike noise may still do to a session's figure after it was taken out: by so much the limit is widened."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..terms.summaries import MeasureSummary
from .pooled import is_pooled, pooled_level
from .shifts import AT_DB, LEFT_IN, SHIFTS

ALIKE_DB, QUIET_DB = 3.0, 30.0
"""Rooms are alike to a measure nothing is known of where the ratios differ by no more, or both are quieter (own)."""
UNKNOWN = (
    "the room differed: noise could be taken out of the sounds of {which} alone; record with half a second of quiet"
    " before and after each word"
)
DIFFERED = (
    "the room differed: what noise may still do is more than the client's own limit; record where it is as quiet as at"
    " the baseline, or nearer to the microphone"
)
UNTOLD = (
    "the room differed, and what noise does to this measure is not known; record where it is as quiet as at the"
    " baseline, or nearer to the microphone"
)


def noise_left(key: str, baseline: Sequence[MeasureSummary], new: MeasureSummary) -> float:
    """Return how far the noise of one session, unlike that of the baseline, may still move its figure.

    Spectral figures have the noise taken out; what is left is what it adds to the estimator's error, from the noise's
    own uncertainty and drift and from its cross term with the sound, taken as if all sounds were moved alike:
    the root of the difference of e squared, e being the mean standard error over sounds. Own. Measures without an
    error, and figures that the noise is left in, are taken from `shifts`, the larger where both are known. The error of
    a pooled level is that of its sums as they scatter from word to word, the client's own scatter too, of which the
    baseline has as much: twice the root of the difference of its squares.

    Examples
    --------
    >>> quiet, loud = (MeasureSummary("core_duration_ms", "house-15k/2", 90, 85, 95, 10, 20, 20, 20, snr_db=snr)
    ...                for snr in (40.0, 20.0))
    >>> round(noise_left("core_duration_ms", [quiet], loud), 2)  # by the table: 6 ms at 20 dB, 0.57 at 40
    5.43
    """
    if not baseline:
        return 0.0
    if any(is_pooled(one) for one in (*baseline, new)):
        *before, now = (pooled_level(one.sums).error for one in (*baseline, new))
        return 2 * math.sqrt(_finite(_beyond(before, now, power=2)))
    table = _table(key, baseline, new)
    moved = _beyond([_moved(table, one) for one in baseline], _moved(table, new))
    squared = _beyond([_error(one) for one in baseline], _error(new), power=2)
    return max(_finite(moved), math.sqrt(_finite(squared)))


def _table(key: str, baseline: Sequence[MeasureSummary], new: MeasureSummary) -> tuple[float, ...]:
    """How far a measure had moved by the ratio of the sounds to the noise; empty where that is not known."""
    return (LEFT_IN if any(one.left_in for one in (*baseline, new)) else SHIFTS).get(key, ())


def _moved(table: Sequence[float], summary: MeasureSummary) -> float:
    return float(np.interp(summary.snr_db, AT_DB, table)) if table and math.isfinite(summary.snr_db) else math.nan


def _beyond(before: Sequence[float], now: float, *, power: int = 1) -> float:
    """Distance of a power of one from that of the mean of those known before; NaN where there is none."""
    return abs(now**power - _mean(before) ** power)


def _mean(values: Sequence[float]) -> float:
    known = [value for value in values if math.isfinite(value)]
    return math.fsum(known) / len(known) if known else math.nan


def _finite(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def _error(summary: MeasureSummary) -> float:
    return _mean([word.error for word in summary.words])


def reasons_of_room(
    key: str, baseline: Sequence[MeasureSummary], new: MeasureSummary, left: float, limit: float
) -> list[str]:
    """Return why the rooms differ too much.

    Noise taken out on one side alone; more left than the limit; or unlike rooms, and nothing known of the measure.
    """
    found = []
    if any(one.uncorrected != new.uncorrected for one in baseline):
        found.append(UNKNOWN.format(which="the baseline" if new.uncorrected else "this probe"))
    if math.isfinite(limit) and left > limit:
        found.append(DIFFERED)
    elif baseline and not _told(key, baseline, new) and _unlike(baseline, new):
        found.append(UNTOLD)
    return found


def _told(key: str, baseline: Sequence[MeasureSummary], new: MeasureSummary) -> bool:
    """Whether it is known what noise may do to a measure: by the table, or by the error of what it is taken out of."""
    left_in = any(one.left_in for one in (*baseline, new))
    return bool(_table(key, baseline, new)) or (not left_in and math.isfinite(_error(new)))


def _unlike(baseline: Sequence[MeasureSummary], new: MeasureSummary) -> bool:
    """Whether the ratios of the sounds to the noise are too far apart to compare what hangs on them in no known way."""
    mean = _mean([one.snr_db for one in baseline])
    return min(mean, new.snr_db) < QUIET_DB and abs(mean - new.snr_db) > ALIKE_DB
