"""The two analyses of each difference side by side: the primary one, the other, and whether they agree, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .effects import Effect
from .mixed import Contrast, Model
from .question import Question

LEVEL = 0.05  # common practice, no source
NAMES = {"mixed": "the mixed model", "paired": "the analysis over speakers' means"}


@dataclass(frozen=True, slots=True)
class Beside:
    """A difference by the primary analysis and by the other one.

    ``claimed``: whether the primary analysis tells it from chance (p after Holm below 0.05; where it is the model, only
    if that converged). ``paired``: whether the analysis over means rests on speakers who have both groups. ``agree``:
    whether both analyses say the same; ``found_at_80``: the smallest
    true difference that the primary analysis would find four times in five; ``words`` say how they stand to each other.
    """

    measure: str
    first: str
    second: str
    primary: str
    estimate: float
    low: float
    high: float
    p: float
    p_holm: float
    n_speakers: int
    n_tokens: int
    found_at_80: float
    other: str
    other_estimate: float
    other_low: float
    other_high: float
    other_p: float
    other_p_holm: float
    other_n_speakers: int
    other_n_tokens: int
    claimed: bool
    paired: bool
    agree: bool
    words: str


@dataclass(frozen=True, slots=True)
class _Told:
    """One analysis of one difference."""

    estimate: float = math.nan
    low: float = math.nan
    high: float = math.nan
    p: float = math.nan
    p_holm: float = math.nan
    n_speakers: int = 0
    n_tokens: int = 0
    found_at_80: float = math.nan
    sound: bool = True


def side_by_side(effects: Sequence[Effect], models: Sequence[Model], question: Question) -> tuple[Beside, ...]:
    """Set the two analyses of every difference beside each other, the primary one first."""
    by_pair = {(c.measure, c.first, c.second): (m, c) for m in models for c in m.contrasts}
    found = []
    for effect in effects:
        key = (effect.measure, effect.first, effect.second)
        told = {"mixed": _of_model(by_pair.get(key)), "paired": _of_means(effect)}
        other = "paired" if question.leading == "mixed" else "mixed"
        a, b = told[question.leading], told[other]
        claimed = a.sound and a.p_holm < LEVEL
        agree, words = _compared(a, b, question.leading, other)
        found.append(Beside(*key, question.leading, a.estimate, a.low, a.high, a.p, a.p_holm, a.n_speakers, a.n_tokens,
                            a.found_at_80, other, b.estimate, b.low, b.high, b.p, b.p_holm, b.n_speakers, b.n_tokens,
                            claimed, effect.kind == "paired", agree, words))  # fmt: skip
    return tuple(found)


def _of_model(found: tuple[Model, Contrast] | None) -> _Told:
    if found is None:
        return _Told(sound=False)
    model, one = found
    return _Told(one.estimate, one.low, one.high, one.p, one.p_holm, model.n_speakers, model.n_rows,
                 one.found_at_80, model.converged)  # fmt: skip


def _of_means(one: Effect) -> _Told:
    n = one.n_first if one.kind == "paired" else one.n_first + one.n_second
    n_tokens = one.n_tokens_first + one.n_tokens_second
    return _Told(one.difference, one.low, one.high, one.p, one.p_holm, n, n_tokens, one.found_at_80)


def _compared(a: _Told, b: _Told, primary: str, other: str) -> tuple[bool, str]:
    """Whether two analyses agree, and how they stand to each other."""
    missing = [NAMES[name] for name, one in ((primary, a), (other, b)) if not math.isfinite(one.estimate)]
    if missing:
        return False, f"{' and '.join(missing)} could not be done, so there is nothing beside it"
    apart = [one.p_holm < LEVEL for one in (a, b)]
    same_side = (a.estimate > 0) == (b.estimate > 0)
    inside = a.low <= b.estimate <= a.high and b.low <= a.estimate <= b.high
    whom = f"({a.n_speakers} and {b.n_speakers} speakers)"
    if all(apart) and not same_side:
        return False, f"the two analyses {whom} find differences of opposite direction"
    if apart[0] != apart[1]:
        yes, no = (primary, other) if apart[0] else (other, primary)
        return False, f"{NAMES[yes]} tells the groups apart and {NAMES[no]} does not {whom}"
    if not inside:
        return False, f"each analysis {whom} puts the difference where the other's interval does not reach"
    return True, f"both analyses say the same {whom}"
