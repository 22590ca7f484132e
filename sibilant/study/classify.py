"""Two discriminants: linear, from the blocks' cross-products alone, and logistic regression by Newton's steps."""

from __future__ import annotations

import itertools
from typing import Protocol

import numpy as np
import numpy.typing as npt

from .blocks import Blocks

Values = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
MOST_LEARNT = 10_000
"""Tokens that a logistic regression learns from at most, the same share of every block (own rule)."""
MOST_STEPS = 50  # Newton's steps at most


class Rule(Protocol):
    """A way of telling groups apart; groups have equal prior probabilities whatever their tokens' numbers."""

    name: str

    def learn(self, learnt: Values, groups: Codes) -> tuple[Values, Values]:
        """Learn once from each row of ``learnt`` (k, blocks): the weight of each block, 0 where it is not learnt from.

        Returns
        -------
        tuple of array
            Weights (k, m, groups) and constants (k, groups); a token is called the group with the highest sum.
        """
        ...


class LinearRule:
    """Linear discriminant analysis with equal priors (Fisher): highest x'S^-1 m_g - m_g'S^-1 m_g / 2."""

    name = "linear discriminant"

    def __init__(self, blocks: Blocks) -> None:
        self.middle, self.spread = blocks.values.mean(axis=0), blocks.values.std(axis=0)
        self.spread[self.spread == 0] = 1.0
        z = (blocks.values - self.middle) / self.spread
        n = blocks.group.size
        self.counts = np.bincount(blocks.of_token, minlength=n).astype(np.float64)
        self.sums = np.stack([np.bincount(blocks.of_token, column, n) for column in z.T], axis=1)
        ends = np.concatenate([[0], np.cumsum(self.counts.astype(int))])
        self.squares = np.stack([z[a:b].T @ z[a:b] for a, b in itertools.pairwise(ends)]).reshape(n, -1)
        self.n_groups = blocks.n_groups

    def learn(self, learnt: Values, groups: Codes) -> tuple[Values, Values]:
        """Learn from the blocks' sums alone."""
        times, m = learnt, self.sums.shape[1]
        member = np.eye(self.n_groups)[groups]
        counts = times @ (member * self.counts[:, np.newaxis])
        by_group = (member[:, :, np.newaxis] * self.sums[:, np.newaxis, :]).reshape(groups.size, -1)
        means = (times @ by_group).reshape(-1, self.n_groups, m) / np.maximum(counts, 1)[:, :, np.newaxis]
        turned = np.swapaxes(means, 1, 2)
        inside = (times @ self.squares).reshape(-1, m, m) - (turned * counts[:, np.newaxis, :]) @ means
        inside /= np.maximum(1.0, counts.sum(axis=1) - self.n_groups)[:, np.newaxis, np.newaxis]
        weights = np.linalg.pinv(inside, rcond=1e-10, hermitian=True) @ turned
        constants = np.where(counts > 0, -0.5 * np.sum(turned * weights, axis=1), -np.inf)
        weights = weights / self.spread[:, np.newaxis]
        return np.asarray(weights), constants - self.middle @ weights


class LogisticRule:
    """Logistic regression, groups weighted alike, penalised by half the squared weights (C = 1).

    Two groups have one set of weights, more have one each, on the scale of what is learnt.
    """

    name = "logistic regression"

    def __init__(self, blocks: Blocks) -> None:
        every = max(1, -(-blocks.values.shape[0] // MOST_LEARNT))
        first = np.searchsorted(blocks.of_token, np.arange(blocks.group.size))
        kept = (np.arange(blocks.of_token.size) - first[blocks.of_token]) % every == 0
        values, self.of_token, self.n_groups = blocks.values[kept], blocks.of_token[kept], blocks.n_groups
        self.middle, self.spread = values.mean(axis=0), values.std(axis=0)
        self.spread[self.spread == 0] = 1.0
        self.z = np.column_stack([(values - self.middle) / self.spread, np.ones(len(values))])
        self.pairs = (self.z[:, :, np.newaxis] * self.z[:, np.newaxis, :]).reshape(len(values), -1)
        self.n_kept = int(kept.sum())

    def learn(self, learnt: Values, groups: Codes) -> tuple[Values, Values]:
        """Learn by Newton's steps, all rows of ``learnt`` at once."""
        rows = learnt[:, self.of_token].T
        member = np.eye(self.n_groups)[groups[self.of_token]]
        counts = rows.T @ member
        alike = (
            counts.sum(axis=1, keepdims=True)
            / np.maximum(counts, 1)
            / np.maximum(1, (counts > 0).sum(axis=1, keepdims=True))
        )
        weight = rows * (member @ alike.T)
        found = self._steps(weight, member, self._penalty(rows))
        weights = np.swapaxes(found[:, :, :-1], 1, 2) / self.spread[:, np.newaxis]
        constants = np.where(counts > 0, found[:, :, -1], -np.inf)
        return np.asarray(weights), constants - self.middle @ weights

    def _penalty(self, rows: Values) -> Values:
        """Penalty of each weight (k, m + 1): the variance of its measure in what is learnt, none of the constant."""
        n = np.maximum(1.0, rows.sum(axis=0))[:, np.newaxis]
        means = rows.T @ self.z / n
        variance = rows.T @ self.z**2 / n - means**2
        variance[:, -1] = 1e-8
        return np.asarray(np.maximum(variance, 1e-8))

    def _steps(self, weight: Values, member: Values, penalty: Values) -> Values:
        """Coefficients (k, groups, m + 1)."""
        k, width = penalty.shape
        there = weight.T @ member > 0
        absent = np.where(there | ~there.any(axis=1, keepdims=True), 0.0, -np.inf)  # it would drift off for ever
        free = [1] if self.n_groups == 2 else list(range(self.n_groups))
        beta = np.zeros((k, self.n_groups, width))
        for _ in range(MOST_STEPS):
            scores = np.tensordot(self.z, beta, axes=([1], [2])) + absent
            scores -= scores.max(axis=2, keepdims=True)
            share = np.exp(scores)
            share /= share.sum(axis=2, keepdims=True)
            curved = np.zeros((k, len(free), width, len(free), width))
            slope = np.empty((k, len(free), width))
            for i, a in enumerate(free):
                slope[:, i] = (weight * (share[:, :, a] - member[:, [a]])).T @ self.z + penalty * beta[:, a]
                for j, b in enumerate(free[i:], i):
                    own = weight * share[:, :, a] * ((a == b) - share[:, :, b])
                    curved[:, i, :, j, :] = curved[:, j, :, i, :] = (own.T @ self.pairs).reshape(k, width, width)
                curved[:, i, np.arange(width), i, np.arange(width)] += penalty
            size = len(free) * width
            step = np.linalg.solve(curved.reshape(k, size, size), slope.reshape(k, size, 1)).reshape(slope.shape)
            longest = np.abs(step).max(axis=(1, 2))
            beta[:, free] -= step * np.minimum(1.0, 5.0 / np.maximum(5.0, longest))[:, np.newaxis, np.newaxis]
            if longest.max() < 1e-6:
                break
        return beta
