"""Compare groups of speakers in a table of tokens, and write what was found so that it can be repeated."""

from __future__ import annotations

import dataclasses
import json
import math
import platform
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from .. import files, methods, study, tables
from ..errors import ListError, MethodError, OutputError
from ..study import JudgedEffect, Question, Study
from ..tables.parquet import read_frame
from ..terms import Method
from . import study_figures, study_said, study_sound, study_tables
from .study_rounding import rounded, unit_of, whole_numbers

__all__ = ["RUN_FILE", "Question", "StudyRequest", "method_of", "run_study"]

RUN_FILE = "study.json"
LIBRARIES = ("sibilant", "numpy", "scipy", "pandas")
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


Tell = Callable[[str, float], None]


def run_study(order: StudyRequest, tell: Tell = lambda what, share: None) -> list[str]:
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
    _prepare(order.to)
    tell("reading the table", 0.0)
    frame = read_frame(order.table)
    who = mark_of(frame)
    found = study.compare(frame, order.question, lambda what, share: tell(what, 0.05 + 0.6 * share))
    del frame
    heard = heard_of(order.judgements, found) if order.judgements else None
    method = method_of(found.prepared.method)
    moved: tuple[study_sound.Moved, ...] = ()
    if order.recordings is not None:
        tell("measuring again", 0.65)
        cepstra = study_sound.with_cepstra(found.prepared, order.question, order.recordings)
        found = dataclasses.replace(found, evaluations=(*found.evaluations, *cepstra))
        if method is not None:
            moved = study_sound.with_edges_moved(found.prepared, order.question, order.recordings, method)
    again = [(one.way, one.effects) for one in moved]
    tell("writing tables", 0.7)
    study_tables.write_all(order.to, found, heard, again)
    document = told(found, order, method, heard)
    document["edges_moved"] = [{"way": one.way, "effects": [rounded(e) for e in one.effects]} for one in moved]
    tell("drawing figures", 0.8)
    document["figures"] = study_figures.write_all(order.to / "figures", found, method, who)
    files.write_text(order.to / RUN_FILE, json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    files.write_text(order.to / "methods.md", _methods_text(document, who))
    tell("done", 1.0)
    return study_said.summary(found, heard, order.to, again)


def heard_of(path: Path, found: Study) -> JudgedEffect:
    """Read judgements (``recording, prompt_index, slot, judge, type``) and compare by what was heard.

    Raises
    ------
    ListError
        When the file can't be read, or judges none of the tokens.
    """
    rows = [cells for _, cells in tables.read_rows(path, [*study.judges.PLACE, "judge", "type"])]
    frame = study.judged_frame(rows)
    if not len(frame) or not set(frame["recording"]) & set(found.prepared.tokens.get("recording", [])):
        raise ListError(f"{path.name}: judges none of the tokens; recording must be as in the table")
    return study.soft_effects(found.prepared, frame, found.question)


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


def told(found: Study, order: StudyRequest, method: Method | None, heard: JudgedEffect | None) -> dict[str, Any]:
    """Return the run file: question, data, figures rounded as they are told, versions and hashes; no clock."""
    document = {
        "what": "sibilant study",
        "caution": study.CAUTION,
        "table": {"name": order.table.name, "sha256": files.sha256_of(order.table)},
        "question": dataclasses.asdict(found.question),
        "leading": found.question.leading,
        "level": study.LEVEL,
        "versions": {"python": platform.python_version()} | {name: version(name) for name in LIBRARIES},
        "method": whole_numbers(dataclasses.asdict(method)) if method else None,
        "data": _data(found),
        "units": {measure: unit_of(measure) for measure in found.prepared.measures},
        **_counts(found),
        "recorded": rounded(found.recorded),
        "missing": [rounded(one) for one in found.missing],
        "bounds": [rounded(one) for one in found.bounds],
        "analyses": [rounded(one) for one in found.analyses],
        "effects": [rounded(effect) for effect in found.effects],
        "models": [rounded(model) for model in found.models],
        "discriminants": [rounded(one) for one in found.evaluations],
        "normalisations": [rounded(one) for one in found.normalised],
        "sensitivity": [rounded(one) for one in found.sensitivity],
        "judges": rounded(heard) if heard is not None else None,
        "notes": list(found.notes),
    }
    plain: dict[str, Any] = json.loads(json.dumps(document, default=dict))
    return plain


def _data(found: Study) -> dict[str, Any]:
    prepared = found.prepared
    return {
        "n_tokens": prepared.n_tokens,
        "n_speakers": prepared.n_speakers,
        "n_groups": len(prepared.groups),
        "n_several": int(prepared.tokens.groupby("speaker")["group"].nunique().gt(1).sum()),
        "groups": list(prepared.groups),
        "design": prepared.design,
        "measures": list(prepared.measures),
        "left_out": dict(prepared.left_out),
        "missing": dict(prepared.missing),
    }


def _counts(found: Study) -> dict[str, Any]:
    """How many differences were tested, are claimed, and hold."""
    contrasts = [one for model in found.models for one in model.contrasts]
    return {
        "n_tests": {
            "paired": sum(math.isfinite(effect.p) for effect in found.effects),
            "mixed": sum(math.isfinite(one.p) for one in contrasts),
        },
        "n_differences": {
            "all": len(found.analyses),
            "claimed": sum(one.claimed for one in found.analyses),
            "disagree": sum(not one.agree for one in found.analyses),
        },
        "n_bounds": {"all": len(found.bounds), "one_sided": sum(one.one_sided for one in found.bounds)},
        "n_moved": len(found.sensitivity),
        "n_held": sum(one.holds for one in found.sensitivity),
    }


def _methods_text(document: Mapping[str, Any], who: str) -> str:
    mark = f"{who}\n\n" if who else ""
    return f"# Methods\n\n{mark}{study.paragraph(document)}\n"
