"""The tables of a study, its data dictionary, what judges heard, and the lines that sum it up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .. import progress, study, tables
from ..errors import ListError
from ..study import Effect, JudgedEffect, Study
from ..tables import Column, Row
from ..terms import MEASURES
from . import study_unlike
from .study_columns import decimals_of, dictionary_columns

_P = 4
MOST_SAID = 20
"""Differences said on the terminal; more are in ``effects.csv``."""


@dataclass(frozen=True, slots=True)
class JudgesSummary:
    """What judges heard: agreement, and the differences between the groups that they heard."""

    n_judges: int
    n_judged: int
    n_alike: int
    n_unjudged: int
    alpha: float
    kappa: float
    effects: tuple[Effect, ...]


def heard(path: Path, found: Study) -> JudgesSummary:
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
    soft: JudgedEffect = study.soft_effects(found.prepared, frame, found.question)
    alpha, kappa = _agreement(study.codes_of(frame))
    n_judges = int(frame["judge"].nunique())
    return JudgesSummary(n_judges, soft.n_judged, soft.n_alike, soft.n_unjudged, alpha, kappa, soft.effects)


def _agreement(codes: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Krippendorff's alpha over all judges, and Cohen's kappa where there are two."""
    n_kinds = int(np.nanmax(codes)) + 1
    if codes.shape[0] < 2 or n_kinds < 2:
        return math.nan, math.nan
    kappa = math.nan
    if codes.shape[0] == 2:
        both = codes[:, np.isfinite(codes).all(axis=0)].astype(int)
        square = np.zeros((n_kinds, n_kinds))
        np.add.at(square, (both[0], both[1]), 1)
        kappa = progress.kappa(square).value
    return float(progress.alpha(codes)), kappa


def _c(name: str, what: str, unit: str = "", decimals: int | None = None) -> Column:
    return Column(name, "number" if decimals is not None else "string", what, unit, decimals)


def _n(name: str, what: str) -> Column:
    return Column(name, "integer", what)


_EFFECT = (
    _c("measure", "Measure compared"), _c("unit", "Its unit"), _c("first", "Group that is taken away"),
    _c("second", "Group it is taken from"), _n("n_first", "Speakers of the first group"),
    _n("n_second", "Speakers of the second group"), _c("mean_first", "Mean over speakers, first group", "", 6),
    _c("mean_second", "Mean over speakers, second group", "", 6),
    _c("difference", "Second less first, in the measure's unit", "", 6),
    _c("low", "Lower end of its 95 % interval", "", 6), _c("high", "Upper end of its 95 % interval", "", 6),
    _c("g", "Hedges's g", "", 3), _c("g_low", "Lower end of its 95 % interval", "", 3),
    _c("g_high", "Upper end of its 95 % interval", "", 3), _c("p", "p by permutation of speakers", "", _P),
    _c("p_holm", "p after Holm", "", _P), _c("p_fdr", "p after Benjamini and Hochberg", "", _P),
)  # fmt: skip
_NORMALISED = (_c("way", "How the speaker was taken out"), *_EFFECT)
_MOVED = (_c("way", "How both edges of every sound were moved"), *_EFFECT)
_WAY = (
    _c("way", "Name"), _c("how", "How"), _c("done", "yes or no"), _c("why", "Why it was not done"),
    _c("balanced_accuracy", "Linear discriminant, folds by speaker", "", 3),
)  # fmt: skip
_MODEL = (
    _c("measure", "Measure"), _c("unit", "Its unit"), _c("formula", "Model"), _n("n_rows", "Rows it was fitted to"),
    _n("n_speakers", "Speakers"), _n("n_words", "Words"), _c("term", "Fixed effect, or SD of a random part"),
    _c("estimate", "In the measure's unit", "", 6), _c("error", "Standard error", "", 6),
    _n("df", "Degrees of freedom of the interval"), _c("low", "Lower end of the 95 % interval", "", 6),
    _c("high", "Upper end of the 95 % interval", "", 6), _c("in_sd", "Estimate over the residual SD", "", 3),
    _c("converged", "yes or no"), _c("notes", "What to be careful with"),
)  # fmt: skip
_EVALUATION = (
    _c("name", "Discriminant"), _n("n_tokens", "Tokens"), _n("n_speakers", "Speakers"),
    _n("n_folds", "Folds by speaker"), _c("features", "Measures used"),
    _c("balanced_accuracy", "Mean share of each group's tokens called so", "", 3),
    _c("chance", "The same with groups permuted over speakers", "", 3),
    _c("chance_high", "95 % point of chance", "", 3), _c("p", "Share of permutations that do as well", "", _P),
    _c("notes", "What was left out"),
)  # fmt: skip
_CONFUSION = (
    _c("name", "Discriminant"), _c("group", "Group of the tokens"), _c("called", "What they were called"),
    _n("n_tokens", "How many"),
)  # fmt: skip
_CURVE = (
    _c("name", "Discriminant"), _n("n_learnt_from", "Speakers learnt from, mean over folds"),
    _c("balanced_accuracy", "Balanced accuracy on unseen speakers", "", 3),
)  # fmt: skip
_SENSITIVITY = (
    _c("measure", "Measure"), _c("first", "First group"), _c("second", "Second group"), _c("g", "Hedges's g", "", 3),
    _c("g_against", "g with all edges moved against it, the worst that could be", "", 3),
    _c("g_low", "2.5 % point when edges move by chance", "", 3),
    _c("g_high", "97.5 % point when edges move by chance", "", 3),
    _c("holds", "yes where the conclusion stands at the worst"),
)  # fmt: skip
_SPEAKER = (
    _c("speaker", "Speaker"), _c("group", "Group"), _c("measure", "Measure"), _n("n_tokens", "Tokens"),
    _c("mean", "Mean over tokens, in the measure's unit", "", 6), _c("sd", "SD over tokens", "", 6),
)  # fmt: skip
_SEPARATION = (
    _c("speaker", "Speaker"), _c("measure", "Measure"), _n("n_s", "Tokens of the compared sibilant"),
    _n("n_sh", "Tokens of /sh/"), _c("difference", "Mean of s less mean of sh", "", 6),
    _c("difference_low", "Lower end of its 95 % interval", "", 6),
    _c("difference_high", "Upper end of its 95 % interval", "", 6), _c("auc", "Area under the ROC curve", "", 3),
    _c("auc_low", "Lower end of its 95 % interval", "", 3), _c("auc_high", "Upper end of its 95 % interval", "", 3),
    _c("overlap", "Common area of two bell curves", "", 3), _c("why", "Why it could not be judged"),
)  # fmt: skip


def write_all(
    to: Path, found: Study, told: JudgesSummary | None, moved: Sequence[tuple[str, Sequence[Effect]]] = ()
) -> None:
    """Write every table of a study, each described by CSV on the Web, and the data dictionary of all of them."""
    made = {
        "tokens_used.csv": (_token_columns(found), _token_rows(found)),
        "speakers.csv": (_SPEAKER, _speaker_rows(found)),
        "effects.csv": (_EFFECT, [effect_row(effect) for effect in found.effects]),
        "models.csv": (_MODEL, _model_rows(found)),
        "discriminants.csv": (_EVALUATION, _evaluation_rows(found)),
        "confusion.csv": (_CONFUSION, _confusion_rows(found)),
        "learning.csv": (_CURVE, _curve_rows(found)),
        "normalisations.csv": (_WAY, _way_rows(found)),
        "normalised_effects.csv": (
            _NORMALISED,
            [{"way": way.name, **effect_row(e)} for way in found.normalised for e in way.effects],
        ),
        "sensitivity.csv": (_SENSITIVITY, [_plain(one) for one in found.sensitivity]),
        "separation.csv": (_SEPARATION, separation_rows(found)),
        "unlike.csv": (study_unlike.COLUMNS, study_unlike.unlike_rows(found)),
    }
    if moved:
        rows: list[Row] = [{"way": way, **effect_row(effect)} for way, effects in moved for effect in effects]
        made["edges_moved.csv"] = (_MOVED, rows)
    if told is not None:
        made["heard_effects.csv"] = (_EFFECT, [effect_row(effect) for effect in told.effects])
    listed: list[Row] = []
    for name, (columns, rows) in made.items():
        tables.write_table(to / name, rows, columns, title=name.removesuffix(".csv").replace("_", " "))
        listed += [_described(name, column, rows) for column in columns]
    tables.write_table(to / "dictionary.csv", listed, dictionary_columns(), title="Data dictionary")


def _described(name: str, column: Column, rows: Sequence[Row]) -> Row:
    """One line of the dictionary: what a column holds and the range found in it."""
    values = [row.get(column.name) for row in rows]
    there = [value for value in values if value not in (None, "")]
    numbers = [float(v) for v in there if isinstance(v, int | float) and math.isfinite(v)]
    n_missing = len(values) - (len(numbers) if column.datatype != "string" else len(there))
    ends = (min(numbers), max(numbers)) if numbers and column.datatype != "string" else (None, None)
    low, high = (tables.cell_text(end, column) if end is not None else "" for end in ends)
    return {
        "table": name, "name": column.name, "datatype": column.datatype, "unit": column.unit, "lowest": low,
        "highest": high, "how": _how(column), "missing": "empty cell", "n_missing": n_missing,
    }  # fmt: skip


def _how(column: Column) -> str:
    measure = MEASURES.get(column.name)
    return f"{column.description} {measure.equation} [{measure.citation}]" if measure else column.description


def _token_columns(found: Study) -> tuple[Column, ...]:
    """The columns of the table that have any value among the tokens used, those of the table first."""
    frame = found.prepared.tokens
    own = {column.name: column for column in tables.token_columns()}
    names = [name for name in frame.columns if name not in {"group", "word", "context"} or _is_own(name, found)]
    filled = [name for name in names if frame[name].astype(str).ne("").any() and frame[name].notna().any()]
    return tuple(own.get(name, Column(str(name), "string", "Carried from the manifest")) for name in filled)


def _is_own(name: str, found: Study) -> bool:
    question = found.question
    return name in {question.by, question.speaker, question.word, question.context}


def _token_rows(found: Study) -> list[Row]:
    columns = _token_columns(found)
    numbers = {column.name for column in columns if column.datatype != "string"}
    frame = found.prepared.tokens[[column.name for column in columns]]
    return [
        {str(name): _cell(value, number=name in numbers) for name, value in row.items()}
        for row in frame.to_dict("records")
    ]


def _cell(value: Any, *, number: bool) -> tables.Cell:
    if number:
        return None if value == "" or not math.isfinite(float(value)) else float(value)
    return "" if value is None or value != value else str(value)


def effect_row(effect: Effect) -> Row:
    """Return an effect as a row, numbers rounded as the run file tells them."""
    return {**_plain(effect), "unit": MEASURES[effect.measure].unit if effect.measure in MEASURES else ""}


def _plain(one: Any) -> Row:
    import dataclasses

    row: Row = {}
    for part in dataclasses.fields(one):
        value = getattr(one, part.name)
        if isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, float) and math.isfinite(value):
            value = round(value, decimals_of(part.name, str(getattr(one, "measure", ""))))
        row[part.name] = value
    return row


def _model_rows(found: Study) -> list[Row]:
    rows: list[Row] = []
    for model in found.models:
        head: Row = {
            "measure": model.measure,
            "unit": MEASURES[model.measure].unit if model.measure in MEASURES else "",
            "formula": model.formula,
            "n_rows": model.n_rows,
            "n_speakers": model.n_speakers,
            "n_words": model.n_words,
            "converged": "yes" if model.converged else "no",
            "notes": "; ".join(model.notes),
        }
        rows += [
            {**head, "term": t.name, "estimate": t.estimate, "error": t.error, "df": t.df, "low": t.low,
             "high": t.high, "in_sd": t.in_sd}
            for t in model.terms
        ]  # fmt: skip
        rows += [{**head, "term": f"SD of {n}", "estimate": math.sqrt(max(0.0, v))} for n, v in model.variances.items()]
    return rows


def _evaluation_rows(found: Study) -> list[Row]:
    return [
        {"name": e.name, "n_tokens": e.n_tokens, "n_speakers": e.n_speakers, "n_folds": e.n_folds,
         "features": " ".join(e.features), "balanced_accuracy": e.balanced_accuracy, "chance": e.chance,
         "chance_high": e.chance_high, "p": e.p, "notes": "; ".join(e.notes)}
        for e in found.evaluations
    ]  # fmt: skip


def _confusion_rows(found: Study) -> list[Row]:
    return [
        {"name": e.name, "group": group, "called": called, "n_tokens": e.confusion[i][j]}
        for e in found.evaluations
        for i, group in enumerate(e.groups)
        for j, called in enumerate(e.groups)
    ]


def _curve_rows(found: Study) -> list[Row]:
    return [
        {"name": e.name, "n_learnt_from": n, "balanced_accuracy": reached}
        for e in found.evaluations
        for n, reached in e.curve
    ]


def _way_rows(found: Study) -> list[Row]:
    return [
        {"way": way.name, "how": way.how, "done": "yes" if way.done else "no", "why": way.why,
         "balanced_accuracy": way.balanced_accuracy}
        for way in found.normalised
    ]  # fmt: skip


def _speaker_rows(found: Study) -> list[Row]:
    rows: list[Row] = []
    for (speaker, group), own in found.prepared.tokens.groupby(["speaker", "group"]):
        for measure in found.prepared.measures:
            values = own[measure].dropna()
            sd = float(values.std()) if len(values) > 1 else None
            mean = float(values.mean()) if len(values) else None
            rows.append(
                {"speaker": str(speaker), "group": str(group), "measure": measure, "n_tokens": len(values),
                 "mean": mean, "sd": sd}
            )  # fmt: skip
    return rows


def separation_rows(found: Study) -> list[Row]:
    """How far each speaker's s and sh lie apart, over all tokens in the table that were not left out.

    The figure is meant for tokens a person has accepted; where the table holds others, it describes those too.
    """
    prepared = found.prepared
    measure = "centroid_hz" if "centroid_hz" in prepared.measures else prepared.measures[0]
    others = prepared.others
    rows: list[Row] = []
    for speaker, own in prepared.tokens.groupby("speaker"):
        beside = others[(others["speaker"] == speaker) & (others["phone"] == "SH")] if "phone" in others else others[:0]
        one = progress.separation(own[measure].dropna().tolist(), beside[measure].dropna().tolist())
        row: Row = {
            "speaker": str(speaker), "measure": measure, "n_s": one.n_first, "n_sh": one.n_second,
            "difference": one.difference, "auc": one.auc, "overlap": one.overlap, "why": one.why,
        }  # fmt: skip
        for name, ends in (("difference", one.difference_interval), ("auc", one.auc_interval)):
            if ends is not None:
                row |= {f"{name}_low": ends[0], f"{name}_high": ends[1]}
        rows.append(row)
    return rows


def summary(
    found: Study, told: JudgesSummary | None, to: Path, moved: Sequence[tuple[str, Sequence[Effect]]] = ()
) -> list[str]:
    """Say what was compared and found, what the judges agreed on, what hangs on the edges, and where all lies."""
    prepared = found.prepared
    lines = [
        f"{prepared.n_tokens} tokens of {prepared.n_speakers} speakers, {found.question.by}:"
        f" {', '.join(prepared.groups)}"
    ]
    if prepared.left_out:
        lines.append("left out: " + ", ".join(f"{n} {reason}" for reason, n in prepared.left_out.items()))
    lines += _said_of_clear([effect for effect in found.effects if effect.p_holm < 0.05])
    n_open = sum(not effect.p_holm < 0.05 for effect in found.effects)
    lines.append(f"{n_open} of {len(found.effects)} differences can't be told from chance (p after Holm 0.05 or more)")
    lines += [
        f"{one.name}: balanced accuracy {one.balanced_accuracy:.3f} on unseen speakers, chance {one.chance:.3f}"
        for one in found.evaluations
    ]
    if told is not None:
        kappa = f", kappa {told.kappa:.2f}" if math.isfinite(told.kappa) else ""
        lines.append(
            f"{told.n_judges} judges, {told.n_alike} of {told.n_judged} tokens alike, alpha {told.alpha:.2f}{kappa}"
        )
    shaky = [one for one in found.sensitivity if not one.holds]
    lines.append(f"{len(shaky)} of {len(found.sensitivity)} differences hang on where the edges were put")
    lines += _said_of_moved(found, moved)
    lines += [*found.notes, study.CAUTION, f"written: {to}/methods.md, {to}/study.json, tables and {to}/figures"]
    return lines


def _said_of_clear(clear: Sequence[Effect]) -> list[str]:
    """Say the clear differences, the largest of them where they are many; all stand in the table."""
    largest = sorted(clear, key=lambda effect: -abs(effect.g))[:MOST_SAID]
    lines = [_said(effect) for effect in clear if effect in largest]
    n_more = len(clear) - len(lines)
    return [*lines, f"  and {n_more} smaller ones: see effects.csv"] if n_more else lines


def _said_of_moved(found: Study, moved: Sequence[tuple[str, Sequence[Effect]]]) -> list[str]:
    """Say of each way of moving the edges how many differences then read otherwise."""
    before = {(e.measure, e.first, e.second): _reading(e) for e in found.effects}
    lines = []
    for way, effects in moved:
        n = sum(_reading(e) != before[e.measure, e.first, e.second] for e in effects)
        lines.append(f"measured again, edges {way}: {n} of {len(effects)} intervals lie otherwise against 0")
    return lines


def _reading(effect: Effect) -> int:
    """Where the interval of a difference lies: above 0, below, or across."""
    return int(effect.low > 0) - int(effect.high < 0)


def _said(effect: Effect) -> str:
    measure = MEASURES.get(effect.measure)
    decimals, unit = (measure.decimals, f" {measure.unit}".rstrip()) if measure else (3, "")
    values = (f"{value:.{decimals}f}" for value in (effect.difference, effect.low, effect.high))
    middle, low, high = values
    return (
        f"  {effect.measure}: {effect.second} less {effect.first} {middle}{unit} ({low} to {high}), g {effect.g:.2f}"
        f" ({effect.g_low:.2f} to {effect.g_high:.2f}), p {effect.p:.4f}"
    )
