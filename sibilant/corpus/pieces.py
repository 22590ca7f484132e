"""One recording measured: the unit of work, the same in a thread and on another machine."""

from __future__ import annotations

import ctypes
import dataclasses
import hashlib
import json
import platform
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .. import files, tables
from ..errors import InputError, ListError, RecordingError
from ..prompts import phone_named
from ..terms import Mark, Method, Recording
from .request import Piece

if TYPE_CHECKING:  # what measures is loaded where something is measured: who gathers from workers goes without
    from ..pipeline import Analysis

LIBRARIES = ("sibilant", "numpy", "scipy", "soundfile", "praat-parselmouth")

_TRIM, _MMAP = -1, -3  # M_TRIM_THRESHOLD and M_MMAP_THRESHOLD of mallopt(3)
_TRIM_BYTES, _MMAP_BYTES = 134_217_728, 33_554_432  # 128 and 32 MiB, over what one recording takes


def versions() -> dict[str, str]:
    """Versions of what decides a figure."""
    return dict(_versions())


@lru_cache(maxsize=1)
def _versions() -> tuple[tuple[str, str], ...]:
    return (("python", platform.python_version()), *((name, version(name)) for name in LIBRARIES))


def key_of(piece: Piece, methods: Sequence[Method]) -> str:
    """Return the hash of everything but the sound itself that decides a piece's rows."""
    told = [
        piece.recording,
        [repr(prompt) for prompt in piece.prompts],
        [repr(given) for given in piece.given],
        piece.marked,
        piece.carried,
        piece.problem,
        piece.channel,
        [dataclasses.asdict(method) for method in methods],
        versions(),
    ]
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def measured_piece(piece: Piece, methods: Sequence[Method]) -> str:
    """Measure one piece and return its part as JSON: key, hash of the sound, counts, lines of the table, any fault.

    The lines are those of the whole run's table, so that whoever gathers has nothing to do by sound or cell.
    Whatever can't be measured becomes a row with its reason; nothing stops the run.
    """
    keep_allocator_quick()
    fault, seen = "", {}
    sha256 = ""  # read with the sound; by itself only where that can't be read
    try:
        if piece.problem:
            raise ListError(piece.problem)
        analysis, rows = _rows(piece, methods)
        sha256, seen = analysis.source.sha256, _seen(piece, analysis)
    except InputError as error:
        sha256 = hash_of(piece)
        rows = [_refused(piece, sha256, str(error))]
    except Exception as error:  # noqa: BLE001 - a fault in one file must not end a run of days; it is counted and told
        fault, sha256 = f"{type(error).__name__}: {error}", hash_of(piece)
        rows = [_refused(piece, sha256, f"fault of the program ({fault})")]
    part = {
        "key": key_of(piece, methods),
        **seen,
        "recording": piece.recording,
        "sha256": sha256,
        "fault": fault,
        **_counts(rows),
        "lines": "".join(tables.row_lines(rows, table_columns(tuple(name for name, _ in piece.carried)))),
    }
    return json.dumps(part, ensure_ascii=False, allow_nan=False)


@lru_cache(maxsize=1)
def table_columns(carried: tuple[str, ...]) -> tuple[tables.Column, ...]:
    """Return the columns of the token table and those carried through from the manifest."""
    own = tables.token_columns()
    known = {column.name for column in own}
    more = (tables.Column(name, "string", "Carried from the manifest") for name in carried if name not in known)
    return (*own, *more)


def _counts(rows: Sequence[tables.Row]) -> dict[str, dict[str, int]]:
    """Rows by finding, and reasons among their flags; the flag of what can't be read is one reason, whole."""
    findings, reasons = Counter[str](), Counter[str]()
    for row in rows:
        finding, flags = str(row.get("finding") or ""), str(row.get("flags") or "")
        findings[finding] += 1
        reasons.update([flags] if finding == "unreadable" else [flag for flag in flags.split(";") if flag])
    return {"findings": findings, "reasons": reasons}


def hash_of(piece: Piece) -> str:
    """Hash of a recording's bytes as they are now; empty where they can't be read."""
    path = Path(piece.path)
    try:
        return files.sha256_of(path) if path.is_file() else ""
    except OSError:
        return ""


def _refused(piece: Piece, sha256: str, reason: str) -> tables.Row:
    cells = dict(piece.carried)
    labels = tables.Labels(piece.recording, sha256, *(cells.get(key, "") for key in ("speaker", "session", "device")))
    return {**tables.unreadable_row(labels, reason), **cells}


def _seen(piece: Piece, analysis: Analysis) -> dict[str, Any]:
    """What the recording shows of where it is cut off, and what was taken instead."""
    return {
        "sampling_rate_hz": analysis.sampling_rate_hz,
        "n_bounded": sum(sound.edges is not None for sound in analysis.sounds),
        "cut_hz": analysis.own_cut.frequency_hz if analysis.own_cut is not None else None,
        "corpus_cut_hz": piece.corpus_cut_hz,
    }


def _rows(piece: Piece, methods: Sequence[Method]) -> tuple[Analysis, list[tables.Row]]:
    from .. import audio, pipeline

    recording = audio.read_recording(piece.path, channel=piece.channel)
    cells = dict(piece.carried)
    sha256 = recording.source.sha256
    labels = tables.Labels(piece.recording, sha256, *(cells.get(key, "") for key in ("speaker", "session", "device")))
    if piece.marked:
        analysis = _given(recording, piece, methods)
        return analysis, _marked_rows(piece, analysis, labels)
    analysis = pipeline.analyse(recording, piece.prompts, methods=methods, corpus_cut_hz=piece.corpus_cut_hz)
    return analysis, [
        {**row, **_kept(row, cells)} for row in tables.sound_rows(analysis.sounds, analysis.measurements, labels)
    ]


def _kept(row: tables.Row, cells: dict[str, str]) -> dict[str, str]:
    """Cells carried through; where the table itself says something (a level, a cue), an empty one leaves it."""
    return {name: cell for name, cell in cells.items() if cell or not row.get(name)}


def _given(recording: Recording, piece: Piece, methods: Sequence[Method]) -> Analysis:
    from .. import pipeline

    for given in piece.given:
        if given.interval.offset_s > recording.duration_s + 0.001:
            raise RecordingError(
                f"{Path(piece.path).name}: a given interval ends at {given.interval.offset_s} s, but the recording at"
                f" {recording.duration_s:.3f} s; correct the interval"
            )
    marks = [Mark(given.interval, given.label, phone_named(given.label)) for given in piece.given]
    return pipeline.analyse_marked(recording, marks, piece.prompts, methods=methods, corpus_cut_hz=piece.corpus_cut_hz)


def _marked_rows(piece: Piece, analysis: Analysis, labels: tables.Labels) -> list[tables.Row]:
    """Rows with what the manifest carries: of its line of the stretch where one was marked, else of the first line."""
    carried = {(given.interval.onset_s, given.interval.offset_s): dict(given.carried) for given in piece.given}
    rows = tables.sound_rows(analysis.sounds, analysis.measurements, labels)
    marked = [carried.get(_edges(row), {}) if row.get("boundary") == "reviewed" else {} for row in rows]
    return [{**row, **_kept(row, dict(piece.carried) | own)} for row, own in zip(rows, marked, strict=True)]


def _edges(row: tables.Row) -> tuple[float, float]:
    return float(str(row["onset_s"])), float(str(row["offset_s"]))


@lru_cache(maxsize=1)
def keep_allocator_quick() -> bool:
    """Let the C library keep freed memory, once a process; return whether it could be told.

    Workers that a nanny starts are told to give memory back at once (``MALLOC_TRIM_THRESHOLD_`` of 64 KiB), which
    makes array code about 2.5 times slower (measured by this project); glibc lets a running process undo that.
    """
    if platform.system() != "Linux" or platform.libc_ver()[0] != "glibc":
        return False
    told: Any = ctypes.CDLL(None).mallopt
    return bool(told(_TRIM, _TRIM_BYTES)) and bool(told(_MMAP, _MMAP_BYTES))
