"""Agreement of raters over one client's judgements, every figure with its interval by resampling tokens."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from ..terms.by_ear import Agreement
from ..terms.kept import KeptToken
from ..terms.vocabulary import HEARD
from .accuracy import judgement_by
from .means import SEED
from .reliability import alpha, fleiss, intraclass

Codes = npt.NDArray[np.float64]
N_RESAMPLES = 1000  # resamples of an interval (common practice, no source)
LEAST_TOKENS = 5  # fewer tokens give no figure of agreement; own choice


def agreement(tokens: Iterable[KeptToken], *, raters: Sequence[str] = (), seed: int = SEED) -> Agreement:
    """Return agreement between raters on what was heard: point-to-point, kappa, alpha; ICC of lines where drawn.

    Kappa is Cohen's for two raters and Fleiss's for more, on tokens all judged; alpha (nominal) takes gaps.
    """
    own = list(tokens)
    names = tuple(raters) or tuple(sorted({j.rater for token in own for j in token.judgements}))
    rows = [[judgement_by(token, name) for token in own] for name in names]
    return _from_rows(names, rows, "between raters", seed)


def agreement_with_self(tokens: Iterable[KeptToken], rater: str, *, seed: int = SEED) -> Agreement:
    """Return one rater's first turn against the second, on tokens judged twice."""
    own = list(tokens)
    rows = [[judgement_by(token, rater, turn=turn) for token in own] for turn in (1, 2)]
    return _from_rows((rater, rater), rows, "one rater twice", seed)


def _from_rows(
    names: tuple[str, ...],
    rows: Sequence[Sequence[object]],
    kind: Literal["between raters", "one rater twice"],
    seed: int,
) -> Agreement:
    codes = np.asarray([[_code(judgement) for judgement in row] for row in rows], dtype=float).reshape(len(names), -1)
    lines = np.asarray([[_line(judgement) for judgement in row] for row in rows], dtype=float).reshape(len(names), -1)
    paired = codes[:, np.sum(np.isfinite(codes), axis=0) >= 2] if len(names) > 1 else codes[:, :0]
    drawn = lines[:, np.all(np.isfinite(lines), axis=0)] if len(names) > 1 else lines[:, :0]
    if paired.shape[1] < LEAST_TOKENS:
        reason = f"{paired.shape[1]} tokens judged by two raters or turns; {LEAST_TOKENS} are needed"
        n = math.nan
        return Agreement(names, paired.shape[1], n, n, n, n, n, n, n, n, n, n, n, n, 0, kind, (reason,))
    point = _with_interval(_point_to_point, paired, seed)
    kappas = _with_interval(_kappa, paired, seed)
    alphas = _with_interval(alpha, paired, seed)
    n_lines = drawn.shape[1]
    icc = _with_interval(_icc, drawn, seed) if n_lines >= LEAST_TOKENS else (math.nan,) * 3
    reasons = ("kappa falls when nearly all tokens are alike, though agreement is high",) if point[0] > 0.9 else ()
    return Agreement(names, paired.shape[1], *point, *kappas, *alphas, *icc, n_lines, kind, reasons)


def _code(judgement: object) -> float:
    heard = getattr(judgement, "heard", None)
    return float(HEARD.index(heard)) if heard is not None else math.nan


def _line(judgement: object) -> float:
    line = getattr(judgement, "line", None)
    return float(line) if line is not None else math.nan


def _with_interval(figure: Callable[[Codes], float], data: Codes, seed: int) -> tuple[float, float, float]:
    """Return a figure and its percentile interval over tokens (columns), resampled with a fixed seed."""
    random = np.random.default_rng(seed)
    n = data.shape[1]
    drawn = np.asarray([figure(data[:, random.integers(0, n, n)]) for _ in range(N_RESAMPLES)])
    drawn = drawn[np.isfinite(drawn)]
    if drawn.size < N_RESAMPLES // 2:
        return figure(data), math.nan, math.nan
    low, high = np.percentile(drawn, [2.5, 97.5])
    return figure(data), float(low), float(high)


def _point_to_point(codes: Codes) -> float:
    """Agreements / (agreements + disagreements), over all pairs of raters."""
    same = both = 0
    for a, b in combinations(codes, 2):
        judged = np.isfinite(a) & np.isfinite(b)
        both += int(judged.sum())
        same += int(np.sum(a[judged] == b[judged]))
    return same / both if both else math.nan


def _kappa(codes: Codes) -> float:
    whole = codes[:, np.all(np.isfinite(codes), axis=0)].astype(int)
    if whole.shape[1] == 0 or np.unique(whole).size < 2:
        return math.nan
    kinds = np.unique(whole)
    placed = np.searchsorted(kinds, whole)
    if placed.shape[0] == 2:
        table = np.zeros((kinds.size, kinds.size))
        np.add.at(table, (placed[0], placed[1]), 1)
        return kappa_of(table)
    counts = np.stack([np.sum(placed == kind, axis=0) for kind in range(kinds.size)], axis=1)
    return fleiss(counts)


def kappa_of(table: npt.NDArray[np.float64]) -> float:
    """Return Cohen's kappa of a table, quick enough for resampling; equal to :func:`.reliability.kappa`'s."""
    total = table.sum()
    observed = float(np.trace(table)) / total
    chance = float(table.sum(axis=0) @ table.sum(axis=1)) / total**2
    return (observed - chance) / (1 - chance) if chance < 1 else math.nan


def _icc(lines: Codes) -> float:
    return intraclass(lines.T).agreement
