"""Stretches and prompts in order: every way to match them, weighed, and how sure the best one is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Kind = Literal["whole", "broken", "stray", "missing"]
Mode = Literal["ready", "heard", "begun"]

NOTHING = -1e9


@dataclass(frozen=True, slots=True)
class Costs:
    """Log weights of what may happen in a recording; own choice, tuned on seeded lists (``docs/words.md``)."""

    stray: float = -2.0
    repeat: float = -4.0
    broken: float = -4.0
    missing: float = -5.0
    unfinished: float = -3.0


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Log-likelihood ratios of spans of pieces.

    A span is ``k + 1`` pieces from piece ``i``. ``whole`` (k, i, prompt): the whole prompt is said there, against no
    word at all; ``broken``: only its beginning. ``stray`` (i): the piece is no word. ``same`` (k, i): the span says
    again what was said just before, against something new. Spans that are not allowed hold ``NOTHING``.
    """

    whole: Array
    broken: Array
    stray: Array
    same: Array

    @property
    def shape(self) -> tuple[int, int, int]:
        """Longest span, number of pieces, number of prompts."""
        longest, n_pieces, n_prompts = self.whole.shape
        return longest, n_pieces, n_prompts


@dataclass(frozen=True, slots=True)
class Step:
    """Pieces ``first`` to ``last`` (exclusive) read as ``kind`` of ``prompt`` (0-based, -1 for a stray)."""

    kind: Kind
    first: int
    last: int
    prompt: int
    repeat: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """The best reading, and for each piece and prompt the probability that it belongs to an attempt.

    ``first`` (i, prompt): the piece belongs to the first whole attempt at the prompt; ``any`` (i, prompt): to any
    attempt at it; ``missing`` (prompt,): the prompt was not heard. Summed over all readings.
    """

    steps: tuple[Step, ...]
    first: Array
    any: Array
    missing: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Ahead:
    """What can still come, (i, j) with ``j`` prompts dealt with after ``i`` pieces: log sum or maximum over readings.

    ``ready``: prompt j was skipped (or nothing is done); ``heard``: it was said whole and may be said again;
    ``begun``: it was broken off.
    """

    ready: Array
    heard: Array
    begun: Array


def match(evidence: Evidence, costs: Costs) -> Reading:
    """Weigh all readings of the pieces by forward and backward sums, and return the single best one.

    A reading passes through pieces and prompts in order. At each point a piece is left over, a prompt is skipped, or
    a span of pieces is an attempt: the first at the next prompt, another at the one just heard, or a false start that
    is followed by another attempt. The weight of a reading is the sum of its evidence and costs.
    """
    best = _ahead(evidence, costs, np.maximum)
    total = _ahead(evidence, costs, np.logaddexp)
    steps = _follow(evidence, costs, best)
    first, every, missing = _marginals(evidence, costs, total)
    return Reading(tuple(steps), first, every, missing)


def _ahead(evidence: Evidence, costs: Costs, add: np.ufunc) -> _Ahead:
    longest, n, m = evidence.shape
    ready, heard, begun = (np.full((n + 1, m + 1), NOTHING) for _ in range(3))
    ready[n, m], heard[n, m], begun[n, m] = 0.0, 0.0, costs.unfinished
    for i in range(n, -1, -1):
        fresh = np.full(m + 1, NOTHING)
        again, finish = fresh.copy(), fresh.copy()
        for k in range(min(longest, n - i)):
            to = i + k + 1
            fresh[:m] = add(fresh[:m], evidence.whole[k, i] + heard[to, 1:])
            fresh[:m] = add(fresh[:m], evidence.broken[k, i] + costs.broken + begun[to, 1:])
            whole = evidence.whole[k, i] + heard[to, 1:]
            again[1:] = add(again[1:], whole + costs.repeat + evidence.same[k, i])
            finish[1:] = add(finish[1:], whole)
            finish[1:] = add(finish[1:], evidence.broken[k, i] + costs.broken + begun[to, 1:])
        if i < n:
            left = evidence.stray[i] + costs.stray
            ready[i], heard[i], begun[i] = left + ready[i + 1], left + heard[i + 1], left + begun[i + 1]
        ready[i] = _chain(add(ready[i], fresh), costs.missing, add)
        onward = fresh.copy()
        onward[:m] = add(onward[:m], costs.missing + ready[i, 1:])
        heard[i] = add(add(heard[i], onward), again)
        begun[i] = add(add(begun[i], onward + costs.unfinished), finish)
    return _Ahead(ready, heard, begun)


def _chain(row: Array, cost: float, add: np.ufunc) -> Array:
    """x[j] = row[j] (+) cost + x[j + 1], from the end: skipping prompts one after another."""
    slope = cost * np.arange(row.size)
    return np.asarray(add.accumulate((row + slope)[::-1])[::-1] - slope)


def _options(
    evidence: Evidence, costs: Costs, ahead: _Ahead, at: tuple[int, int, Mode]
) -> list[tuple[float, Step, Mode]]:
    """All steps from a point with the weight of step and rest."""
    i, j, mode = at
    longest, n, m = evidence.shape
    start = costs.unfinished if mode == "begun" else 0.0
    out: list[tuple[float, Step, Mode]] = []
    if i < n:
        rest = {"ready": ahead.ready, "heard": ahead.heard, "begun": ahead.begun}[mode][i + 1, j]
        out.append((evidence.stray[i] + costs.stray + rest, Step("stray", i, i + 1, -1), mode))
    if j < m:
        out.append((start + costs.missing + ahead.ready[i, j + 1], Step("missing", i, i, j), "ready"))
    for k in range(min(longest, n - i)):
        to = i + k + 1
        if j < m:
            whole, broken = evidence.whole[k, i, j], evidence.broken[k, i, j] + costs.broken
            out.append((start + whole + ahead.heard[to, j + 1], Step("whole", i, to, j), "heard"))
            out.append((start + broken + ahead.begun[to, j + 1], Step("broken", i, to, j), "begun"))
        if j and mode == "heard":
            again = evidence.whole[k, i, j - 1] + costs.repeat + evidence.same[k, i]
            out.append((again + ahead.heard[to, j], Step("whole", i, to, j - 1, repeat=True), "heard"))
        if j and mode == "begun":
            whole, broken = evidence.whole[k, i, j - 1], evidence.broken[k, i, j - 1] + costs.broken
            out.append((whole + ahead.heard[to, j], Step("whole", i, to, j - 1), "heard"))
            out.append((broken + ahead.begun[to, j], Step("broken", i, to, j - 1), "begun"))
    return out


def _follow(evidence: Evidence, costs: Costs, best: _Ahead) -> list[Step]:
    _, n, m = evidence.shape
    i, j = 0, 0
    mode: Mode = "ready"
    steps: list[Step] = []
    while i < n or j < m:
        _, step, mode = max(_options(evidence, costs, best, (i, j, mode)), key=lambda option: option[0])
        steps.append(step)
        i = step.last
        j = step.prompt + 1 if step.prompt >= 0 else j
    return steps


def _marginals(evidence: Evidence, costs: Costs, total: _Ahead) -> tuple[Array, Array, Array]:
    """Forward pass in probabilities: from each point its share goes out along the steps, so nothing underflows."""
    longest, n, m = evidence.shape
    first, every, missing = np.zeros((n, m)), np.zeros((n, m)), np.zeros(m)
    ready, heard, begun = (np.zeros((n + 1, m + 1)) for _ in range(3))
    ready[0, 0] = 1.0

    def share(mass: Array, weight: Array, here: Array) -> Array:
        with np.errstate(under="ignore"):
            return np.asarray(mass * np.exp(np.minimum(weight - here, 0.0)))

    for i in range(n + 1):
        for j in range(m):  # skipping prompts: one after another
            out = (
                share(ready[i, j], costs.missing + total.ready[i, j + 1], total.ready[i, j])
                + share(heard[i, j], costs.missing + total.ready[i, j + 1], total.heard[i, j])
                + share(begun[i, j], costs.unfinished + costs.missing + total.ready[i, j + 1], total.begun[i, j])
            )
            ready[i, j + 1] += out
            missing[j] += out
        if i == n:
            break
        left = evidence.stray[i] + costs.stray
        for mass, ahead in ((ready, total.ready), (heard, total.heard), (begun, total.begun)):
            mass[i + 1] += share(mass[i], left + ahead[i + 1], ahead[i])
        for k in range(min(longest, n - i)):
            to = i + k + 1
            whole, broken = evidence.whole[k, i], evidence.broken[k, i] + costs.broken
            fresh = np.zeros(m)
            start = np.zeros(m)
            for mass, ahead, cost in (
                (ready, total.ready, 0.0), (heard, total.heard, 0.0), (begun, total.begun, costs.unfinished)
            ):  # fmt: skip
                fresh += share(mass[i, :m], cost + whole + total.heard[to, 1:], ahead[i, :m])
                start += share(mass[i, :m], cost + broken + total.begun[to, 1:], ahead[i, :m])
            fresh += share(begun[i, 1:], whole + total.heard[to, 1:], total.begun[i, 1:])
            start += share(begun[i, 1:], broken + total.begun[to, 1:], total.begun[i, 1:])
            again = share(
                heard[i, 1:], whole + costs.repeat + evidence.same[k, i] + total.heard[to, 1:], total.heard[i, 1:]
            )
            heard[to, 1:] += fresh + again
            begun[to, 1:] += start
            first[i:to] += fresh
            every[i:to] += fresh + again + start
    return first, every, missing
