"""Sibilants of a recording in, their measures out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..methods import supports, with_response
from ..terms import Interval, Measures, Method, MicrophoneResponse, Recording, SibilantInterval
from .certainty import delta_intervals, simulated_intervals
from .course import course_values
from .shape import moment_values, shape_values
from .tapers import Rows
from .through import Listened, listen
from .timing import duration_values, level_re_vowel_db, rise_ms
from .tonality import ridge
from .voicing import voiced_share

SHORTEST_MS = 40.0
VOICED_FROM = 0.3
EDGE_HANGS = 0.05
"""Share of the centroid by which it may move with the edges before it is flagged."""


def measure(
    recording: Recording,
    sounds: Sequence[SibilantInterval],
    method: Method,
    *,
    words: Sequence[Interval | None] = (),
    response: MicrophoneResponse | None = None,
    bandwidth_hz: Sequence[float | None] = (),
) -> list[Measures]:
    """Measure each sibilant under a method.

    Parameters
    ----------
    recording : Recording
        The sound, at its own rate.
    sounds : sequence of SibilantInterval
        What to measure; the reviewed stretch counts where there is one.
    method : Method
        Decides the spectral figures.
    words : sequence of Interval or None, optional
        The word of each sibilant, for its share of the word and the level against the vowel.
    response : MicrophoneResponse, optional
        Divided out of the power; name it in the method with `sibilant.methods.with_response`.
    bandwidth_hz : sequence of float or None, optional
        Effective bandwidth found in each sibilant; without it half the sampling rate is taken.

    Returns
    -------
    list of Measures
        One for each sound. A value that can't be had is absent, with its reason among the flags: ``short`` (under
        40 ms, no spectrum), ``band_too_wide``, ``outside`` (a window reaches past the recording), ``silent``,
        ``peak_at_edge``; ``voiced`` and ``edge_dependent`` ask for care. Values do not depend on what else is
        measured in the same call.

    Raises
    ------
    MethodError
        When the response does not cover the method's band.

    Examples
    --------
    >>> from sibilant.methods import HOUSE_15K
    >>> from sibilant.terms import Edge, Source
    >>> noise = np.random.default_rng(1).standard_normal(44100).astype(np.float32) / 8
    >>> hiss, stretch = Recording(noise, 44100, Source("buffer", "")), Interval(0.4, 0.6)
    >>> edges = Edge(0.4, "silence", 2.0, 1.0), Edge(0.6, "silence", 2.0, 1.0)
    >>> found = measure(hiss, [SibilantInterval(None, stretch, stretch, *edges, 1.0)], HOUSE_15K)[0]
    >>> found.n_frames, 7700 < found.values["centroid_hz"] < 8300
    (9, True)
    """
    with_response(method, response)
    stretches = [sound.interval for sound in sounds]
    return [
        _measure_one(
            recording,
            sound,
            method,
            word=words[i] if i < len(words) else None,
            others=[s for s in stretches if s is not sound.interval],
            response=response,
            bandwidth_hz=bandwidth_hz[i] if i < len(bandwidth_hz) else None,
        )
        for i, sound in enumerate(sounds)
    ]


def _measure_one(
    recording: Recording,
    sound: SibilantInterval,
    method: Method,
    *,
    word: Interval | None,
    others: Sequence[Interval],
    response: MicrophoneResponse | None,
    bandwidth_hz: float | None,
) -> Measures:
    interval = sound.interval
    values = duration_values(sound, word)
    timed = {
        "rise_ms": rise_ms(recording, interval),
        "voiced_share": voiced_share(recording, interval),
        "level_re_vowel_db": level_re_vowel_db(recording, interval, word, others),
    }
    values.update({key: value for key, value in timed.items() if value is not None})
    flags = ["voiced"] if values.get("voiced_share", 0.0) > VOICED_FROM else []
    heard = None
    if interval.duration_ms < SHORTEST_MS:
        flags.append("short")
    elif not supports(method, recording.sampling_rate_hz, bandwidth_hz):
        flags.append("band_too_wide")
    elif (heard := listen(recording, interval, method, response)) is None:
        flags.append("outside")
    if heard is None:
        return Measures(values, flags=tuple(flags), band_hz=method.band_hz, sampling_rate_hz=recording.sampling_rate_hz)
    return _with_spectrum(values, flags, heard, recording, interval)


def _with_spectrum(
    values: dict[str, float], flags: list[str], heard: Listened, recording: Recording, interval: Interval
) -> Measures:
    method = heard.setup.method
    stack = shape_values(heard.rows, heard.setup)
    if heard.windows is not None:
        stack.update(_mean_moments(heard))
    measured = {key: float(column[0]) for key, column in stack.items() if np.isfinite(column[0])}
    if not np.any(heard.rows[0] > 0) or "centroid_hz" not in measured:
        flags.append("silent")
        measured = {}
    if measured and "peak_hz" not in measured:
        flags.append("peak_at_edge")
    moved = {key: _width(column) for key, column in stack.items() if key in measured}
    low, high = _intervals(measured, heard) if measured else ({}, {})
    if moved.get("centroid_hz", 0.0) > EDGE_HANGS * measured.get("centroid_hz", np.inf):
        flags.append("edge_dependent")
    values.update(measured)
    if measured:
        flags.extend(_tonality(values, recording, interval, method))
    if measured and heard.grid is not None:
        values.update(course_values(heard))
    return Measures(
        values,
        low,
        high,
        moved,
        tuple(flags),
        heard.placement.region,
        len(heard.placement.centres_s),
        method.band_hz,
        heard.setup.rate_hz,
    )


def _tonality(values: dict[str, float], recording: Recording, interval: Interval, method: Method) -> list[str]:
    """Add the ridge's prominence and width to the values; return the flag ``tonal`` where it is narrow and strong."""
    found = ridge(recording, interval, method)
    if found is None:
        return []
    values.update(tonality_db=found.prominence_db, tonality_width_hz=found.width_hz)
    return ["tonal"] if found.tonal else []


def _intervals(measured: dict[str, float], heard: Listened) -> tuple[dict[str, float], dict[str, float]]:
    """Limits of the 95 % intervals; none for moments averaged over windows or weighted by amplitude."""
    method = heard.setup.method
    if method.weighting != "power" or heard.windows is not None:
        return {}, {}
    found = delta_intervals(heard.rows[0], heard.setup, heard.effective_s)
    for key, (below, above) in simulated_intervals(heard.rows[0], heard.setup, heard.effective_s).items():
        if key in measured:
            found[key] = (measured[key] + below, measured[key] + above)
    kept = {key: span for key, span in found.items() if key in measured}
    return {key: span[0] for key, span in kept.items()}, {key: span[1] for key, span in kept.items()}


def _mean_moments(heard: Listened) -> dict[str, Rows]:
    """Moments of each window, averaged."""
    assert heard.windows is not None
    n_shifts, n_windows, n_bins = heard.windows.shape
    apart = moment_values(heard.windows.reshape(n_shifts * n_windows, n_bins), heard.setup)
    return {key: np.mean(column.reshape(n_shifts, n_windows), axis=1) for key, column in apart.items()}


def _width(column: Rows) -> float:
    finite = column[np.isfinite(column)]
    return float(np.max(finite) - np.min(finite))
