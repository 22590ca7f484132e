"""Parts of a study's answer come in, rows for its tables go out, with the unit of each row's measure."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from .. import progress, tables
from ..study import Effect, JudgedEffect, Model, Study
from ..tables import Column, Row
from .study_rounding import plain_row, unit_of

ROWS_AT_ONCE = 5_000  # as dictionaries in memory


def with_unit(one: Any) -> Row:
    """Return a result that has a measure as a row."""
    return {**plain_row(one), "unit": unit_of(one.measure)}


def effect_rows(effects: tuple[Effect, ...]) -> list[Row]:
    """One row a difference."""
    return [with_unit(effect) for effect in effects]


def model_rows(found: Study) -> list[Row]:
    """Fixed effects, joint tests and random parts of every model."""
    rows: list[Row] = []
    for model in found.models:
        head = _head(model)
        rows += [{**head, **plain_row(t), "term": t.name} for t in model.terms]
        rows += [
            {**head, "term": f"all of {j.name}", "f": j.f, "df1": j.df1, "df": j.df2, "p": j.p} for j in model.joint
        ]
        rows += [
            {**head, "term": f"SD of {n}", "estimate": math.sqrt(max(0.0, v)), "share": (model.icc or {}).get(n)}
            for n, v in model.variances.items()
        ]
    return rows


def fit_rows(found: Study) -> list[Row]:
    """One row a model: how it was fitted, and what it takes for granted."""
    return [
        {**_head(m), "converged": "yes" if m.converged else "no", "deviance": m.deviance,
         "singular": "; ".join(m.singular), "icc_speaker": (m.icc or {}).get("speaker"), "r2_fixed": m.r2_fixed,
         "r2_all": m.r2_all, "structure": "; ".join(m.structure), "checks": "; ".join(m.checks),
         "notes": "; ".join(m.notes)}
        for m in found.models
    ]  # fmt: skip


def _head(model: Model) -> Row:
    return {
        "measure": model.measure, "unit": unit_of(model.measure), "formula": model.formula, "n_rows": model.n_rows,
        "n_speakers": model.n_speakers, "n_words": model.n_words,
    }  # fmt: skip


def evaluation_rows(found: Study) -> list[Row]:
    """One row a discriminant."""
    return [{**plain_row(e), "features": " ".join(e.features), "notes": "; ".join(e.notes)} for e in found.evaluations]


def confusion_rows(found: Study) -> list[Row]:
    """One row a group and what its tokens were called."""
    return [
        {"name": e.name, "group": group, "called": called, "n_tokens": e.confusion[i][j]}
        for e in found.evaluations
        for i, group in enumerate(e.groups)
        for j, called in enumerate(e.groups)
    ]


def curve_rows(found: Study) -> list[Row]:
    """Accuracy by number of speakers learnt from."""
    return [
        {"name": e.name, "n_learnt_from": n, "balanced_accuracy": reached}
        for e in found.evaluations
        for n, reached in e.curve
    ]


def way_rows(found: Study) -> list[Row]:
    """Ways of taking the speaker out."""
    return [
        {"way": way.name, "how": way.how, "done": "yes" if way.done else "no", "why": way.why,
         "balanced_accuracy": way.balanced_accuracy}
        for way in found.normalised
    ]  # fmt: skip


def speaker_rows(found: Study) -> list[Row]:
    """Mean and SD of every speaker, group and measure."""
    prepared = found.prepared
    own = prepared.tokens.groupby(["speaker", "group"])[list(prepared.measures)]
    means, spreads, counts = own.mean(), own.std(), own.count()
    cells = list(counts.index)
    return [
        {"speaker": str(speaker), "group": str(group), "measure": measure, "n_tokens": int(counts[measure].iloc[k]),
         "mean": _known(means[measure].iloc[k]), "sd": _known(spreads[measure].iloc[k])}
        for k, (speaker, group) in enumerate(cells)
        for measure in prepared.measures
    ]  # fmt: skip


def _known(value: Any) -> float | None:
    return float(value) if math.isfinite(value) else None


def separation_rows(found: Study) -> list[Row]:
    """How far each speaker's s and sh lie apart, over all tokens in the table that were not left out.

    The figure is meant for tokens a person has accepted; where the table holds others, it describes those too.
    """
    prepared = found.prepared
    measure = "centroid_hz" if "centroid_hz" in prepared.measures else prepared.measures[0]
    others = prepared.others
    anchors = others[others["phone"] == "SH"] if "phone" in others else others[:0]
    by_speaker = {name: own[measure].dropna().tolist() for name, own in anchors.groupby("speaker")}
    rows: list[Row] = []
    for speaker, own in prepared.tokens.groupby("speaker"):
        one = progress.separation(own[measure].dropna().tolist(), by_speaker.get(speaker, []))
        row: Row = {
            "speaker": str(speaker), "measure": measure, "n_s": one.n_first, "n_sh": one.n_second,
            "difference": one.difference, "auc": one.auc, "overlap": one.overlap, "why": one.why,
        }  # fmt: skip
        for name, ends in (("difference", one.difference_interval), ("auc", one.auc_interval)):
            if ends is not None:
                row |= {f"{name}_low": ends[0], f"{name}_high": ends[1]}
        rows.append(row)
    return rows


def count_rows(found: Study) -> list[Row]:
    """What was used, left out, and how it was recorded."""
    prepared, how = found.prepared, found.recorded
    several = int(prepared.tokens.groupby("speaker")["group"].nunique().gt(1).sum())
    rows: list[Row] = [
        {"what": "tokens", "which": "compared", "value": prepared.n_tokens},
        {"what": "speakers", "which": "compared", "value": prepared.n_speakers},
        {"what": "speakers", "which": "with several groups", "value": several},
        {"what": "groups", "which": "compared", "value": len(prepared.groups)},
    ]
    told = {"left out": prepared.left_out, "sampling rate in Hz": how.rates, "edges": how.edges, "reader": how.readers}
    rows += [{"what": what, "which": which, "value": n} for what, counts in told.items() for which, n in counts.items()]
    shares = {"all groups": how.misplaced_all, **how.misplaced}
    rows += [{"what": "expected share misplaced", "which": group, "value": round(share, 3)}
             for group, share in shares.items() if share is not None]  # fmt: skip
    return [*rows, {"what": "tokens with a slot probability", "which": "compared", "value": how.n_rated}]


def judge_rows(heard: JudgedEffect) -> list[Row]:
    """Agreement of the judges, in one row."""
    head: Row = {"n_judges": heard.n_judges, "n_unjudged": heard.n_unjudged, "n_elsewhere": heard.n_elsewhere}
    return [{**head, **plain_row(heard.agreement)}]


def token_columns(found: Study) -> tuple[Column, ...]:
    """The columns of the table that have any value among the tokens used, those of the table first."""
    frame = found.prepared.tokens
    own = {column.name: column for column in tables.token_columns()}
    names = [name for name in frame.columns if name not in {"group", "word", "speaker"} or _is_own(name, found)]
    filled = [name for name in names if frame[name].astype(str).ne("").any() and frame[name].notna().any()]
    return tuple(own.get(name, _own_column(found, str(name))) for name in filled)


def _own_column(found: Study, name: str) -> Column:
    numbers = found.prepared.tokens[name].dtype.kind in "fi"
    return Column(name, "number" if numbers else "string", "Carried from the manifest")


def _is_own(name: str, found: Study) -> bool:
    question = found.question
    return name in {question.by, question.speaker, question.word, *question.beside} or (
        name == "word" and not question.word
    )


def token_rows(found: Study, columns: tuple[Column, ...]) -> Iterator[Row]:
    """Every token used, a few thousand at a time."""
    numbers = {column.name for column in columns if column.datatype != "string"}
    frame = found.prepared.tokens[[column.name for column in columns]]
    for start in range(0, len(frame), ROWS_AT_ONCE):
        for row in frame.iloc[start : start + ROWS_AT_ONCE].to_dict("records"):
            yield {str(name): _cell(value, number=name in numbers) for name, value in row.items()}


def _cell(value: Any, *, number: bool) -> tables.Cell:
    if number:
        return None if value == "" or not math.isfinite(float(value)) else float(value)
    return "" if value is None or value != value else str(value)
