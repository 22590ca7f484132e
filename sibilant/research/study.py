"""Compare groups of speakers in a table of tokens, and write what was found so that it can be repeated."""

from __future__ import annotations

import dataclasses
import json
import math
import platform
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from .. import files, methods, study
from ..errors import MethodError, OutputError
from ..study import Question, Study
from ..tables.parquet import read_frame
from ..terms import Method
from .study_columns import decimals_of

__all__ = ["RUN_FILE", "Question", "StudyRequest", "method_of", "run_study"]

RUN_FILE = "study.json"
LIBRARIES = ("sibilant", "numpy", "scipy", "pandas", "statsmodels", "scikit-learn")
MARK = "Invented data"


@dataclass(frozen=True, slots=True)
class StudyRequest:
    """What is asked: a table of tokens, the question, where results go, and what judges heard, if any.

    ``recordings``: folder below which the table's recordings lie; cepstra are then taken from them, and all is measured
    again with the edges moved.
    """

    table: Path
    question: Question
    to: Path
    judgements: Path | None = None
    recordings: Path | None = None


def run_study(order: StudyRequest) -> list[str]:
    """Compare the groups of a table and write tables, figures, a methods paragraph and a data dictionary.

    Returns
    -------
    list of str
        Lines to print: what was compared, the differences, and where all lies.

    Raises
    ------
    UsageError, InputError
        When the question, the table or the place can't be used.
    """
    from . import study_figures, study_sound, study_tables

    _prepare(order.to)
    frame = read_frame(order.table)
    found = study.compare(frame, order.question)
    heard = study_tables.heard(order.judgements, found) if order.judgements else None
    method = method_of(found.prepared.method)
    moved: tuple[study_sound.Moved, ...] = ()
    if order.recordings is not None:
        found = dataclasses.replace(
            found,
            evaluations=(
                *found.evaluations,
                *study_sound.with_cepstra(found.prepared, order.question, order.recordings),
            ),
        )
        if method is not None:
            moved = study_sound.with_edges_moved(found.prepared, order.question, order.recordings, method)
    who = mark_of(frame)
    document = told(found, order, method, heard)
    again = [(one.way, one.effects) for one in moved]
    study_tables.write_all(order.to, found, heard, again)
    document["edges_moved"] = [{"way": one.way, "effects": [rounded(e) for e in one.effects]} for one in moved]
    names = study_figures.write_all(order.to / "figures", found, method, who)
    document["figures"] = names
    files.write_text(order.to / RUN_FILE, json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    files.write_text(order.to / "methods.md", _methods_text(document, who))
    return study_tables.summary(found, heard, order.to, again)


def _prepare(to: Path) -> None:
    if to.exists() and not to.is_dir():
        raise OutputError(f"{to.name}: a file stands here; name a folder for the study")
    if to.is_dir() and any(to.iterdir()):
        raise OutputError(f"{to.name}: is not empty; name another folder for the study, or clear this one")
    files.make_folder(to / "figures")


def method_of(label: str) -> Method | None:
    """Return the method of a table's label such as ``house-15k/1``; None where this version does not know it."""
    name, _, number = label.partition("/")
    try:
        found = methods.get_method(name)
    except MethodError:
        return None
    return found if number in ("", str(found.version)) else None


def mark_of(frame: Any) -> str:
    """Return the mark of invented data where any column carries it, so that every picture does."""
    for name in frame.columns:
        if frame[name].dtype.kind not in "fi" and frame[name].astype(str).str.startswith(MARK).any():
            return str(frame[name][frame[name].astype(str).str.startswith(MARK)].iloc[0])
    return ""


def told(found: Study, order: StudyRequest, method: Method | None, heard: Any) -> dict[str, Any]:
    """Return the run file: question, data, figures rounded as they are told, versions and hashes; no clock."""
    prepared = found.prepared
    document = {
        "what": "sibilant study",
        "caution": study.CAUTION,
        "table": {"name": order.table.name, "sha256": files.sha256_of(order.table)},
        "question": dataclasses.asdict(found.question),
        "versions": {"python": platform.python_version()} | {name: version(name) for name in LIBRARIES},
        "method": _whole_numbers(dataclasses.asdict(method)) if method else None,
        "data": {
            "n_tokens": prepared.n_tokens,
            "n_speakers": prepared.n_speakers,
            "n_groups": len(prepared.groups),
            "groups": list(prepared.groups),
            "design": prepared.design,
            "measures": list(prepared.measures),
            "left_out": dict(prepared.left_out),
            "missing": dict(prepared.missing),
        },
        "n_tests": sum(math.isfinite(effect.p) for effect in found.effects),
        "effects": [rounded(effect) for effect in found.effects],
        "models": [rounded(model) for model in found.models],
        "discriminants": [rounded(one) for one in found.evaluations],
        "normalisations": [rounded(one) for one in found.normalised],
        "sensitivity": [rounded(one) for one in found.sensitivity],
        "n_moved": len(found.sensitivity),
        "n_held": sum(one.holds for one in found.sensitivity),
        "judges": rounded(heard) if heard is not None else None,
        "notes": list(found.notes),
    }
    plain: dict[str, Any] = json.loads(json.dumps(document, default=dict))
    return plain


def rounded(one: Any) -> Any:
    """Return a result as plain data, numbers to the decimals that they are told with, NaN as None."""
    if dataclasses.is_dataclass(one) and not isinstance(one, type):
        measure = str(getattr(one, "measure", ""))
        return {f.name: _told_value(f.name, getattr(one, f.name), measure) for f in dataclasses.fields(one)}
    return one


def _told_value(name: str, value: Any, measure: str) -> Any:
    if isinstance(value, float):
        return None if not math.isfinite(value) else round(value, decimals_of(name, measure))
    if isinstance(value, Mapping):
        return {key: _told_value("estimate", inner, measure) for key, inner in value.items()}
    if isinstance(value, tuple):
        return [
            {**rounded(inner), **_in_unit(inner, measure)}
            if dataclasses.is_dataclass(inner)
            else _told_value(name, inner, measure)
            for inner in value
        ]
    return value


def _in_unit(inner: Any, measure: str) -> dict[str, Any]:
    """Figures of a part that are in its whole's unit."""
    own = str(getattr(inner, "measure", measure))
    return {
        f.name: _told_value(f.name, getattr(inner, f.name), own)
        for f in dataclasses.fields(inner)
        if isinstance(getattr(inner, f.name), float)
    }


def _methods_text(document: Mapping[str, Any], who: str) -> str:
    mark = f"{who}\n\n" if who else ""
    return f"# Methods\n\n{mark}{study.paragraph(document)}\n"


def _whole_numbers(value: Any) -> Any:
    """Return a value with whole numbers written as such, so that the paragraph and the run file write them alike."""
    if isinstance(value, dict):
        return {key: _whole_numbers(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_whole_numbers(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value
