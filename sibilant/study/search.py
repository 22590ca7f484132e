"""The least of a restricted likelihood over variance ratios, and whether slope and curvature say that it is one."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .reml import Fitted, Products, likelihood

Values = npt.NDArray[np.float64]
LOW, HIGH = 1e-9, 1e10  # ratios of variances searched: from none to all
SOFT = 0.01
"""Ratios are searched as log(ratio + SOFT): as a factor where they are large, as they are where near nothing."""
_SMALL = 1e-9  # a gain no larger than this is rounding
NEAR = 1e-6
"""How far above the least (in -2 log likelihood) an optimum that is called found may still lie, by its own slope."""
FLAT = 1e-5
"""Curvature, in -2 log likelihood, at or under which the data hardly tell two random parts apart (own rule)."""


@dataclass(frozen=True, slots=True)
class Optimum:
    """Where the search ended.

    ``ratios``: variances over the residual's, 0 where a part has no spread (``singular``). ``curvature``: second
    derivatives in log(ratio + SOFT) of the parts that have spread (``free``). ``gain``: what a further step would win
    by slope and curvature. ``converged``: no slope left, curved upwards in every direction, and no part at 0 that would
    win by having spread. ``why``: what is wrong where it did not.
    """

    fitted: Fitted
    ratios: Values
    free: npt.NDArray[np.bool_]
    curvature: Values
    gain: float
    converged: bool
    why: str = ""


def optimum(data: Products, *, start: Values | None = None) -> Optimum:
    """Find the variance ratios of the highest restricted likelihood.

    A grid of ratios is tried first, since small studies can have two hills; from its best places Newton steps in the
    logs of the ratios, and every part is tried without spread.

    Raises
    ------
    numpy.linalg.LinAlgError
        When the equations have no solution.
    """
    places = [start] if start is not None else _starts(data)
    found = [_descended(data, place) for place in places]
    return min(found, key=lambda one: (round(one.fitted.deviance, 7), not one.converged))


def _starts(data: Products) -> list[Values]:
    """The best places of a grid: three for small data, one where each look is dear."""
    few = data.uv.size + data.vv.size < 200_000
    levels = (0.01, 0.1, 1.0, 10.0) if few and data.n_parts <= 3 else (0.03, 1.0)
    grid = [np.array(one) for one in itertools.product(levels, repeat=min(data.n_parts, 4))]
    if data.n_parts > 4:
        grid = [np.concatenate([one, np.full(data.n_parts - 4, 0.1)]) for one in grid]
    ranked = sorted(grid, key=lambda one: likelihood(data, one).deviance)
    return ranked[: 4 if few else 1]


def _descended(data: Products, start: Values) -> Optimum:
    ratios = start.astype(np.float64).copy()
    for _ in range(8):
        ratios = _without_idle(data, _newton(data, ratios))
        lifted = _lifted(data, ratios)
        if lifted is None:
            break
        ratios = lifted
    return _judged(data, ratios)


def _newton(data: Products, ratios: Values, most: int = 80) -> Values:
    """Damped Newton steps over log(ratio + SOFT) of the ratios that are not 0."""
    here = likelihood(data, ratios)
    for _ in range(most):
        free = ratios > 0
        if not free.any():
            return ratios
        slope = here.slope[free] * _stretch(ratios[free])
        step = _step(slope, curvature_at(data, ratios, free))
        if abs(float(slope @ step)) < 1e-11:
            return ratios
        moved = _searched(data, ratios, free, step, here)
        if moved is None:
            return ratios
        ratios, here = moved
    return ratios


def _stretch(ratios: Values) -> Values:
    """What turns a slope in the log of a ratio into one in log(ratio + SOFT)."""
    return (ratios + SOFT) / ratios


def _step(slope: Values, curvature: Values) -> Values:
    """The Newton step with downward curves turned up, no part by more than a factor of seven at once."""
    worth, along = np.linalg.eigh(curvature)
    least = 1e-6 * max(1.0, float(np.abs(worth).max()))
    step = -(along / np.maximum(np.abs(worth), least)) @ (along.T @ slope)
    return np.asarray(step * min(1.0, 2.0 / max(2.0, float(np.abs(step).max()))))


def _searched(
    data: Products, ratios: Values, free: npt.NDArray[np.bool_], step: Values, here: Fitted
) -> tuple[Values, Fitted] | None:
    """Halve a step until it wins; None where none does. A part whose step leads below nothing is left at nothing."""
    for halvings in range(30):
        tried = ratios.copy()
        tried[free] = np.minimum((ratios[free] + SOFT) * np.exp(step / 2**halvings) - SOFT, HIGH)
        tried[tried < LOW] = 0.0
        there = likelihood(data, tried)
        if there.deviance < here.deviance - 1e-12:
            return tried, there
    return None


def _without_idle(data: Products, ratios: Values) -> Values:
    """Try every part without spread, and keep it so where nothing is lost."""
    best = likelihood(data, ratios).deviance
    for part in np.argsort(ratios):
        if ratios[part] > 0:
            without = ratios.copy()
            without[part] = 0.0
            there = likelihood(data, without).deviance
            if there <= best + _SMALL:
                ratios, best = without, there
    return ratios


def _lifted(data: Products, ratios: Values) -> Values | None:
    """Lift a part off 0 where the likelihood rises there; None where all are well at 0."""
    base = likelihood(data, ratios).deviance
    for part in np.flatnonzero(ratios == 0):
        tried = np.tile(ratios, (5, 1))
        tried[:, part] = (1e-6, 1e-4, 1e-3, 1e-2, 1.0)
        reached = [likelihood(data, one).deviance for one in tried]
        if min(reached) < base - NEAR / 10:
            return np.asarray(tried[int(np.argmin(reached))])
    return None


def curvature_at(data: Products, ratios: Values, free: npt.NDArray[np.bool_]) -> Values:
    """Second derivatives in log(ratio + SOFT) of the free ratios, from differences of the slope at both sides."""
    chosen = np.flatnonzero(free)
    rows = []
    for part in chosen:
        ends, reach = [], 1e-4 * min(1.0, ratios[part] / SOFT)
        for sign in (1.0, -1.0):
            moved = ratios.copy()
            moved[part] = (ratios[part] + SOFT) * np.exp(sign * reach) - SOFT
            ends.append(likelihood(data, moved).slope[chosen] * _stretch(moved[chosen]))
        rows.append((ends[0] - ends[1]) / (2 * reach))
    table = np.array(rows).reshape(chosen.size, chosen.size)
    return np.asarray((table + table.T) / 2)


def _judged(data: Products, ratios: Values) -> Optimum:
    """Say whether slope and curvature are those of an optimum."""
    here = likelihood(data, ratios)
    free = ratios > 0
    curvature = curvature_at(data, ratios, free)
    why = ""
    gain = 0.0
    if free.any():
        worth, along = np.linalg.eigh(curvature)
        slope = here.slope[free] * _stretch(ratios[free])
        gain = float(np.sum((along.T @ slope) ** 2 / np.maximum(np.abs(worth), FLAT))) / 2
        if worth.min() <= FLAT:
            why = "the likelihood is flat or bends down: the data hardly tell the random parts apart"
    if ratios.max(initial=0.0) >= HIGH * 0.99:
        why = "the residual has no spread beside a random part"
    elif gain > NEAR:
        why = f"the slope at the place found would still win {gain:.2g} in -2 log likelihood"
    elif _lifted(data, ratios) is not None:
        why = "a part without spread would win by having some"
    return Optimum(here, ratios, free, curvature, gain, not why, why)
