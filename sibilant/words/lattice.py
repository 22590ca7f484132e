"""Stretches and prompts in order: every way to match them, weighed, and how sure the best one is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from .priors import EVENTFUL, REGULAR, Priors

Array = npt.NDArray[np.float64]
Kind = Literal["whole", "broken", "other", "stray", "missing"]
Mode = Literal["ready", "heard", "begun"]

# Chosen on invented probes (docs/words.md), where no other origin is named.
NOTHING = -1e9  # log probability of what is not allowed; finite, so that sums stay numbers
NEGLIGIBLE = 1e-13  # shares of probability below it are left out, for time

Modes = list[tuple[Array, Array]]


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Log-likelihood ratios of spans of pieces.

    A span is ``k + 1`` pieces from piece ``i``. ``whole`` (k, i, prompt): the whole prompt is said there, against no
    word at all; ``broken``: only its beginning. ``stray`` (i): the piece is no word. ``same`` (k, i, prompt): the span
    says again what was said just before, against something new. ``other`` (k, i): another's voice says it. Spans that
    are not allowed hold ``NOTHING``. With ``open_end`` the list goes on after the last piece, and what is left of it is
    not missing.
    """

    whole: Array
    broken: Array
    stray: Array
    same: Array
    other: Array
    open_end: bool = False

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
    other: Array
    missing: Array
    weight: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Ahead:
    """What can still come, (i, j) with ``j`` prompts dealt with after ``i`` pieces: log sum or maximum over readings.

    ``ready``: prompt j was skipped (or nothing is done); ``heard``: it was said whole and may be said again;
    ``begun``: it was broken off.
    """

    ready: Array
    heard: Array
    begun: Array


def decode(evidence: Evidence, priors: tuple[Priors, ...] = (REGULAR, EVENTFUL)) -> Reading:
    """Weigh all readings of the pieces by forward and backward sums, and return the single best one.

    A reading passes through pieces and prompts in order. At each point a piece is left over, a prompt is skipped, or a
    span of pieces is an attempt: the first at the next prompt, another at the one just heard, a false start that is
    followed by another attempt, or another's voice saying the next prompt or the last. The weight of a reading is the
    sum of its evidence and costs.

    ``priors`` are recordings where nearly all goes by the list, nine in ten beforehand (own choice, no source), and
    eventful ones. Their sums decide between them, and the probabilities are mixed accordingly.
    """
    n_prompts = evidence.shape[2]
    ahead = [_ahead(evidence, costs, np.logaddexp) for costs in priors]
    mass = np.array([a.ready[0, 0] + c.before + c.word * n_prompts for a, c in zip(ahead, priors, strict=True)])
    weight = np.exp(mass - np.logaddexp.reduce(mass))
    chosen = priors[int(weight.argmax())]
    steps = _follow(evidence, chosen, _ahead(evidence, chosen, np.maximum))
    mixed: list[Array] = []
    for costs, total, share in zip(priors, ahead, weight, strict=True):
        if share > NEGLIGIBLE:
            with np.errstate(under="ignore"):
                parts = [share * table for table in _marginals(evidence, costs, total)]
            mixed = [a + b for a, b in zip(mixed, parts, strict=True)] if mixed else parts
    return Reading(tuple(steps), mixed[0], mixed[1], mixed[2], mixed[3], float(np.logaddexp.reduce(mass)))


def _ahead(evidence: Evidence, costs: Priors, add: np.ufunc) -> _Ahead:
    longest, n, m = evidence.shape
    ready, heard, begun = (np.full((n + 1, m + 1), NOTHING) for _ in range(3))
    ends = slice(0, m + 1) if evidence.open_end else slice(m, m + 1)
    ready[n, ends], heard[n, ends], begun[n, ends] = 0.0, 0.0, costs.unfinished
    for i in range(n - evidence.open_end, -1, -1):
        fresh = np.full(m + 1, NOTHING)
        again, finish = fresh.copy(), fresh.copy()
        echo = [fresh.copy() for _ in range(3)]
        for k in range(min(longest, n - i)):
            to = i + k + 1
            fresh[:m] = add(fresh[:m], evidence.whole[k, i] + heard[to, 1:])
            fresh[:m] = add(fresh[:m], evidence.broken[k, i] + costs.broken + begun[to, 1:])
            whole = evidence.whole[k, i] + heard[to, 1:]
            again[1:] = add(again[1:], whole + costs.repeat + evidence.same[k, i])
            finish[1:] = add(finish[1:], whole)
            finish[1:] = add(finish[1:], evidence.broken[k, i] + costs.broken + begun[to, 1:])
            said = evidence.whole[k, i] + evidence.other[k, i] + costs.other
            for kept, mode in zip(echo, (ready, heard, begun), strict=True):
                kept[:m] = add(kept[:m], said + mode[to, :m])
                if mode is not ready:
                    kept[1:] = add(kept[1:], said + mode[to, 1:])
        if i < n:
            left = evidence.stray[i] + costs.stray
            ready[i], heard[i], begun[i] = left + ready[i + 1], left + heard[i + 1], left + begun[i + 1]
        ready[i], heard[i], begun[i] = add(ready[i], echo[0]), add(heard[i], echo[1]), add(begun[i], echo[2])
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
    evidence: Evidence, costs: Priors, ahead: _Ahead, at: tuple[int, int, Mode]
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
        rest = {"ready": ahead.ready, "heard": ahead.heard, "begun": ahead.begun}[mode][to, j]
        for prompt in range(j - (mode != "ready" and j > 0), min(j + 1, m)):
            said = evidence.whole[k, i, prompt] + evidence.other[k, i] + costs.other
            out.append((said + rest, Step("other", i, to, prompt), mode))
        if j < m:
            whole, broken = evidence.whole[k, i, j], evidence.broken[k, i, j] + costs.broken
            out.append((start + whole + ahead.heard[to, j + 1], Step("whole", i, to, j), "heard"))
            out.append((start + broken + ahead.begun[to, j + 1], Step("broken", i, to, j), "begun"))
        if j and mode == "heard":
            again = evidence.whole[k, i, j - 1] + costs.repeat + evidence.same[k, i, j - 1]
            out.append((again + ahead.heard[to, j], Step("whole", i, to, j - 1, repeat=True), "heard"))
        if j and mode == "begun":
            whole, broken = evidence.whole[k, i, j - 1], evidence.broken[k, i, j - 1] + costs.broken
            out.append((whole + ahead.heard[to, j], Step("whole", i, to, j - 1), "heard"))
            out.append((broken + ahead.begun[to, j], Step("broken", i, to, j - 1), "begun"))
    return out


def _follow(evidence: Evidence, costs: Priors, best: _Ahead) -> list[Step]:
    _, n, m = evidence.shape
    i, j = 0, 0
    mode: Mode = "ready"
    steps: list[Step] = []
    while i < n or (j < m and not evidence.open_end):
        _, step, mode = max(_options(evidence, costs, best, (i, j, mode)), key=lambda option: option[0])
        steps.append(step)
        i = step.last
        j = step.prompt + 1 if step.kind in ("whole", "broken", "missing") else j
    return steps


def _marginals(evidence: Evidence, costs: Priors, total: _Ahead) -> tuple[Array, Array, Array, Array]:
    """Forward pass in probabilities: from each point its share goes out along the steps, so nothing underflows."""
    longest, n, m = evidence.shape
    first, every, other, missing = np.zeros((n, m)), np.zeros((n, m)), np.zeros((n, m)), np.zeros(m)
    modes = [(np.zeros((n + 1, m + 1)), ahead) for ahead in (total.ready, total.heard, total.begun)]
    modes[0][0][0, 0] = 1.0
    for i in range(n + 1):
        if not (i == n and evidence.open_end):
            _skip(i, modes, costs, missing)
        if i == n:
            break
        for mass, ahead in modes:
            mass[i + 1] += _share(mass[i], evidence.stray[i] + costs.stray + ahead[i + 1], ahead[i])
        for k in range(min(longest, n - i)):
            if evidence.whole[k, i].max(initial=NOTHING) > NOTHING / 2:
                fresh, again, start, echo = _outflow(evidence, costs, modes, (i, k))
                modes[1][0][i + k + 1, 1:] += fresh + again
                modes[2][0][i + k + 1, 1:] += start
                first[i : i + k + 1] += fresh
                every[i : i + k + 1] += fresh + again + start
                other[i : i + k + 1] += echo
    return first, every, other, missing


def _share(mass: Array, weight: Array | float, here: Array) -> Array:
    return np.asarray(mass * np.exp(np.minimum(weight - here, 0.0)))


def _skip(i: int, modes: Modes, costs: Priors, missing: Array) -> None:
    """Let the mass at point i flow over prompts that are skipped, one after another."""
    (ready, ahead), heard, begun = modes
    reached = ready[i] + heard[0][i] + begun[0][i]
    some = np.flatnonzero(reached > NEGLIGIBLE)
    if not some.size:
        return
    out = 0.0
    for j in range(int(some[0]), missing.size):
        if j > some[-1] and out < NEGLIGIBLE:
            break
        onward = costs.missing + ahead[i, j + 1]
        parts = ((ready, ahead, 0.0), (*heard, 0.0), (*begun, costs.unfinished))
        out = float(sum(_share(mass[i, j], cost + onward, rest[i, j]) for mass, rest, cost in parts))
        ready[i, j + 1] += out
        missing[j] += out


def _outflow(evidence: Evidence, costs: Priors, modes: Modes, at: tuple[int, int]) -> tuple[Array, Array, Array, Array]:
    """Shares that leave point i over the span of k + 1 pieces: first attempts, repeats, false starts, another's."""
    i, k = at
    to = i + k + 1
    whole, broken = evidence.whole[k, i], evidence.broken[k, i] + costs.broken
    heard, begun = modes[1][1][to, 1:], modes[2][1][to, 1:]
    m = whole.size
    fresh, start, echo = np.zeros(m), np.zeros(m), np.zeros(m)
    said = whole + evidence.other[k, i] + costs.other
    for (mass, ahead), cost in zip(modes, (0.0, 0.0, costs.unfinished), strict=True):
        fresh += _share(mass[i, :m], cost + whole + heard, ahead[i, :m])
        start += _share(mass[i, :m], cost + broken + begun, ahead[i, :m])
        before = _share(mass[i, :m], said + ahead[to, :m], ahead[i, :m])
        mass[to, :m] += before
        echo += before
        if mass is not modes[0][0]:
            after = _share(mass[i, 1:], said + ahead[to, 1:], ahead[i, 1:])
            mass[to, 1:] += after
            echo += after
    mass, ahead = modes[2]
    fresh += _share(mass[i, 1:], whole + heard, ahead[i, 1:])
    start += _share(mass[i, 1:], broken + begun, ahead[i, 1:])
    mass, ahead = modes[1]
    again = _share(mass[i, 1:], whole + costs.repeat + evidence.same[k, i] + heard, ahead[i, 1:])
    return fresh, again, start, echo
