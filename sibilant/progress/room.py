"""What unlike noise may still do to a session's figure after it was taken out: by so much the limit is widened."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..terms.summaries import MeasureSummary
from .pooled import is_pooled, pooled_level

SHIFTS = {
    "core_duration_ms": (17.0, 13.0, 6.0, 2.5, 1.5, 0.0),
    "duration_ms": (26.0, 18.5, 11.0, 6.5, 3.0, 0.0),
    "rise_ms": (15.0, 11.5, 7.0, 4.0, 2.0, 0.0),
    "level_re_vowel_db": (6.0, 3.7, 1.7, 0.75, 0.3, 0.0),
}
AT_DB = (12.0, 15.0, 20.0, 25.0, 30.0, 40.0)
"""How far lengths and levels that no noise is taken out of had moved, up and down added, by the ratio of the sounds to
the noise: whole invented probes in like rooms (docs/evidence/room_lengths.csv)."""
UNKNOWN = (
    "the room differed: noise could be taken out of the sounds of {which} alone; record with half a second of quiet"
    " before and after each word"
)
DIFFERED = (
    "the room differed: what noise may still do is more than the client's own limit; record where it is as quiet as at"
    " the baseline, or nearer to the microphone"
)


def noise_left(key: str, baseline: Sequence[MeasureSummary], new: MeasureSummary) -> float:
    """Return how far the noise of one session, unlike that of the baseline, may still move its figure.

    Spectral figures have the noise taken out; what is left is what it adds to the estimator's error, from the noise's
    own uncertainty and drift and from its cross term with the sound, taken as if all sounds were moved alike:
    the root of the difference of e squared, e being the mean standard error over sounds. Own. Lengths are taken from
    `SHIFTS`; of pooled levels two standard errors are left.

    Examples
    --------
    >>> quiet, loud = (MeasureSummary("core_duration_ms", "house-15k/2", 90, 85, 95, 10, 20, 20, 20, snr_db=snr)
    ...                for snr in (40.0, 20.0))
    >>> noise_left("core_duration_ms", [quiet], loud)
    6.0
    """
    if key in SHIFTS:
        ratios = [_shift(key, one.snr_db) for one in baseline]
        found = abs(_shift(key, new.snr_db) - sum(ratios) / len(ratios)) if ratios else 0.0
    elif any(is_pooled(one) for one in (*baseline, new)):
        reaches = [pooled_level(one.sums).error for one in (*baseline, new)]
        found = 2 * math.hypot(reaches[-1], max(reaches[:-1], default=0.0))
    else:
        before = [_error(one) for one in baseline]
        found = math.sqrt(abs(_error(new) ** 2 - (sum(before) / len(before)) ** 2)) if before else 0.0
    return found if math.isfinite(found) else 0.0


def _shift(key: str, snr_db: float) -> float:
    return float(np.interp(snr_db, AT_DB, SHIFTS[key])) if math.isfinite(snr_db) else math.nan


def _error(summary: MeasureSummary) -> float:
    known = [word.error for word in summary.words if math.isfinite(word.error)]
    return math.fsum(known) / len(known) if known else math.nan


def reasons_of_room(baseline: Sequence[MeasureSummary], new: MeasureSummary, left: float, limit: float) -> list[str]:
    """Return why the rooms differ too much: noise taken out on one side alone, or what is left is over the limit."""
    found = []
    if any(one.uncorrected != new.uncorrected for one in baseline):
        found.append(UNKNOWN.format(which="the baseline" if new.uncorrected else "this probe"))
    if math.isfinite(limit) and left > limit:
        found.append(DIFFERED)
    return found
