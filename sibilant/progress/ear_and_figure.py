"""How well a figure tells sounds heard as right from sounds heard as wrong, within sessions.

A correlation over sessions shows only that ear and figure both changed; within a session that cannot make it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from ..terms.by_ear import EarAndFigure
from ..terms.summaries import MeasureSummary
from ..terms.vocabulary import Heard

LEAST_EACH = 7
"""Sounds heard as right and as wrong, in sessions that have both, from which on a figure is given (own choice)."""
_WRONG: frozenset[Heard] = frozenset({"approximation", "distorted", "substituted"})
Rows = npt.NDArray[np.float64]


def ear_and_figure(key: str, summaries: Sequence[MeasureSummary]) -> EarAndFigure | None:
    """Return the area under the ROC curve within sessions; None where nothing was heard as wrong or as right.

    Parameters
    ----------
    key : str
        The measure.
    summaries : sequence of MeasureSummary
        One a session, each word with what a person heard.

    Returns
    -------
    EarAndFigure or None
        The chance that a sound heard as right has the higher figure than one of the same session heard as wrong.
    """
    pairs = [_of_session(one) for one in summaries]
    right = sum(r.size for r, w in pairs if r.size and w.size)
    wrong = sum(w.size for r, w in pairs if r.size and w.size)
    if not (any(r.size for r, _ in pairs) and any(w.size for _, w in pairs)):
        return None
    if min(right, wrong) < LEAST_EACH:
        reason = (
            f"{right} heard as right and {wrong} as wrong in sessions that have both; {LEAST_EACH} of each are needed"
        )
        return EarAndFigure(key, right, wrong, math.nan, math.nan, math.nan, (reason,))
    return EarAndFigure(key, right, wrong, *area_within(pairs))


def _of_session(summary: MeasureSummary) -> tuple[Rows, Rows]:
    right = [word.value for word in summary.words if word.heard == "correct"]
    wrong = [word.value for word in summary.words if word.heard in _WRONG]
    return np.asarray(right, dtype=np.float64), np.asarray(wrong, dtype=np.float64)


def area_within(pairs: Sequence[tuple[Rows, Rows]], *, level: float = 0.95) -> tuple[float, float, float]:
    r"""Return the area under the ROC curve over pairs of one session each, and its interval.

    Sessions are weighted by their pairs; the variance is DeLong's (1988, from memory), its two components pooled over
    sessions about each session's own area, on the logit scale; at 0 or 1 the nearer limit is ``0.025^(1/n)``.

    Examples
    --------
    >>> import numpy as np
    >>> first = (np.array([3.0, 4.0, 6.0]), np.array([1.0, 2.0, 5.0]))
    >>> second = (np.array([13.0, 16.0]), np.array([11.0, 12.0]))
    >>> [round(value, 2) for value in area_within([first, second])]
    [0.85, 0.33, 0.98]
    """
    both = [(r, w) for r, w in pairs if r.size and w.size]
    wins = [(r[:, np.newaxis] > w) + 0.5 * (r[:, np.newaxis] == w) for r, w in both]
    sizes = np.asarray([one.size for one in wins], dtype=np.float64)
    weight = sizes / sizes.sum()
    area = float(sum(share * one.mean() for share, one in zip(weight, wins, strict=True)))
    if area in (0.0, 1.0):
        n = min(sum(r.size for r, _ in both), sum(w.size for _, w in both))
        reach = 1 - ((1 - level) / 2) ** (1 / n)
        return (area, 1 - reach, 1.0) if area else (area, 0.0, reach)
    half = NormalDist().inv_cdf((1 + level) / 2) * math.sqrt(_variance(wins, weight)) / (area * (1 - area))
    middle = math.log(area / (1 - area))
    return area, 1 / (1 + math.exp(half - middle)), 1 / (1 + math.exp(-half - middle))


def _variance(wins: Sequence[Rows], weight: Rows) -> float:
    by_right, by_wrong = (_pooled([one.mean(axis=axis) for one in wins]) for axis in (1, 0))
    return float(
        sum(
            share**2 * (by_right / one.shape[0] + by_wrong / one.shape[1])
            for share, one in zip(weight, wins, strict=True)
        )
    )


def _pooled(groups: Sequence[Rows]) -> float:
    """Variance about each group's own mean."""
    squares = sum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    return squares / max(sum(group.size - 1 for group in groups), 1)
