"""The lattice of readings against a plain enumeration of every reading (truth on paper: sums and maxima)."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from sibilant.words.lattice import NOTHING, Evidence, decode
from sibilant.words.priors import EVENTFUL, Priors


def every_reading(e: Evidence, c: Priors, i: int = 0, j: int = 0, mode: str = "ready") -> list[tuple[float, tuple]]:
    """All readings from a point, spelled out one by one, with their weights."""
    longest, n, m = e.whole.shape
    out: list[tuple[float, tuple]] = []
    leave = c.unfinished if mode == "begun" else 0.0
    if i == n and j == m:
        out.append((leave, ()))

    def go(weight: float, step: tuple, i2: int, j2: int, mode2: str) -> None:
        if weight > NOTHING / 2:
            out.extend((weight + w, (step, *rest)) for w, rest in every_reading(e, c, i2, j2, mode2))

    if j < m:
        go(leave + c.missing, ("missing", i, i, j), i, j + 1, "ready")
    if i < n:
        go(e.stray[i] + c.stray, ("stray", i, i + 1, -1), i + 1, j, mode)
    for k in range(min(longest, n - i)):
        to = i + k + 1
        for p in {j - 1, j} if mode != "ready" else {j}:
            if 0 <= p < m:
                go(e.whole[k, i, p] + e.other[k, i] + c.other, ("other", i, to, p), to, j, mode)
        if j < m:
            go(leave + e.whole[k, i, j], ("whole", i, to, j), to, j + 1, "heard")
            go(leave + e.broken[k, i, j] + c.broken, ("broken", i, to, j), to, j + 1, "begun")
        if j and mode == "heard":
            go(e.whole[k, i, j - 1] + c.repeat + e.same[k, i, j - 1], ("again", i, to, j - 1), to, j, "heard")
        if j and mode == "begun":
            go(e.whole[k, i, j - 1], ("whole", i, to, j - 1), to, j, "heard")
            go(e.broken[k, i, j - 1] + c.broken, ("broken", i, to, j - 1), to, j, "begun")
    return out


def some_evidence(seed: int, n: int, m: int, longest: int = 2) -> Evidence:
    rng = np.random.default_rng(seed)
    whole, broken = rng.normal(0, 4, (longest, n, m)), rng.normal(-2, 4, (longest, n, m))
    whole[1, -1], broken[1, -1] = NOTHING, NOTHING
    whole[1, 0, 0] = NOTHING
    same = rng.normal(0, 3, (longest, n, m))
    return Evidence(whole, broken, rng.normal(0, 2, n), same, rng.normal(0, 3, (longest, n)))


@pytest.mark.parametrize(
    ("seed", "n", "m"), [(s, n, m) for s, (n, m) in enumerate(itertools.product((1, 2, 3), (1, 2, 3)))]
)
def test_best_reading_and_probabilities_are_those_of_the_enumeration(seed: int, n: int, m: int) -> None:
    evidence = some_evidence(seed, n, m)
    readings = every_reading(evidence, EVENTFUL)
    weights = np.array([w for w, _ in readings])
    found = decode(evidence, (EVENTFUL,))
    best = readings[int(weights.argmax())][1]
    assert [(s.first, s.last, s.prompt) for s in found.steps] == [step[1:] for step in best]
    share = np.exp(weights - np.logaddexp.reduce(weights))
    first, every, missing = np.zeros((n, m)), np.zeros((n, m)), np.zeros(m)
    other = np.zeros((n, m))
    for p, (_, steps) in zip(share, readings, strict=True):
        for kind, a, b, prompt in steps:
            if kind == "missing":
                missing[prompt] += p
            elif kind == "other":
                other[a:b, prompt] += p
            elif kind != "stray":
                every[a:b, prompt] += p
                first[a:b, prompt] += p * (kind == "whole")
    np.testing.assert_allclose(found.missing, missing, atol=1e-9)
    np.testing.assert_allclose(found.any, every, atol=1e-9)
    np.testing.assert_allclose(found.first, first, atol=1e-9)
    np.testing.assert_allclose(found.other, other, atol=1e-9)


def test_moods_mix_by_their_sums() -> None:
    evidence = some_evidence(3, 2, 2)
    calm = Priors(missing=-9.0, repeat=-9.0, word=0.0)
    parts = [decode(evidence, (c,)) for c in (calm, EVENTFUL)]
    sums = np.array(
        [
            np.logaddexp.reduce([w for w, _ in every_reading(evidence, c)]) + 2 * c.word + c.before
            for c in (calm, EVENTFUL)
        ]
    )
    share = np.exp(sums - np.logaddexp.reduce(sums))
    mixed = decode(evidence, (calm, EVENTFUL))
    np.testing.assert_allclose(mixed.any, share[0] * parts[0].any + share[1] * parts[1].any, atol=1e-9)


def test_nothing_heard_leaves_every_prompt_missing() -> None:
    nothing = np.full((1, 1, 3), NOTHING)
    found = decode(Evidence(nothing, nothing, np.zeros(1), np.zeros((1, 1, 3)), np.zeros((1, 1))))
    assert [s.kind for s in found.steps].count("missing") == 3
    np.testing.assert_allclose(found.missing, 1.0)


def test_a_long_list_neither_underflows_nor_shifts() -> None:
    n = 400
    whole = np.full((1, n, n), -6.0)
    whole[0, np.arange(n), np.arange(n)] = 6.0
    found = decode(Evidence(whole, whole - 8.0, np.zeros(n), np.full((1, n, n), -5.0), np.full((1, n), -2.0)))
    assert [s.prompt for s in found.steps] == list(range(n))
    assert found.first[np.arange(n), np.arange(n)].min() > 0.99
