"""Every chart that a client's record supports, drawn into a folder; and two sounds of one word for a family."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from .. import audio, charts, files, progress, store
from ..charts import wording
from ..errors import RefusedError, UsageError
from ..terms import Interval, Method, Recording, SibilantInterval, Sound
from ..terms.case_view import CaseView
from ..terms.clinic import Case
from ..terms.kept import KeptToken
from .caseload import CaseloadHandle, opened
from .report import method_of
from .summarise import case_view

if TYPE_CHECKING:
    from ..charts import Figure
    from ..charts.render import Format

WIDTHS_MM = (170.0, 85.0)  # a page's width and a column's
FORMS: tuple[Format, ...] = ("svg", "pdf", "png")
SPECTRUM_STEP_HZ = 50.0  # points of an average spectrum
LEVEL_TOLERANCE_DB = 0.5  # two sounds of a family are equally loud within this


def draw_all(
    caseload: CaseloadHandle,
    client: str | None,
    folder: Path,
    *,
    forms: tuple[Format, ...] = FORMS,
    widths_mm: tuple[float, ...] = WIDTHS_MM,
) -> list[Path]:
    """Draw every chart the record supports, at 170 and 85 mm, into a folder; return the files in order.

    A chart without anything to show is left out, never drawn empty.

    Raises
    ------
    UsageError
        For a format that charts don't have.
    OutputError
        When the folder can't be written.
    """
    unknown = [form for form in forms if form not in FORMS]
    if unknown:
        raise UsageError(f"a chart can be drawn as {', '.join(FORMS)}; not {unknown[0]!r}")
    view, case = case_view(caseload, client)
    files.make_folder(folder)
    written = []
    for name, draw in charts_of(view, case, caseload):
        for width_mm in widths_mm:
            figure = draw(width_mm)
            for form in forms:
                path = folder / f"{view.client.code}-{name}-{width_mm:.0f}mm.{form}"
                files.write_bytes(path, charts.render(figure, form))
                written.append(path)
    return written


def charts_of(view: CaseView, case: Case, caseload: CaseloadHandle) -> Iterator[tuple[str, Callable[[float], Figure]]]:
    """Names of the charts that the record supports, each with what draws it at a width."""
    method = method_of(view, case)
    shown = [summary for summary in view.summaries if summary.shown and view.main_measure in summary.measures]
    if shown:
        yield "months", lambda width: charts.months_chart(view, method=method, width_mm=width)
    groups = spectra_of(view, case, method, caseload)
    if groups is not None:
        whose = wording.who(view.client)
        yield "spectra", lambda width: charts.session_spectra(*groups, method=method, who=whose, width_mm=width)
    if any(point.key == view.main_measure for point in view.spreads):
        yield "spread", lambda width: charts.spread_chart(view, method=method, width_mm=width)
    if any(cell.key == view.main_measure and cell.rank is not None for cell in view.contexts):
        yield "contexts", lambda width: charts.context_map(view, method=method, width_mm=width)
    if any(one.key == view.main_measure and np.isfinite(one.difference) for one in view.contrasts):
        yield "separation", lambda width: charts.separation_chart(view, method=method, width_mm=width)
    thrice = said_thrice(view, case, method)
    result = next((one for one in view.sets_of_three if one.key == view.main_measure and one.n_sets), None)
    if thrice and result is not None:
        who = wording.who(view.client)
        yield "sets-of-three", lambda width: charts.sets_chart(thrice, result, method=method, who=who, width_mm=width)
    if any(word.heard for summary in shown for word in summary.measures[view.main_measure].words):
        yield "heard", lambda width: charts.heard_chart(view, method=method, width_mm=width)


def spectra_of(
    view: CaseView, case: Case, method: Method, caseload: CaseloadHandle
) -> tuple[charts.SpectrumGroup, charts.SpectrumGroup] | None:
    """Spectra of the baseline's and the last probe's /s/ from the kept words; None where no sound was kept."""
    shown = [summary for summary in view.summaries if summary.shown and summary.joined]
    baseline = {summary.number for summary in shown if summary.number in view.reference_sessions}
    if not baseline or shown[-1].number in baseline:
        return None
    with opened(caseload) as one:
        before = _group(one, case, method, baseline, wording.reference_words(view))
        after = _group(one, case, method, {shown[-1].number}, "last probe")
    return (before, after) if before is not None and after is not None else None


def said_thrice(view: CaseView, case: Case, method: Method) -> list[charts.SaidThrice]:
    """Words said three times in sessions whose figures may be shown, with the main measure at each saying."""
    shown = {summary.number for summary in view.summaries if summary.shown}
    tokens = [token for token in case.tokens if token.session in shown]
    return [
        charts.SaidThrice(three[0].prompt.split()[0], _thrice(three, view.main_measure, method))
        for three in progress.sets_of_three(tokens)
    ]


def _thrice(three: tuple[KeptToken, KeptToken, KeptToken], key: str, method: Method) -> tuple[float, float, float]:
    values = []
    for kept in three:
        values.append(progress.values_under(kept, method.label).get(key, float("nan")))
    return values[0], values[1], values[2]


def _group(
    one: store.Caseload, case: Case, method: Method, sessions: set[int], name: str
) -> charts.SpectrumGroup | None:
    frequency_hz = np.arange(method.band_hz[0], method.band_hz[1] + 1.0, SPECTRUM_STEP_HZ)
    rows = []
    for kept in case.tokens:
        sound, measured = kept.sound, "centroid_hz" in progress.values_under(kept, method.label)
        if kept.session in sessions and measured and _enters(sound) and kept.clip and sound.edges is not None:
            rows.append(_level_db(one, kept.clip, sound.edges, method, frequency_hz))
    return charts.SpectrumGroup(name, frequency_hz, np.array(rows)) if rows else None


def _enters(sound: Sound) -> bool:
    spoken = sound.utterance
    return (
        sound.finding == "found"
        and sound.slot is not None
        and sound.slot.phone == "S"
        and spoken is not None
        and spoken.counts
        and spoken.voice == "client"
    )


def _level_db(
    one: store.Caseload, clip: str, edges: SibilantInterval, method: Method, frequency_hz: np.ndarray
) -> np.ndarray:
    from ..acoustics import spectrum

    sound, start_s = _kept_word(one, clip)
    hiss = edges.interval
    found = spectrum(sound, Interval(hiss.onset_s - start_s, hiss.offset_s - start_s), method)
    power = np.interp(frequency_hz, found.frequency_hz, found.power_density)
    level_db: np.ndarray = 10.0 * np.log10(np.maximum(power, 1e-20))
    return level_db


def _kept_word(one: store.Caseload, clip: str) -> tuple[Recording, float]:
    suffix, start_s = store.clip_of(one, clip)
    return audio.recording_from_bytes(store.clip_bytes(one, clip, suffix), "kept word"), start_s


def write_pair(caseload: CaseloadHandle, client: str | None, folder: Path, *, confirmed: bool) -> tuple[Path, Path]:
    """Write two sounds of one word, an early and a late one, matched in loudness and undated, for a family to hear.

    The word is the one whose sounds lie nearest each session's median; a clinician listens first and confirms.

    Raises
    ------
    RefusedError
        Without the clinician's confirmation, without consent to recording, or without two kept sounds of one word.
    """
    view, _ = case_view(caseload, client)
    code, consent = view.client.code, view.client.consent
    if not confirmed:
        raise RefusedError(f"{code}: listen to both sounds first and confirm; what a family hears is a person's choice")
    if consent is None or not consent.recording or consent.withdrawn_on is not None:
        raise RefusedError(f"{code}: no consent to recording is noted; note it with sibilant client change first")
    if not view.before_after:
        raise RefusedError(f"{code}: no word was kept both early and late; keep words when recording probes")
    pair = view.before_after[0]
    with opened(caseload) as one:
        sounds = [_kept_word(one, clip)[0] for clip in (pair.early_clip, pair.late_clip)]
    files.make_folder(folder)
    paths = (folder / f"{files.safe_name(pair.word)}-A.wav", folder / f"{files.safe_name(pair.word)}-B.wav")
    for path, sound in zip(paths, matched(*sounds), strict=True):
        audio.write_wav(path, sound.samples, sound.sampling_rate_hz)
    return paths


def matched(first: Recording, second: Recording) -> tuple[Recording, Recording]:
    """Turn the louder of two sounds down until both have the same level (RMS over the whole word).

    Examples
    --------
    >>> one = audio.recording_from_samples(np.full(100, 0.5, np.float32), 44100)
    >>> two = audio.recording_from_samples(np.full(100, 0.25, np.float32), 44100)
    >>> [float(sound.samples[0]) for sound in matched(one, two)]
    [0.25, 0.25]
    """
    levels = [float(np.sqrt(np.mean(np.square(sound.samples, dtype=np.float64)))) for sound in (first, second)]
    quieter = min(levels)
    turned = [
        replace(sound, samples=(sound.samples * (quieter / level if level > 0 else 1.0)).astype(np.float32))
        for sound, level in zip((first, second), levels, strict=True)
    ]
    return turned[0], turned[1]
