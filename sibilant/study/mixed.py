"""Mixed models of one measure: group fixed, intercepts of speaker and word random."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .frame import Prepared
from .question import Question

if TYPE_CHECKING:
    import pandas as pd

_NONE, _IDLE = 1e-4, 1e-2
_SEARCHES = (("bfgs", "lbfgs", "cg"), ("powell",))
MOST_ROWS = 20_000
"""Beyond this many tokens the model is fitted to the means of speaker, word and group (own rule)."""


@dataclass(frozen=True, slots=True)
class Term:
    """One fixed effect in the measure's unit: 95 % interval by t with ``df``; ``in_sd``: over the residual SD."""

    name: str
    estimate: float
    error: float
    df: int
    low: float
    high: float
    in_sd: float


@dataclass(frozen=True, slots=True)
class Model:
    """A fitted model; ``variances`` by random part; ``notes`` say what to be careful with."""

    measure: str
    formula: str
    n_rows: int
    n_speakers: int
    n_words: int
    terms: tuple[Term, ...]
    variances: Mapping[str, float]
    converged: bool
    notes: tuple[str, ...] = ()


def fit(prepared: Prepared, measure: str, question: Question) -> Model:
    """Fit measure ~ group (+ context) with random intercepts for speaker and word by restricted maximum likelihood.

    Where the group lies between speakers no slope of it can be told from the speakers themselves, and none is fitted.
    Where speakers have several groups, the speaker's own shift in each group is random too, else its tokens would
    count as if they were so many speakers. A context has a slope for each speaker. Intervals use t with
    n_speakers - n_groups (between) or n_speakers - 1 (within) degrees of freedom: with few speakers the normal
    distribution would be too sure (common practice, no source).
    """
    rows, notes = _rows(prepared, measure, question)
    formula = "value ~ C(group)" + (" + C(context)" if question.context else "")
    parts = _random_parts(rows, prepared, question)
    if rows["group"].nunique() < 2:
        return Model(measure, formula, len(rows), 0, 0, (), {}, converged=False, notes=("values in one group only",))
    n_speakers, n_groups = int(rows["speaker"].nunique()), len(prepared.groups)
    counts = (len(rows), n_speakers, int(rows["word"].nunique()))
    result, parts, told = _searched(formula, rows, parts)
    random = " + ".join(f"(1 | {name})" for name in parts)
    written = f"{measure} ~ {question.by}{' + ' + question.context if question.context else ''} + {random}"
    notes += told
    if result is None:
        return Model(measure, written, *counts, (), {}, converged=False, notes=tuple(notes))
    df = max(1, n_speakers - (n_groups if prepared.design == "between" else 1))
    variances = {name: result.variances[name] for name in parts} | {"residual": result.scale}
    notes += [f"no spread of {name} beyond the rest" for name in parts if variances[name] < _NONE * result.scale]
    terms = _terms(result, df)
    return Model(measure, written, *counts, terms, variances, result.converged, tuple(notes))


def _searched(
    formula: str, rows: pd.DataFrame, parts: Mapping[str, str]
) -> tuple[_Scaled | None, dict[str, str], list[str]]:
    """Fit; where the search fails, try another one, and then without the parts whose variance came out as nothing."""
    found: _Scaled | None = None
    told: list[str] = []
    for searches in _SEARCHES:
        try:
            found = _fitted(formula, rows, parts, searches)
        except np.linalg.LinAlgError:
            continue
        if found.converged:
            return found, dict(parts), told
    if found is None:
        return None, dict(parts), ["could not be fitted: a matrix has no inverse"]
    idle = [name for name in parts if found.variances[name] < _IDLE * found.scale]
    if idle and len(idle) < len(parts):
        fewer = {name: part for name, part in parts.items() if name not in idle}
        again, kept, more = _searched(formula, rows, fewer)
        return again, kept, [f"without an intercept of {', '.join(idle)}, whose variance came out as nothing", *more]
    return found, dict(parts), ["the search for the variances did not converge"]


def _rows(prepared: Prepared, measure: str, question: Question) -> tuple[pd.DataFrame, list[str]]:
    import pandas as pd

    rows = prepared.tokens.dropna(subset=[measure]).assign(value=lambda frame: frame[measure], whole=1)
    notes: list[str] = []
    if len(rows) > MOST_ROWS:
        keys = ["speaker", "word", "group", "context"]
        rows = rows.groupby(keys, as_index=False)["value"].mean().assign(whole=1)
        notes.append(f"fitted to {len(rows)} means of speaker, word and group, not to single tokens")
    order = [question.reference or prepared.groups[0]]
    order += [group for group in prepared.groups if group not in order]
    there = set(rows["group"])
    rows["group"] = pd.Categorical(rows["group"], [group for group in order if group in there])
    notes += [f"no value in {group}" for group in order if group not in there]
    rows["speaker_group"] = rows["speaker"] + " in " + rows["group"].astype(str)
    rows["speaker_context"] = rows["speaker"] + " in " + rows["context"]
    return rows, notes


def _random_parts(rows: pd.DataFrame, prepared: Prepared, question: Question) -> dict[str, str]:
    parts = {"speaker": "0 + C(speaker)"}
    if rows["word"].nunique() > 1:
        parts["word"] = "0 + C(word)"
    if prepared.design == "within":
        parts["speaker:group"] = "0 + C(speaker_group)"
    if question.context:
        parts["speaker:context"] = "0 + C(speaker_context)"
    return parts


def _fitted(formula: str, rows: pd.DataFrame, parts: Mapping[str, str], searches: Sequence[str]) -> _Scaled:
    """Fit on a scale of unit spread, where the search goes well; whether it converged is kept, not warned of."""
    import statsmodels.formula.api as smf

    middle, spread = float(rows["value"].mean()), float(rows["value"].std()) or 1.0
    scaled = rows.assign(value=(rows["value"] - middle) / spread)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = smf.mixedlm(formula, scaled, groups="whole", vc_formula=dict(parts), re_formula="0")
        result = model.fit(reml=True, method=list(searches))
    return _Scaled(result, middle, spread, str(rows["group"].cat.categories[0]))


class _Scaled:
    """A result brought back to the measure's unit."""

    def __init__(self, result: Any, middle: float, spread: float, first: str) -> None:
        self.first = first
        self.names = [name for name in result.params.index if not name.endswith(" Var")]
        self.estimates = {name: float(result.params[name]) * spread for name in self.names}
        self.estimates["Intercept"] += middle
        self.errors = {name: float(result.bse[name]) * spread for name in self.names}
        named = zip(result.model.exog_vc.names, result.vcomp, strict=True)
        self.variances = {str(name): float(value) * spread**2 for name, value in named}
        self.scale = float(result.scale) * spread**2
        self.converged = bool(result.converged)


def _terms(result: _Scaled, df: int) -> tuple[Term, ...]:
    from scipy.special import stdtrit

    first = result.first
    quantile = float(stdtrit(df, 0.975))
    residual = math.sqrt(result.scale)
    terms = []
    for name in result.names:
        estimate, error = result.estimates[name], result.errors[name]
        shown = _shown(name, first)
        ratio = estimate / residual if name != "Intercept" and residual > 0 else math.nan
        half = quantile * error
        terms.append(Term(shown, estimate, error, df, estimate - half, estimate + half, ratio))
    return tuple(terms)


def _shown(name: str, first: str) -> str:
    if name == "Intercept":
        return first
    kind, _, level = name.partition("[T.")
    level = level.rstrip("]")
    return f"{level} - {first}" if "group" in kind else f"context {level}"
