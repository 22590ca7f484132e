"""All ways through a chain of units summed forward and backward: how likely each unit is in each frame."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .phrase_model import MOST_LEAST, PhraseModel

Floats = npt.NDArray[np.float64]

# Chosen on invented probes (docs/words.md), where no other origin is named.
NEVER = -1e6  # log probability of a path that can not be taken, far below any that can


def occupancy(score: Floats, model: PhraseModel) -> tuple[Floats, Floats, float]:
    """Probability of each unit in each frame, that it was said, and the log likelihood of all ways together.

    A unit takes at least ``least`` frames, then stays with probability 1 - 1/f; between units lie gates without
    frames, through which units are left out: A[u + 1] = log(exp(exit[u]) + exp(A[u] - left_out[u])).

    Parameters
    ----------
    score : (n, u)
        Log score of each frame under each unit's class.
    model : PhraseModel
        The chain.

    Returns
    -------
    (n, u), (u,), float

    Examples
    --------
    >>> from .phrase_model import phrase_model
    >>> model = phrase_model((("S", "IY1"),))
    >>> score = np.full((40, 5), -9.0)  # silence, S, IY, a hiss that nobody asked for, silence
    >>> score[:10, 0] = score[10:20, 1] = score[20:30, 2] = score[30:, 4] = 0.0
    >>> weight, said, _ = occupancy(score, model)
    >>> weight.argmax(axis=1).tolist() == [0] * 10 + [1] * 10 + [2] * 10 + [4] * 10, said.round(2).tolist()
    (True, [1.0, 1.0, 1.0, 0.0, 1.0])
    """
    ahead, gates, end = _forward(score, model)
    behind, onward = _backward(score, model)
    weight = np.exp(np.logaddexp.reduce(ahead + behind, axis=2) - end)
    left = gates[:, :-1] - model.left_out + onward[:, 1:] - end
    said = 1.0 - np.minimum(1.0, np.exp(np.minimum(left, 0.0)).sum(axis=0))
    return weight, said, float(end)


def _rates(model: PhraseModel) -> tuple[Floats, Floats]:
    """Log probabilities of staying in the last part of a unit and of leaving it."""
    rest = np.maximum(model.frames - model.least + 1.0, 1.2)
    return np.log(1.0 - 1.0 / rest), -np.log(rest)


def _through(exits: Floats, costs: Floats) -> Floats:
    """Gates after units that end, or are left out: (u + 1,); ``costs`` are 0 and the sums of costs up to each unit."""
    return np.logaddexp.accumulate(np.concatenate([[NEVER], exits]) + costs) - costs


def _forward(score: Floats, model: PhraseModel) -> tuple[Floats, Floats, float]:
    (n, u), m = score.shape, MOST_LEAST
    stay, leave = _rates(model)
    first, rows = m - model.least, np.arange(u)
    costs = np.concatenate([[0.0], np.cumsum(model.left_out)])
    ahead = np.full((n, u, m), NEVER)
    gates = np.full((n + 1, u + 1), NEVER)
    gates[0] = -costs
    for t in range(n):
        now = ahead[t]
        if t:
            before = ahead[t - 1]
            now[:, 1:] = before[:, :-1]
            now[:, -1] = np.logaddexp(now[:, -1], before[:, -1] + stay)
        now[rows, first] = np.logaddexp(now[rows, first], gates[t, :-1])
        now += score[t][:, None]
        gates[t + 1] = _through(now[:, -1] + leave, costs)
    return ahead, gates, float(gates[n, u])


def _backward(score: Floats, model: PhraseModel) -> tuple[Floats, Floats]:
    (n, u), m = score.shape, MOST_LEAST
    stay, leave = _rates(model)
    first, rows = m - model.least, np.arange(u)
    costs = np.concatenate([[0.0], np.cumsum(model.left_out[::-1])])
    behind = np.full((n, u, m), NEVER)
    onward = np.full((n + 1, u + 1), NEVER)
    onward[n] = -costs[::-1]
    for t in range(n - 1, -1, -1):
        now = behind[t]
        now[:, -1] = leave + onward[t + 1, 1:]
        if t + 1 < n:
            after = behind[t + 1] + score[t + 1][:, None]
            now[:, -1] = np.logaddexp(now[:, -1], stay + after[:, -1])
            now[:, :-1] = after[:, 1:]
        entered = (now + score[t][:, None])[rows, first]
        onward[t] = _through(entered[::-1], costs)[::-1]
    return behind, onward
