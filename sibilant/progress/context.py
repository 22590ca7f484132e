"""Which contexts suit this client: a map from eight tokens a cell, pooled over sessions and shrunk."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..terms import SibilantSlot
from ..terms.clinic import Direction
from ..terms.groups import ContextCell
from ..terms.kept import KeptToken
from ..terms.summaries import MeasureSummary
from .means import mean_interval
from .proportions import wilson

LEAST_TOKENS = 8  # fewer sounds are shown and not ranked; own choice, told in docs/charts.md
_APART = 1.96  # 97.5th percentile of the normal distribution
FRONT_VOWELS = frozenset({"IY", "IH", "EY", "EH", "AE"})
ROUNDED_VOWELS = frozenset({"UW", "UH", "OW", "AO", "OY", "ER"})
Context = tuple[str, str, str]


def context_of(slot: SibilantSlot) -> Context:
    """Return position, cluster and neighbour vowel class (the vowel after, or before where none follows).

    Examples
    --------
    >>> context_of(SibilantSlot("S", 1, "initial", vowel_after="IY1"))
    ('initial', '', 'beside a front vowel')
    """
    vowel = (slot.vowel_after or slot.vowel_before).rstrip("012")
    if not vowel:
        return slot.position, slot.cluster, ""
    kind = "front" if vowel in FRONT_VOWELS else "rounded" if vowel in ROUNDED_VOWELS or slot.rounded else "open"
    return slot.position, slot.cluster, f"beside {'an' if kind == 'open' else 'a'} {kind} vowel"


def context_map(
    key: str,
    summaries: Sequence[MeasureSummary],
    contexts: Mapping[str, Context],
    *,
    direction: Direction = "higher",
) -> tuple[ContextCell, ...]:
    """Return one cell a context from the tokens of all sessions, each taken as its distance from its session's mean.

    Cells of eight tokens or more are placed by their shrunk means (empirical Bayes: towards the overall mean by
    B = T / (T + within variance / n), T the variance between contexts), first where the chosen direction points;
    cells that differ from the first of a place by less than 1.96 standard errors share it (own choice), so that no
    order is told where there is no difference; smaller ones carry the reason instead. ``contexts`` gives each word's.
    """
    groups: dict[Context, list[float]] = defaultdict(list)
    everything = [value.value for summary in summaries for value in summary.words]
    if not everything:
        return ()
    grand = math.fsum(everything) / len(everything)
    for summary in summaries:
        for value in summary.words:
            if value.word in contexts:
                groups[contexts[value.word]].append(value.value - summary.mean + grand)
    between, within = _variances(list(groups.values()))
    cells, errors = [], {}
    for context in sorted(groups):
        values = groups[context]
        estimate = mean_interval(values)
        weight = between / (between + within / len(values)) if between > 0 else 0.0
        errors[context] = math.sqrt(weight * within / len(values))
        shrunk = grand + weight * (estimate.value - grand)
        reason = "" if len(values) >= LEAST_TOKENS else f"{len(values)} tokens; {LEAST_TOKENS} are needed to rank"
        cells.append(
            ContextCell(key, *context, len(values), estimate.value, estimate.low, estimate.high, shrunk, None, reason)
        )
    return _ranked(cells, errors, upward=direction not in {"lower", "shorter"})


def accuracy_map(judged: Sequence[tuple[KeptToken, bool]]) -> tuple[ContextCell, ...]:
    """Return the map of the ear's share correct by context, with Wilson intervals, ranked as :func:`context_map`."""
    groups: dict[Context, list[float]] = defaultdict(list)
    for token, right in judged:
        slot = token.sound.slot
        if slot is not None:
            groups[context_of(slot)].append(float(right))
    total = [value for values in groups.values() for value in values]
    cells, errors = [], {}
    for context in sorted(groups):
        values = groups[context]
        low, high = wilson(int(sum(values)), len(values))
        shrunk = (sum(values) + 2 * sum(total) / len(total)) / (len(values) + 2)
        reason = "" if len(values) >= LEAST_TOKENS else f"{len(values)} tokens; {LEAST_TOKENS} are needed to rank"
        share = sum(values) / len(values)
        errors[context] = math.sqrt(shrunk * (1 - shrunk) / (len(values) + 2))
        cells.append(ContextCell("accuracy", *context, len(values), share, low, high, shrunk, None, reason))
    return _ranked(cells, errors, upward=True)


def _variances(groups: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Between-context and within-context variance by the moments of a one-way layout of unequal groups."""
    sizes = np.asarray([len(group) for group in groups], dtype=float)
    means = np.asarray([np.mean(group) for group in groups])
    total = sizes.sum()
    squares = sum(float(np.sum((np.asarray(group) - mean) ** 2)) for group, mean in zip(groups, means, strict=True))
    within = squares / (total - len(groups)) if total > len(groups) else 0.0
    if len(groups) < 2:
        return 0.0, within
    grand = float(np.sum(sizes * means) / total)
    mean_square = float(np.sum(sizes * (means - grand) ** 2)) / (len(groups) - 1)
    effective = (total - float(np.sum(sizes**2)) / total) / (len(groups) - 1)
    return max(0.0, (mean_square - within) / effective), within


def _ranked(cells: Sequence[ContextCell], errors: Mapping[Context, float], *, upward: bool) -> tuple[ContextCell, ...]:
    able = sorted((cell for cell in cells if not cell.reason), key=lambda c: -c.shrunk if upward else c.shrunk)
    rank: dict[int, int] = {}
    first = able[0] if able else None
    for place, cell in enumerate(able, start=1):
        assert first is not None
        error = math.hypot(*(errors[one.position, one.cluster, one.vowel] for one in (first, cell)))
        if place == 1 or abs(cell.shrunk - first.shrunk) > _APART * error:
            first, rank[id(cell)] = cell, place
        else:
            rank[id(cell)] = rank[id(first)]
    ordered = [*able, *(cell for cell in cells if cell.reason)]
    return tuple(replace(cell, rank=rank.get(id(cell))) for cell in ordered)
