"""Sibilants of a recording and a method come in, their measures go out.

Sounds are worked on a few at a time under one setup, for the processor's cache; no value depends on which others are
measured with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite

import numpy as np

from ..methods import supports, with_response
from ..terms import Interval, Measures, Method, MicrophoneResponse, NoiseSpectrum, Recording, SibilantInterval
from .certainty import delta_halves, simulated_spans, windowed_intervals
from .course import course_values
from .drafts import Draft, ranges_of
from .house import add_cleared
from .setup import Setup
from .shape import moment_values, shape_values
from .tapers import Rows
from .through import Listened, listen
from .timing import duration_values, level_re_vowel_db, rise_ms
from .tonality import ridges
from .tonality_first import first_ridges
from .voicing import voiced_share

SHORTEST_MS = 40.0  # shorter sounds have no spectrum worth a figure (flag `short`, docs/measures.md)
VOICED_FROM = 0.3  # share voiced from which on the flag `voiced` stands (docs/measures.md)
_CHUNK = 24
"""Sounds whose spectra are worked on at once, so that they stay in the processor's cache."""


def measure(
    recording: Recording,
    sounds: Sequence[SibilantInterval],
    method: Method,
    *,
    response: MicrophoneResponse | None = None,
    bandwidth_hz: Sequence[float | None] = (),
    timed: Sequence[Mapping[str, float]] = (),
    noise: Sequence[NoiseSpectrum | None] = (),
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
    response : MicrophoneResponse, optional
        Divided out of the power; name it in the method with `sibilant.methods.with_response`.
    bandwidth_hz : sequence of float or None, optional
        Effective bandwidth found in each sibilant; without it half the sampling rate is taken.
    timed : sequence of mapping, optional
        What `timings` gave for the same sounds, so that several methods share it, and the words are known to it.
    noise : sequence of NoiseSpectrum or None, optional
        The noise beside each sound's word, from `noise_spectrum`; methods that take noise out use it, and flag a sound
        ``uncorrected`` where there is none.

    Returns
    -------
    list of Measures
        One for each sound. A value that can't be had is absent, with its reason among the flags: ``short`` (under
        40 ms, no spectrum), ``band_too_wide``, ``outside`` (a window reaches past the recording), ``silent`` (the
        sound, or one of the windows, has no power), ``buried`` (some value does not stand clear of the noise),
        ``peak_at_edge``, ``mid_peak_at_edge``, ``no_peak``; ``voiced``, ``tonal``, ``uncorrected`` and
        ``edge_dependent`` ask for care. Values do not depend on what else is measured in the same call.

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
    bandwidth_hz = (*bandwidth_hz, *[None] * (len(sounds) - len(bandwidth_hz)))
    timed = timed or timings(recording, sounds)
    drafts, able = [], []
    beside = (*noise, *[None] * (len(sounds) - len(noise)))
    rows = zip(sounds, timed, bandwidth_hz, beside, strict=True)
    for sound, known, reach_hz, room in rows:
        draft = Draft(sound, dict(known), noise=room if method.noise == "taken out" else None)
        drafts.append(draft)
        if _has_spectrum(draft, recording, method, reach_hz):
            able.append(draft)
    for first in range(0, len(able), _CHUNK):
        _listen(able[first : first + _CHUNK], recording, method, response)
        recording.let_go()
    by_setup: dict[Setup, list[Draft]] = {}
    for draft in drafts:
        if draft.heard is not None:
            by_setup.setdefault(draft.heard.setup, []).append(draft)
    for setup, group in by_setup.items():
        for first in range(0, len(group), _CHUNK):
            add = _add_spectral if method.noise == "observed" else add_cleared
            add(group[first : first + _CHUNK], setup)
            _add_tonality(group[first : first + _CHUNK], recording, method)
            recording.let_go()
    return [draft.finished(method, recording.sampling_rate_hz) for draft in drafts]


def timings(
    recording: Recording, sounds: Sequence[SibilantInterval], *, words: Sequence[Interval | None] = ()
) -> list[dict[str, float]]:
    """Return what no method changes for each sibilant: lengths, rise, voicing, level against the vowel.

    Parameters
    ----------
    recording : Recording
        The sound, at its own rate.
    sounds : sequence of SibilantInterval
        What to measure.
    words : sequence of Interval or None, optional
        The word of each sibilant.

    Returns
    -------
    list of dict
        Values by ``MEASURES`` key; one that can't be had is absent.
    """
    found = []
    for number, (sound, word) in enumerate(zip(sounds, (*words, *[None] * (len(sounds) - len(words))), strict=True), 1):
        interval = sound.interval
        timed = {
            "rise_ms": rise_ms(recording, interval),
            "voiced_share": voiced_share(recording, interval),
            "level_re_vowel_db": level_re_vowel_db(recording, interval, word),
        }
        found.append(duration_values(sound, word) | {key: value for key, value in timed.items() if value is not None})
        if number % _CHUNK == 0:
            recording.let_go()
    return found


def _has_spectrum(draft: Draft, recording: Recording, method: Method, reach_hz: float | None) -> bool:
    """Whether a sound is long enough and the recording reaches high enough; if not, the flags say why."""
    if draft.values.get("voiced_share", 0.0) > VOICED_FROM:
        draft.flags.append("voiced")
    if draft.sound.interval.duration_ms < SHORTEST_MS:
        draft.flags.append("short")
    elif not supports(method, recording.sampling_rate_hz, reach_hz):
        draft.flags.append("band_too_wide")
    else:
        return True
    return False


def _listen(drafts: Sequence[Draft], recording: Recording, method: Method, response: MicrophoneResponse | None) -> None:
    """Give each draft the spectra of its sound, or the reason why there are none among its flags."""
    intervals = [draft.sound.interval for draft in drafts]
    for draft, heard in zip(drafts, listen(recording, intervals, method, response), strict=True):
        if heard is None:
            draft.flags.append("outside")
        elif np.all(np.any((heard.rows[:1] if heard.windows is None else heard.windows[0]) > 0, axis=1)):
            draft.heard = heard
        else:
            draft.flags.append("silent")


def _add_spectral(drafts: Sequence[Draft], setup: Setup) -> None:
    """Spectral values with their intervals, edge ranges and courses, for sounds heard with one setup."""
    heard = [draft.heard for draft in drafts if draft.heard is not None]
    stacks = np.stack([one.rows for one in heard])
    flat = shape_values(stacks.reshape(-1, stacks.shape[2]), setup)
    columns = {key: column.reshape(stacks.shape[:2]) for key, column in flat.items()}
    columns.update(_mean_moments(heard, setup))
    halves, spans = _intervals(heard, setup)
    ranges = dict(zip(columns, ranges_of(np.stack(list(columns.values()))), strict=True))
    for i, (draft, course) in enumerate(zip(drafts, course_values(heard), strict=True)):
        measured = {key: value for key, column in columns.items() if isfinite(value := float(column[i, 0]))}
        draft.values.update(measured, **course)
        draft.moved.update({key: float(ranges[key][i]) for key in measured})
        reaches = {key: (-half[i], half[i]) for key, half in halves.items()} | {key: s[i] for key, s in spans.items()}
        for key, (below, above) in reaches.items():
            if key in measured and isfinite(below) and isfinite(above):
                draft.low[key], draft.high[key] = measured[key] + float(below), measured[key] + float(above)
        if "peak_hz" not in measured:
            draft.flags.append("peak_at_edge")
        if setup.mid_band is not None and "mid_peak_hz" not in measured:
            draft.flags.append("mid_peak_at_edge")
        draft.flag_edges()


def _add_tonality(drafts: Sequence[Draft], recording: Recording, method: Method) -> None:
    """The ridge's level and width, and the flag ``tonal`` where it is narrow and strong.

    The first version of the house methods measured a ridge against its surroundings, and another width.
    """
    intervals = [draft.sound.interval for draft in drafts]
    first = method.name.startswith("house") and method.noise == "observed"
    found = first_ridges(recording, intervals, method) if first else ridges(recording, intervals, method)
    for draft, ridge in zip(drafts, found, strict=True):
        if ridge is not None:
            names = "tonality_db", "tonality_width_hz" if first else "whistle_width_hz"
            draft.values.update(zip(names, (ridge.level_db, ridge.width_hz), strict=True))
            draft.flags.extend(["tonal"] * ridge.tonal)


def _intervals(heard: Sequence[Listened], setup: Setup) -> tuple[dict[str, Rows], dict[str, Rows]]:
    """Half widths (t,), and reaches below and above (t, 2); none for spectra weighted by amplitude."""
    if setup.method.weighting != "power":
        return {}, {}
    rows = np.stack([one.rows[0] for one in heard])
    effective_s = np.array([one.effective_s for one in heard])
    halves, spans = delta_halves(rows, setup, effective_s), simulated_spans(rows, setup, effective_s)
    windows = [one.windows[0] for one in heard if one.windows is not None]
    if windows:
        apart = windowed_intervals(np.stack(windows), setup, effective_s)
        halves.update(apart[0])
        spans.update(apart[1])
    return halves, spans


def _mean_moments(heard: Sequence[Listened], setup: Setup) -> dict[str, Rows]:
    """Moments of each window, averaged (t, 1 + v), for methods that average moments."""
    windows = [one.windows for one in heard if one.windows is not None]
    if not windows:
        return {}
    stack = np.stack(windows)
    apart = moment_values(stack.reshape(-1, stack.shape[3]), setup)
    return {key: np.mean(column.reshape(stack.shape[:3]), axis=2) for key, column in apart.items()}
