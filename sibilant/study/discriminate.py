"""Telling groups apart from the measures: folds by speaker, scaling inside the fold, chance by permutation."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..errors import ListError
from .frame import Prepared
from .question import Question

if TYPE_CHECKING:
    from sklearn.pipeline import Pipeline

Values = npt.NDArray[np.float64]
Names = npt.NDArray[np.str_]
MOST_MISSING = 0.2
"""A measure that more tokens lack is left out of the discriminants (own rule)."""


@dataclass(frozen=True, slots=True)
class Evaluation:
    """How well a discriminant does on speakers it has not seen.

    ``confusion[i][j]``: tokens of group i called group j. ``chance``: mean balanced accuracy with the groups permuted
    between (or within) speakers; ``chance_high``: its 95 % point; ``p``: share of permutations that do as well.
    ``curve``: balanced accuracy by number of speakers learnt from.
    """

    name: str
    features: tuple[str, ...]
    n_tokens: int
    n_speakers: int
    n_folds: int
    groups: tuple[str, ...]
    balanced_accuracy: float
    chance: float
    chance_high: float
    p: float
    confusion: tuple[tuple[int, ...], ...]
    curve: tuple[tuple[int, float], ...] = ()
    notes: tuple[str, ...] = ()


def linear() -> Pipeline:
    """Linear discriminant analysis, scaled inside the fold."""
    from sklearn.discriminant_analysis import LinearDiscriminantAnalysis
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    return make_pipeline(StandardScaler(), LinearDiscriminantAnalysis())


def logistic() -> Pipeline:
    """Logistic regression with an L2 penalty (C = 1), scaled inside the fold, groups weighted alike."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    return make_pipeline(StandardScaler(), LogisticRegression(C=1.0, class_weight="balanced", solver="newton-cholesky"))


def folds(
    groups: Names, speakers: Names, n_folds: int
) -> Iterator[tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]]:
    """Yield train and test places; no speaker is on both sides, groups spread over the folds as evenly as can be."""
    from sklearn.model_selection import GroupKFold, StratifiedGroupKFold

    n = min(n_folds, np.unique(speakers).size)
    between = all(np.unique(groups[speakers == one]).size == 1 for one in np.unique(speakers))
    if between:
        fewest = min(np.unique(speakers[groups == one]).size for one in np.unique(groups))
        splitter: Any = StratifiedGroupKFold(max(2, min(n, fewest)))
    else:
        splitter = GroupKFold(max(2, n))
    yield from splitter.split(np.zeros((groups.size, 1)), groups, speakers)


def predicted(model: Any, values: Values, groups: Names, speakers: Names, n_folds: int = 10) -> Names:
    """Return what a model calls each token when it has not heard that token's speaker.

    Parameters
    ----------
    model : estimator
        Anything with ``fit`` and ``predict``; it is cloned for each fold.
    values : array (n, m)
        Measures.
    groups, speakers : array (n,)
        Names.
    n_folds : int
        At most; never more than speakers.
    """
    from sklearn.base import clone

    called = np.empty(groups.size, dtype=groups.dtype)
    for train, test in folds(groups, speakers, n_folds):
        called[test] = clone(model).fit(values[train], groups[train]).predict(values[test])
    return called


def balanced_accuracy(groups: Names, called: Names) -> float:
    """Mean over groups of the share of their tokens that were called so."""
    return float(np.mean([np.mean(called[groups == one] == one) for one in np.unique(groups)]))


def evaluate(prepared: Prepared, question: Question, *, name: str = "linear discriminant") -> Evaluation:
    """Evaluate a discriminant (``linear discriminant`` or ``logistic regression``) on unseen speakers.

    Raises
    ------
    ListError
        When no measure is there for most tokens.
    """
    model = linear() if name == "linear discriminant" else logistic()
    features, values, rows, notes = matrix(prepared)
    groups = prepared.tokens["group"].to_numpy(dtype=str)[rows]
    speakers = prepared.tokens["speaker"].to_numpy(dtype=str)[rows]
    called = predicted(model, values, groups, speakers, question.n_folds)
    reached = balanced_accuracy(groups, called)
    chance = _chance(model, values, groups, speakers, question)
    names = tuple(str(one) for one in np.unique(groups))
    confusion = tuple(tuple(int(np.sum((groups == one) & (called == other))) for other in names) for one in names)
    n_folds = len({tuple(test) for _, test in folds(groups, speakers, question.n_folds)})
    return Evaluation(
        name, features, groups.size, np.unique(speakers).size, n_folds, names, reached, float(chance.mean()),
        float(np.quantile(chance, 0.95)), float((1 + np.sum(chance >= reached - 1e-12)) / (1 + chance.size)),
        confusion, _curve(model, values, groups, speakers, question), tuple(notes),
    )  # fmt: skip


def why_not(prepared: Prepared) -> str:
    """Return why the groups can't be told apart by the measures; empty where they can be tried."""
    n = prepared.n_tokens
    features = [measure for measure in prepared.measures if prepared.missing[measure] <= MOST_MISSING * n]
    if not features:
        return "groups not told apart: no measure is there for four fifths of the tokens"
    whole = prepared.tokens[prepared.tokens[features].notna().all(axis=1)]
    if whole["group"].nunique() < len(prepared.groups):
        return "groups not told apart: one of them has no token with all measures"
    return ""


def matrix(prepared: Prepared) -> tuple[tuple[str, ...], Values, npt.NDArray[np.bool_], list[str]]:
    """Return features, their values, which tokens have all of them, and what was left out."""
    n = prepared.n_tokens
    features = tuple(m for m in prepared.measures if prepared.missing[m] <= MOST_MISSING * n)
    notes = [f"{m} left out: {prepared.missing[m]} of {n} tokens lack it" for m in prepared.measures
             if m not in features]  # fmt: skip
    if why := why_not(prepared):
        raise ListError(f"{why}; choose measures with --measures")
    table = prepared.tokens[list(features)].to_numpy(dtype=float)
    rows = np.isfinite(table).all(axis=1)
    if not rows.all():
        notes.append(f"{int((~rows).sum())} tokens left out: a measure is missing")
    return features, table[rows], rows, notes


def _chance(model: Any, values: Values, groups: Names, speakers: Names, question: Question) -> Values:
    """Balanced accuracies with the groups' names permuted over speakers, or over a speaker's own groups."""
    rng = np.random.default_rng([question.seed, 3])
    drawn = []
    for _ in range(question.n_chance):
        other = permuted_groups(groups, speakers, rng)
        drawn.append(balanced_accuracy(other, predicted(model, values, other, speakers, question.n_folds)))
    return np.array(drawn)


def permuted_groups(groups: Names, speakers: Names, rng: np.random.Generator) -> Names:
    """Permute groups as whole blocks: over speakers where each has one, else within each speaker."""
    names = np.unique(speakers)
    own = {one: np.unique(groups[speakers == one]) for one in names}
    other = groups.copy()
    if all(found.size == 1 for found in own.values()):
        shuffled = rng.permutation(np.array([own[one][0] for one in names]))
        for one, group in zip(names, shuffled, strict=True):
            other[speakers == one] = group
        return other
    for one in names:
        for old, new in zip(own[one], rng.permutation(own[one]), strict=True):
            other[(speakers == one) & (groups == old)] = new
    return other


def _curve(
    model: Any, values: Values, groups: Names, speakers: Names, question: Question
) -> tuple[tuple[int, float], ...]:
    """Balanced accuracy on the same tokens when fewer speakers are learnt from."""
    from sklearn.base import clone

    rng = np.random.default_rng([question.seed, 4])
    points = []
    for share in (0.25, 0.5, 0.75, 1.0):
        called = np.empty(groups.size, dtype=groups.dtype)
        sizes = []
        for train, test in folds(groups, speakers, question.n_folds):
            heard = rng.permutation(np.unique(speakers[train]))
            kept = heard[: max(2, round(share * heard.size))]
            rows = train[np.isin(speakers[train], kept)]
            if np.unique(groups[rows]).size < 2:
                rows, kept = train, heard
            sizes.append(kept.size)
            called[test] = clone(model).fit(values[rows], groups[rows]).predict(values[test])
        points.append((round(float(np.mean(sizes))), balanced_accuracy(groups, called)))
    return tuple(points)
