"""A sibilant held for seconds: how long, how steady, whether it drifts or breaks off."""

from __future__ import annotations

import numpy as np

from ..levels.ranks import percentile
from ..methods import HOUSE_15K, supports
from ..terms import Interval, Method, MicrophoneResponse, Recording
from ..terms.takes import SustainedTake
from .course import slope
from .frames import power_densities
from .setup import prepare
from .shape import moment_values
from .tapers import Rows
from .timing import PLATEAU_PERCENTILE, envelope_db

BREAK_DB = 20.0  # a held sound breaks where its level falls so far (docs/measures.md)
BREAK_S = 0.05  # for longer than this
RAMP_SHARE = 0.1
"""Share of the take at each end that is not counted as steady."""
FRAME_S = 0.02  # frames of the steady part
_CHUNK = 64  # for the processor's cache; no result depends on it


def sustained(
    recording: Recording,
    interval: Interval,
    *,
    method: Method = HOUSE_15K,
    response: MicrophoneResponse | None = None,
) -> SustainedTake:
    """Measure a sibilant held in isolation.

    Level and spectral mean are taken in 20 ms frames without overlap over the steady part: the take less a tenth at
    each end and less its breaks. A break is a stretch of more than 50 ms whose level above 2 kHz stays more than 20 dB
    below the take's 75th percentile.

    Parameters
    ----------
    recording : Recording
        The sound.
    interval : Interval
        From where the held sound begins to where it ends.
    method : Method
        Whose band the spectral mean is taken over.
    response : MicrophoneResponse, optional
        Divided out of the power.

    Returns
    -------
    SustainedTake
        ``steadiness_db`` includes what noise itself wavers in 20 ms, about 0.3 dB. Steadiness and drift are absent,
        flagged ``short``, under half a second of steady sound; drift is absent, flagged ``band_too_wide``, where the
        recording does not reach the method's top.

    Examples
    --------
    >>> from sibilant.terms import Source
    >>> noise = np.random.default_rng(1).standard_normal(3 * 44100).astype(np.float32) / 8
    >>> take = sustained(Recording(noise, 44100, Source("buffer", "")), Interval(0.2, 2.8))
    >>> round(take.duration_s, 1), take.n_breaks, take.steadiness_db < 0.5, abs(take.drift_hz_per_s) < 60
    (2.6, 0, True, True)
    """
    breaks = find_breaks(recording, interval)
    margin_s = RAMP_SHARE * interval.duration_s
    steady = Interval(interval.onset_s + margin_s, interval.offset_s - margin_s)
    centres_s = _centres(steady, breaks)
    flags = ["breaks"] if breaks else []
    if centres_s.size < 0.5 / FRAME_S:
        return SustainedTake(interval, None, None, breaks, steady, method.label, (*flags, "short"))
    if not supports(method, recording.sampling_rate_hz):
        return SustainedTake(interval, None, None, breaks, steady, method.label, (*flags, "band_too_wide"))
    level_db, centroid_hz = _follow(recording, centres_s, method, response)
    return SustainedTake(
        interval,
        float(np.std(level_db, ddof=1)),
        float(slope(centres_s, centroid_hz)),
        breaks,
        steady,
        method.label,
        tuple(flags),
    )


def find_breaks(recording: Recording, interval: Interval) -> tuple[Interval, ...]:
    """Gaps of more than 50 ms inside a held sound."""
    level, step_s = envelope_db(recording, interval)
    if level.size == 0:
        return ()
    quiet = np.concatenate([[False], level < percentile(level, PLATEAU_PERCENTILE) - BREAK_DB, [False]])
    turns = np.flatnonzero(np.diff(quiet.astype(np.int8)))
    found = [Interval(interval.onset_s + a * step_s, interval.onset_s + b * step_s) for a, b in turns.reshape(-1, 2)]
    inside = [gap for gap in found if gap.onset_s > interval.onset_s and gap.offset_s < interval.offset_s - 2 * step_s]
    return tuple(gap for gap in inside if gap.duration_s > BREAK_S)


def _centres(steady: Interval, breaks: tuple[Interval, ...]) -> Rows:
    centres: Rows = np.arange(steady.onset_s + FRAME_S / 2, steady.offset_s - FRAME_S / 2, FRAME_S)
    for gap in breaks:
        away = (centres < gap.onset_s - 1.5 * FRAME_S) | (centres > gap.offset_s + 1.5 * FRAME_S)
        centres = centres[away]
    return centres


def _follow(
    recording: Recording, centres_s: Rows, method: Method, response: MicrophoneResponse | None
) -> tuple[Rows, Rows]:
    """Level (dB re full scale) and spectral mean (Hz) of each frame."""
    rate = recording.sampling_rate_hz
    setup = prepare(method, rate, round(FRAME_S * rate), response)
    starts = np.clip(np.round(centres_s * rate - setup.n_samples / 2), 0, recording.samples.size - setup.n_samples)
    level, centroid = [], []
    for first in range(0, starts.size, _CHUNK):
        chunk = tuple(int(s) for s in starts[first : first + _CHUNK])
        rows = power_densities(recording.samples, chunk, setup)
        level.append(10 * np.log10(np.maximum(np.sum(rows * setup.moment_weights[0], axis=1), 1e-20)))
        centroid.append(moment_values(rows, setup)["centroid_hz"])
    return np.concatenate(level), np.concatenate(centroid)
