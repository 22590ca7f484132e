"""Recordings and what was said in them come in; words, sibilants and measures go out as rows, lines and files."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from .. import audio, files, methods, tables
from ..errors import ListError, RecordingError, UsageError
from ..prompts import phone_named, prompts_from, prompts_of
from ..terms import Interval, Mark, Measurement, Method, MicrophoneResponse, Prompt, Recording, Sound

if TYPE_CHECKING:
    from ..pipeline import Analysis


@dataclass(frozen=True, slots=True)
class MeasureRequest:
    """What was asked: recordings, prompts, methods, and where results go."""

    recordings: Sequence[Path] = ()
    words: str = ""
    say: str = ""
    method_names: Sequence[str] = ()
    """Without any, one house method for all recordings: the widest that all of them hold."""
    modelled: bool = False
    channel: int | None = None
    response: Path | None = None
    intervals: Path | None = None
    alias: str = ""
    same_band: bool = False
    """Narrow the methods to what all the recordings hold."""
    held: Mapping[Path, bytes] = field(default_factory=dict)
    """Recordings that are at hand as bytes and in no file, by name."""


@dataclass(frozen=True, slots=True)
class MeasuredFile:
    """One recording's result: its analysis, or why its file could not be read."""

    name: str
    analysis: Analysis | None
    rows: Sequence[tables.Row]
    recording: Recording | None = None
    refusal: str = ""


@dataclass(frozen=True, slots=True)
class _Plan:
    """The request with its files read."""

    prompts: tuple[Prompt, ...]
    methods: tuple[Method, ...]
    response: MicrophoneResponse | None
    intervals: tuple[tables.IntervalRow, ...] | None = None


def measure(request: MeasureRequest) -> list[MeasuredFile]:
    """Measure each recording of a request.

    Raises
    ------
    UsageError
        When the question contradicts itself.
    InputError
        When a list or a method can't be used, or none of the recordings could be read.
    """
    if not request.recordings:
        raise UsageError("no recording given; name one or more sound files")
    plan = _plan(request)
    first_look = replace(plan, methods=plan.methods[:1]) if request.same_band else plan
    results = [_one(path, request, first_look) for path in request.recordings]
    if all(result.analysis is None for result in results):
        first = results[0].refusal
        more = f" (and {len(results) - 1} more that can't be read)" if len(results) > 1 else ""
        raise RecordingError(first + more)
    if not request.method_names:
        results, plan = _under_the_widest(results, plan)
    return _in_one_band(results, plan) if request.same_band else results


def measure_given(given: Sequence[tuple[str, bytes]], *, words: str = "", say: str = "") -> list[MeasuredFile]:
    """Measure recordings handed over as names and bytes; none is ever written into a file.

    Raises
    ------
    InputError, ListError, UsageError
        As :func:`measure` does.
    """
    held = {Path(files.safe_name(name)): content for name, content in given}
    return measure(MeasureRequest(list(held), words=words, say=say, held=held))


def _under_the_widest(results: list[MeasuredFile], plan: _Plan) -> tuple[list[MeasuredFile], _Plan]:
    """Return results under the widest house method that all recordings hold, the narrowest where none does."""
    read = [result.analysis for result in results if result.analysis is not None]
    cuts = [one.suitability.cut.frequency_hz if one.suitability.cut is not None else None for one in read]
    widest = methods.widest(cuts, [one.sampling_rate_hz for one in read]) or methods.HOUSE_7K
    if widest == plan.methods[0]:
        return results, plan
    return [_narrowed(result, [widest], plan) for result in results], replace(plan, methods=(widest,))


def _in_one_band(results: list[MeasuredFile], plan: _Plan) -> list[MeasuredFile]:
    """Measure again under methods narrowed to what the narrowest of the recordings holds, their names saying so."""
    reaches = [_reach_hz(result) for result in results if result.analysis is not None]
    narrowed = [methods.matched(method, *reaches) for method in plan.methods]
    return [_narrowed(result, narrowed, plan) for result in results]


def _reach_hz(result: MeasuredFile) -> float:
    """Up to where a recording holds sound: to where it is cut off, or half its sampling rate."""
    if result.analysis is None:
        return math.inf
    half, cut = result.analysis.sampling_rate_hz / 2, result.analysis.suitability.cut
    return half if cut is None else min(half, cut.frequency_hz)


def _narrowed(result: MeasuredFile, narrowed: Sequence[Method], plan: _Plan) -> MeasuredFile:
    """Return a result measured again, row by row as it was; prompts not heard stay as they are."""
    from ..pipeline import measure_again

    if result.analysis is None or result.recording is None:
        return result
    heard = {one.sound_id for one in result.analysis.measurements}
    sounds = [sound for sound in result.analysis.sounds if sound.id in heard]
    again = [measure_again(result.recording, sounds, method, response=plan.response) for method in narrowed]
    labels = tables.Labels(recording=result.name, sha256=result.recording.source.sha256)
    analysis = replace(result.analysis, measurements=tuple(one for group in again for one in group))
    return replace(result, analysis=analysis, rows=_rows(analysis, labels))


def _rows(analysis: Analysis, labels: tables.Labels) -> list[tables.Row]:
    return tables.sound_rows(analysis.sounds, analysis.measurements, labels)


def _plan(request: MeasureRequest) -> _Plan:
    if request.alias and len(request.recordings) > 1:
        raise UsageError("--alias names one recording, but several are given; measure them one by one")
    chosen = tuple(methods.get_method(name) for name in dict.fromkeys(request.method_names)) or (methods.HOUSE_15K,)
    response = None
    if request.response is not None:
        frequencies, levels = tables.read_response(request.response)
        response = MicrophoneResponse(request.response.stem, frequencies, levels)
    given = tables.read_intervals(request.intervals) if request.intervals is not None else None
    return _Plan(prompts_from(request.words, request.say), chosen, response, given)


def measure_recording(
    recording: Recording, request: MeasureRequest, *, intervals: Sequence[Interval] | None = None
) -> MeasuredFile:
    """Measure a recording that is at hand, under the widest house method that it holds where the request names none.

    Parameters
    ----------
    recording : Recording
        One channel at its own rate.
    request : MeasureRequest
        Prompts and methods; its list of files is not looked at.
    intervals : sequence of Interval, optional
        The sibilants themselves, in place of prompts.

    Raises
    ------
    InputError
        When a list, a method or an interval can't be used.
    """
    plan = _plan(request)
    if intervals is not None:
        plan = replace(plan, intervals=tuple(tables.IntervalRow(one.onset_s, one.offset_s) for one in intervals))
    result = _heard(recording, Path(recording.source.path), request, plan)
    return result if request.method_names else _under_the_widest([result], plan)[0][0]


def _one(path: Path, request: MeasureRequest, plan: _Plan) -> MeasuredFile:
    try:
        if path in request.held:
            recording = audio.recording_from_bytes(request.held[path], path.name, channel=request.channel)
        else:
            recording = audio.read_recording(path, channel=request.channel)
        return _heard(recording, path, request, plan)
    except RecordingError as error:
        name = request.alias or path.name
        labels = tables.Labels(recording=name)
        return MeasuredFile(name, None, [tables.unreadable_row(labels, str(error))], refusal=str(error))


def _heard(recording: Recording, path: Path, request: MeasureRequest, plan: _Plan) -> MeasuredFile:
    name = request.alias or path.name
    analysis = _analysed(recording, path, request, plan)
    labels = tables.Labels(recording=name, sha256=recording.source.sha256)
    return MeasuredFile(name, analysis, _rows(analysis, labels), recording)


def _analysed(recording: Recording, path: Path, request: MeasureRequest, plan: _Plan) -> Analysis:
    from ..pipeline import analyse, analyse_marked

    prompts = prompts_of(plan.prompts, path)
    if plan.intervals is not None:
        rows = [row for row in plan.intervals if row.recording in ("", path.name, path.stem)]
        marks = given_marks(recording, rows)
        return analyse_marked(recording, marks, prompts, methods=plan.methods, response=plan.response)
    if plan.prompts and not prompts:
        raise ListError(f"{path.name}: the list names no prompt for this recording; fill its column recording")
    return analyse(recording, prompts, methods=plan.methods, modelled=request.modelled, response=plan.response)


def given_marks(recording: Recording, rows: Sequence[tables.IntervalRow]) -> list[Mark]:
    """Return the stretches that a person marked in a recording.

    Raises
    ------
    ListError
        When a stretch lies outside the recording.
    """
    for row in rows:
        if row.offset_s > recording.duration_s + 0.001:
            raise ListError(
                f"{recording.source.path}: a given interval ends at {row.offset_s} s, but the recording at"
                f" {recording.duration_s:.3f} s; correct the interval"
            )
    return [Mark(Interval(row.onset_s, row.offset_s), row.label, phone_named(row.label)) for row in rows]


def write(results: Sequence[MeasuredFile], to: Path) -> None:
    """Write the rows of all results as one table."""
    tables.write_table(to, [row for result in results for row in result.rows])


def shown_rows(results: Sequence[MeasuredFile]) -> list[tables.Row]:
    """Return all rows with every column, rounded, ready to print."""
    return [row for result in results for row in tables.json_rows(result.rows)]


def shown_columns(rows: Sequence[tables.Row], *, all_columns: bool = False) -> tuple[str, ...]:
    """Return the columns to print of rows: a first look's that hold any value, or all."""
    return tuple(column.name for column in tables.token_columns()) if all_columns else tables.few(rows)


def summary(results: Sequence[MeasuredFile]) -> list[str]:
    """Say of each recording how much was measured, what was left out and why, and what would help most."""
    return [line for result in results for line in _summary_of(result)]


def _summary_of(result: MeasuredFile) -> list[str]:
    analysis = result.analysis
    if analysis is None:
        return [f"{result.name}: not read ({result.refusal})"]
    lines = [f"{result.name}: {counted(analysis)}{_under(analysis)}"]
    lines += [f"  {remedy}" for remedy in analysis.suitability.remedies]
    if any(sound.finding in ("no_frication", "extra", "unsure") for sound in analysis.sounds):
        lines.append("  Rows with no_frication, extra or unsure are questions: please listen there.")
    return lines


def _under(analysis: Analysis) -> str:
    """Say which methods the figures were made with, and from where to where."""
    used = dict.fromkeys(one.method for one in analysis.measurements)
    named = (f"{m.label}, {m.band_hz[0] / 1000:g} to {m.band_hz[1] / 1000:g} kHz" for m in used)
    return "".join(f" ({one})" for one in named)


def counted(analysis: Analysis) -> str:
    """Say "measured k of n expected, left out by reason", over the attempts that count, under the first method.

    A sibilant counts as measured when the method's first spectral value could be had.
    """
    first = analysis.measurements[0].method if analysis.measurements else None
    under = {one.sound_id: one for one in analysis.measurements if one.method == first}
    sounds = analysis.sounds
    expected = [s for s in sounds if s.slot is not None and (s.utterance is None or s.utterance.counts)]
    unheard = [s for s in sounds if s.utterance is None and s.prompt_index]
    measured = {key for key, one in under.items() if "centroid_hz" in one.measures.values}
    left_out = [s for s in expected if s.id not in measured]
    reasons = Counter(_reason(s, under.get(s.id)) for s in left_out)
    if unheard:
        reasons["prompt not heard"] = len(unheard)
    extra = sum(s.finding == "extra" for s in sounds)
    text = f"measured {len(expected) - len(left_out)} of {len(expected) + len(unheard)} expected"
    if not expected and not unheard:
        return f"{extra} sibilants found, none expected" if extra else "no sibilant expected, none found"
    if reasons:
        text += ", left out: " + ", ".join(f"{n} {why}" for why, n in reasons.most_common())
    return text + (f"; {extra} where none was expected" if extra else "")


def _reason(sound: Sound, under: Measurement | None) -> str:
    if sound.finding == "no_frication":
        return "no frication found"
    if sound.edges is None or under is None:
        return "not sure which word"
    reasons = [flag for flag in under.flags if flag in ("short", "band_too_wide", "moments_not_supported")]
    return reasons[0].replace("_", " ") if reasons else "spectrum not supported"
