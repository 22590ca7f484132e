"""Measure recordings: words, sibilants, boundaries, measures, as a table and as pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from .. import audio, files, methods, segment, tables
from ..analyse import Analysis, analyse, analyse_given
from ..errors import InputError, ListError, RecordingError, UsageError
from ..terms import Interval, Method, MicrophoneResponse, Prompt, Recording, SibilantInterval
from .prompts import prompts_from, prompts_of


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked: recordings, prompts, methods, and where results go."""

    recordings: Sequence[Path]
    words: str = ""
    say: str = ""
    method_names: Sequence[str] = ("house-15k",)
    modelled: bool = False
    channel: int | None = None
    response: Path | None = None
    intervals: Path | None = None
    alias: str = ""


@dataclass(frozen=True, slots=True)
class Measured:
    """One recording's result: its analysis, or why it could not be read."""

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
    intervals: tuple[tables.IntervalRow, ...] = field(default=())


def measure(request: Request) -> list[Measured]:
    """Measure each recording of a request.

    Raises
    ------
    UsageError
        When the question contradicts itself.
    InputError
        When a list or a method can't be used, or none of the recordings could be read.
    """
    plan = _plan(request)
    results = [_one(path, request, plan) for path in request.recordings]
    if all(result.analysis is None for result in results):
        first = results[0].refusal
        more = f" (and {len(results) - 1} more that can't be read)" if len(results) > 1 else ""
        raise RecordingError(first + more)
    return results


def _plan(request: Request) -> _Plan:
    if not request.recordings:
        raise UsageError("no recording given; name one or more sound files")
    if request.alias and len(request.recordings) > 1:
        raise UsageError("--alias names one recording, but several are given; measure them one by one")
    if request.intervals is not None and (request.words or request.say):
        raise UsageError("--intervals gives the sibilants themselves; leave --words and --say out")
    chosen = tuple(methods.get_method(name) for name in dict.fromkeys(request.method_names))
    response = None
    if request.response is not None:
        frequencies, levels = tables.read_response(request.response)
        response = MicrophoneResponse(request.response.stem, frequencies, levels)
    given = tables.read_intervals(request.intervals) if request.intervals is not None else ()
    return _Plan(prompts_from(request.words, request.say), chosen, response, given)


def _one(path: Path, request: Request, plan: _Plan) -> Measured:
    name = request.alias or path.name
    try:
        recording = audio.read_recording(path, channel=request.channel)
        analysis = _analysed(recording, path, request, plan)
    except RecordingError as error:
        labels = tables.Labels(recording=name)
        return Measured(name, None, [tables.unreadable_row(labels, str(error))], refusal=str(error))
    labels = tables.Labels(recording=name, sha256=recording.source.sha256)
    return Measured(name, analysis, tables.token_rows(analysis.tokens, labels), recording)


def _analysed(recording: Recording, path: Path, request: Request, plan: _Plan) -> Analysis:
    if request.intervals is not None:
        sounds = given_sounds(recording, [row for row in plan.intervals if row.recording in ("", path.name, path.stem)])
        return analyse_given(recording, sounds, methods=plan.methods, response=plan.response)
    prompts = prompts_of(plan.prompts, path)
    if plan.prompts and not prompts:
        raise ListError(f"{path.name}: the list names no prompt for this recording; fill its column recording")
    return analyse(recording, prompts, methods=plan.methods, modelled=request.modelled, response=plan.response)


def given_sounds(recording: Recording, rows: Sequence[tables.IntervalRow]) -> list[SibilantInterval]:
    """Return the stretches that a person marked as bounded sibilants.

    Raises
    ------
    InputError
        When a stretch lies outside the recording.
    """
    for row in rows:
        if row.offset_s > recording.duration_s + 0.001:
            raise InputError(
                f"{recording.source.path}: a given interval ends at {row.offset_s} s, but the recording at"
                f" {recording.duration_s:.3f} s; correct the interval"
            )
    return [segment.given(recording, Interval(row.onset_s, row.offset_s)) for row in rows]


def write(results: Sequence[Measured], to: Path) -> None:
    """Write the rows of all results as one table."""
    tables.write_table(to, [row for result in results for row in result.rows])


def table(
    *recordings: str | Path, words: str = "", say: str = "", method_names: Sequence[str] = ("house-15k",)
) -> list[tables.Row]:
    """Measure recordings and return one row (a dict by column name) per sibilant; see ``docs/measures.md``.

    Any data-frame library takes the result as it is.

    Examples
    --------
    >>> import sibilant
    >>> sound = sibilant.reference_audio() / "word_seal.flac"
    >>> rows = table(sound, say="seal")  # doctest: +SKIP
    """
    results = measure(Request([Path(path) for path in recordings], words, say, method_names))
    return [row for result in results for row in tables.json_rows(result.rows)]
