"""Mixed models of one measure: group and covariates fixed, speakers and words random."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from . import checks
from .degrees import Satterthwaite
from .design import Design, design
from .frame import Prepared
from .noncentral import found_at_80
from .question import Question
from .reml import Products, products, too_large
from .search import Optimum, optimum

if TYPE_CHECKING:
    import pandas as pd

Values = npt.NDArray[np.float64]
MOST_REFITTED = 3
"""Contrasts of a measure for which the model is fitted again without the speaker that moves them most."""


@dataclass(frozen=True, slots=True)
class Term:
    """One fixed effect in the measure's unit: 95 % interval by t with ``df``; ``in_sd``: over the residual SD."""

    name: str
    estimate: float
    error: float
    df: float
    low: float
    high: float
    in_sd: float
    p: float


@dataclass(frozen=True, slots=True)
class Contrast:
    """Group ``second`` less ``first`` in the model: 95 % interval and p by t with ``df``, p adjusted over the study.

    ``found_at_80``: the smallest true difference that a study with this error would find four times in five.
    ``without``: the speaker that moves it most, and what it is without that speaker.
    """

    measure: str
    first: str
    second: str
    estimate: float
    error: float
    df: float
    low: float
    high: float
    p: float
    p_holm: float = math.nan
    p_fdr: float = math.nan
    found_at_80: float = math.nan
    without: str = ""
    estimate_without: float = math.nan
    low_without: float = math.nan
    high_without: float = math.nan


@dataclass(frozen=True, slots=True)
class Joint:
    """All fixed effects of one kind tested together: Wald's F."""

    name: str
    f: float
    df1: int
    df2: float
    p: float


@dataclass(frozen=True, slots=True)
class Model:
    """A fitted model.

    ``variances`` by random part; ``deviance``: -2 log restricted likelihood; ``singular``: parts without spread;
    ``icc``: share of each random part in the random variance; ``r2_fixed``, ``r2_all``: share of the variance that the
    fixed effects, and all effects, tell (Nakagawa & Schielzeth 2013, Methods Ecol Evol 4:133-142; from memory);
    ``structure``: why this random structure; ``checks``: residuals in plain words; ``notes``: what to be careful with.
    """

    measure: str
    formula: str
    n_rows: int
    n_speakers: int
    n_words: int
    terms: tuple[Term, ...]
    contrasts: tuple[Contrast, ...]
    variances: Mapping[str, float]
    converged: bool
    notes: tuple[str, ...] = ()
    deviance: float = math.nan
    singular: tuple[str, ...] = ()
    joint: tuple[Joint, ...] = ()
    icc: Mapping[str, float] | None = None
    r2_fixed: float = math.nan
    r2_all: float = math.nan
    structure: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()


def fit(prepared: Prepared, measure: str, question: Question, *, leaning: bool = True) -> Model:
    """Fit measure ~ group (+ covariates) with speakers and words random, by restricted maximum likelihood.

    Where the group lies between speakers no slope of it can be told from the speakers themselves, and none is fitted.
    Where speakers have several groups, the speaker's own shift in each group is random too, else its tokens would
    count as if they were so many speakers; so too for each covariate that varies within speakers. Intervals use t with
    Satterthwaite's degrees of freedom, never more than the number of speakers allows, and Kenward and Roger's errors.
    ``leaning``: also fit again without the speaker that moves each of the first contrasts most.
    """
    rows = prepared.tokens[prepared.tokens[measure].notna()]
    order = (question.reference or prepared.groups[0], *prepared.groups)
    n_words = int(rows["word"].nunique())
    counts = (len(rows), int(rows["speaker"].nunique()), n_words)
    missing = tuple(f"no value in {group}" for group in prepared.groups if not (rows["group"] == group).any())
    if rows["group"].nunique() < 2:
        return Model(measure, "", *counts, (), (), {}, converged=False, notes=("values in one group only",))
    made = design(rows, tuple(dict.fromkeys(order)), question)
    written = _written(measure, question, made)
    values = rows[measure].to_numpy(dtype=np.float64)
    why = _unfit(made, values)
    if why:
        return Model(measure, written, *counts, (), (), {}, converged=False, notes=(*missing, *made.notes, why))
    scaled = _Scaled.of(values)
    data = products(made.speakers, made.nested, made.crossed, made.fixed, scaled.values)
    found = optimum(data)
    solved = _Solved(measure, made, data, found, scaled, _caps(made))
    n_refitted = MOST_REFITTED if leaning else 0
    return _told(solved, written, counts, (*missing, *made.notes), rows, prepared.pairs(question.reference),
                 n_refitted)  # fmt: skip


def _written(measure: str, question: Question, made: Design) -> str:
    fixed = [question.by, *question.beside]
    if question.interaction:
        fixed.append(f"{question.by}:{question.interaction}")
    random = [f"(1 | {part.name})" if part.values is None else f"(0 + {part.name[8:]} | speaker)"
              for part in made.parts]  # fmt: skip
    return f"{measure} ~ {' + '.join((*fixed, *random))}"


def _unfit(made: Design, values: Values) -> str:
    if values.size <= made.fixed.shape[1] + 1 or not np.ptp(values) > 0:
        return "could not be fitted: too few tokens for its effects, or no spread"
    if too_large(made.speakers, made.nested, made.crossed):
        return "could not be fitted: so many speakers and words that their table does not fit; name a coarser --word"
    return ""


@dataclass(frozen=True, slots=True)
class _Scaled:
    """A measure on a scale of unit spread, where the search goes well."""

    values: Values
    middle: float
    spread: float

    @classmethod
    def of(cls, values: Values) -> _Scaled:
        middle, spread = float(values.mean()), float(values.std())
        return cls((values - middle) / spread, middle, spread)


def _caps(made: Design) -> Values:
    """The most degrees of freedom of each fixed effect: speakers less effects between them, or speakers less one."""
    n_speakers = int(made.speakers.max()) + 1
    total = np.zeros((n_speakers, made.fixed.shape[1]))
    np.add.at(total, made.speakers, made.fixed)
    means = total / np.bincount(made.speakers)[:, np.newaxis]
    between = np.abs(made.fixed - means[made.speakers]).max(axis=0) < 1e-9
    return np.where(between, max(1, n_speakers - int(between.sum())), max(1, n_speakers - 1)).astype(np.float64)


class _Solved:
    """A fit brought back to the measure's unit."""

    def __init__(
        self, measure: str, made: Design, data: Products, found: Optimum, scaled: _Scaled, caps: Values
    ) -> None:
        self.measure, self.made, self.data, self.found, self.scaled, self.caps = (
            measure, made, data, found, scaled, caps,
        )  # fmt: skip
        self.degrees = Satterthwaite(data, found)
        self.estimates = found.fitted.estimates * scaled.spread
        self.covariance = self.degrees.enlarged * found.fitted.scale * scaled.spread**2
        self.residual_sd = math.sqrt(found.fitted.scale) * scaled.spread

    def line(self, contrast: Values) -> tuple[float, float, float, float, float, float]:
        """Estimate, error, degrees of freedom, ends of the interval and p of a contrast of the fixed effects."""
        from scipy.special import stdtr, stdtrit

        estimate = float(contrast @ self.estimates)
        error = math.sqrt(max(0.0, float(contrast @ self.covariance @ contrast)))
        df = max(1.0, min(self.degrees.of(contrast), float(self.caps[contrast != 0].min())))
        half = float(stdtrit(df, 0.975)) * error
        p = float(2 * stdtr(df, -abs(estimate) / error)) if error > 0 else math.nan
        return estimate, error, df, estimate - half, estimate + half, p

    def of_groups(self, first: str, second: str) -> Values:
        """The contrast of two groups."""
        weights = np.zeros(len(self.made.names))
        names = {name: k for k, name in enumerate(self.made.names)}
        base = self.made.groups[0]
        for group, sign in ((second, 1.0), (first, -1.0)):
            if group != base:
                weights[names[f"{group} - {base}"]] += sign
        return weights


def _told(
    solved: _Solved,
    written: str,
    counts: tuple[int, int, int],
    notes: tuple[str, ...],
    rows: pd.DataFrame,
    pairs: tuple[tuple[str, str], ...],
    n_refitted: int,
) -> Model:
    made, found, scaled = solved.made, solved.found, solved.scaled
    scale = found.fitted.scale * scaled.spread**2
    variances = {part.name: float(ratio) * scale for part, ratio in zip(made.parts, found.ratios, strict=True)}
    singular = tuple(name for name, value in variances.items() if value == 0)
    more = [f"singular: no spread of {name} beyond the rest, so it is as if left out" for name in singular]
    if not found.converged:
        more.append(f"did not converge: {found.why}")
    residuals = checks.residuals(made, solved.data, found, scaled.values)
    fixed_variance = float(np.var(made.fixed @ solved.estimates))
    random = sum(variances.values())
    total = random + scale
    return Model(
        solved.measure,
        written,
        *counts,
        _terms(solved),
        _contrasts(solved, residuals, pairs, rows, n_refitted),
        variances | {"residual": scale},
        found.converged,
        (*notes, *more),
        deviance=found.fitted.deviance + (counts[0] - made.fixed.shape[1]) * 2 * math.log(scaled.spread),
        singular=singular,
        joint=_joint(solved),
        icc={name: value / total for name, value in variances.items()},
        r2_fixed=fixed_variance / (fixed_variance + total),
        r2_all=(fixed_variance + random) / (fixed_variance + total),
        structure=made.told,
        checks=checks.in_words(residuals, made.group_codes, made.groups, made.speakers),
    )


def _terms(solved: _Solved) -> tuple[Term, ...]:
    terms = []
    for k, name in enumerate(solved.made.names):
        estimate, error, df, low, high, p = solved.line(np.eye(len(solved.made.names))[k])
        if k == 0:
            middle = solved.scaled.middle
            estimate, low, high, ratio, p = estimate + middle, low + middle, high + middle, math.nan, math.nan
        else:
            ratio = estimate / solved.residual_sd if solved.residual_sd > 0 else math.nan
        terms.append(Term(name, estimate, error, df, low, high, ratio, p))
    return tuple(terms)


def _joint(solved: _Solved) -> tuple[Joint, ...]:
    """Wald's F of each kind of effect with several coefficients, with the least degrees of freedom among them."""
    from scipy.special import fdtrc

    found = []
    for kind in dict.fromkeys(solved.made.kinds):
        chosen = np.array([k for k, own in enumerate(solved.made.kinds) if own == kind])
        if kind == "intercept" or chosen.size < 2:
            continue
        estimates = solved.estimates[chosen]
        own = np.linalg.solve(solved.covariance[np.ix_(chosen, chosen)], estimates)
        f = float(estimates @ own) / chosen.size
        df2 = min(solved.line(np.eye(len(solved.made.names))[k])[2] for k in chosen)
        found.append(Joint(kind, f, int(chosen.size), df2, float(fdtrc(chosen.size, df2, f))))
    return tuple(found)


def _contrasts(
    solved: _Solved, residuals: Values, pairs: tuple[tuple[str, str], ...], rows: pd.DataFrame, n_refitted: int
) -> tuple[Contrast, ...]:
    there = set(solved.made.groups)
    found: list[Contrast] = []
    for first, second in pairs:
        if first not in there or second not in there:
            continue
        weights = solved.of_groups(first, second)
        line = solved.line(weights)
        one = Contrast(solved.measure, first, second, *line, found_at_80=found_at_80(line[1], line[2]))
        found.append(_leaning(one, weights, solved, residuals, rows) if len(found) < n_refitted else one)
    return tuple(found)


def _leaning(one: Contrast, weights: Values, solved: _Solved, residuals: Values, rows: pd.DataFrame) -> Contrast:
    """Fit again, from the ratios found, without the speaker whose tokens pull the contrast most."""
    made = solved.made
    pull = (made.fixed @ (solved.found.fitted.unscaled @ weights)) * residuals
    by_speaker = np.bincount(made.speakers, pull)
    out = int(np.argmax(np.abs(by_speaker)))
    kept = made.speakers != out
    left = made.fixed[kept]
    if by_speaker.size < 4 or np.linalg.matrix_rank(left.T @ left) < left.shape[1]:
        return one
    numbered = [replace(part, codes=_renumbered(part.codes[kept]),
                        values=None if part.values is None else part.values[kept]) for part in made.parts]  # fmt: skip
    n = len(made.nested)
    speakers = _renumbered(made.speakers[kept])
    again = products(speakers, numbered[:n], numbered[n:], left, solved.scaled.values[kept])
    fewer = replace(made, fixed=left, speakers=speakers)
    found = optimum(again, start=np.maximum(solved.found.ratios, 1e-3))
    estimate, _, _, low, high, _ = _Solved(one.measure, fewer, again, found, solved.scaled, _caps(fewer)).line(weights)
    name = str(rows["speaker"].to_numpy()[np.flatnonzero(~kept)[0]])
    return replace(one, without=name, estimate_without=estimate, low_without=low, high_without=high)


def _renumbered(codes: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    return np.unique(codes, return_inverse=True)[1].astype(np.int64)
