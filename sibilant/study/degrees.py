"""Degrees of freedom of a contrast in a mixed model, and what not knowing the variances adds to its error."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .reml import Products, likelihood
from .search import SOFT, Optimum

Values = npt.NDArray[np.float64]
LONGEST_STEP, STEP_SHARE = 0.1, 0.02
"""Differences are taken over a tenth of a standard error, and a fiftieth of the least variance, at most."""


class Satterthwaite:
    r"""Degrees of freedom :math:`2 v^2 / (g^T A g)` of contrasts.

    Notes
    -----
    v is the contrast's variance, g its slope in the log variances, A twice the inverse of the second derivatives of the
    -2 log restricted likelihood there (Giesbrecht & Burns 1985, Biometrics 41:477-486; Fai & Cornelius 1996; from
    memory). In a balanced nested design it gives speakers less groups, in a balanced paired one speakers less one.
    """

    def __init__(self, data: Products, found: Optimum) -> None:
        free = np.flatnonzero(found.free)
        self.scale, self.unscaled = found.fitted.scale, found.fitted.unscaled
        self.moved = [_slope(data, found.ratios, int(part)) for part in free]
        df = data.n_rows - data.n_fixed
        across = _squares(data, found)[free] * (found.ratios[free] + SOFT) / found.ratios[free]
        table = np.empty((free.size + 1, free.size + 1))
        table[:-1, :-1] = found.curvature + np.outer(across, across) / df
        table[-1, :-1] = table[:-1, -1] = across
        table[-1, -1] = df
        self.covariance = 2 * np.linalg.pinv(table)
        self.enlarged = self.unscaled - self._bend(data, found.ratios, free)

    def of(self, contrast: Values) -> float:
        """Return the degrees of freedom of a contrast (p,) of the fixed effects."""
        value = float(contrast @ self.unscaled @ contrast)
        slopes = np.array([*(float(contrast @ moved @ contrast) for moved in self.moved), value])
        bottom = float(slopes @ self.covariance @ slopes)
        return 2 * value**2 / bottom if bottom > 0 else float("inf")

    def _bend(self, data: Products, ratios: Values, free: npt.NDArray[np.int64]) -> Values:
        r"""Second differences of the fixed effects' covariance along the variances' own uncertainty, summed.

        :math:`\sum_{ij} W_{ij} \partial^2 \Phi / \partial \theta_i \partial \theta_j`, W the covariance of the
        variances: half of it is what the estimated covariance is too small by, half what the weights' own error adds
        (Kenward & Roger 1997, Biometrics 53:983-997; from memory). Nought in balanced designs.
        """
        own = ratios[free]
        turn = np.diag([*(own + SOFT), 1.0])
        turn[:-1, -1] = own
        worth, along = np.linalg.eigh(turn @ self.covariance @ turn.T)
        variances, total = np.array([*own, 1.0]), np.zeros_like(self.unscaled)
        for size, way in zip(worth, along.T, strict=True):
            if size <= 0:
                continue
            step = np.sqrt(size) * way
            reach = min(LONGEST_STEP, STEP_SHARE * float((variances / np.maximum(np.abs(step), 1e-12)).min()))
            ends = [_covariance(data, ratios, free, variances + sign * reach * step) for sign in (1.0, -1.0)]
            total += (ends[0] + ends[1] - 2 * self.unscaled) / reach**2
        return total


def _slope(data: Products, ratios: Values, part: int) -> Values:
    """Slope of the fixed effects' covariance (over the residual variance) in log(ratio + SOFT)."""
    reach = 1e-4 * min(1.0, ratios[part] / SOFT)
    ends = []
    for sign in (1.0, -1.0):
        moved = ratios.copy()
        moved[part] = (ratios[part] + SOFT) * np.exp(sign * reach) - SOFT
        ends.append(likelihood(data, moved).unscaled)
    return np.asarray((ends[0] - ends[1]) / (2 * reach))


def _squares(data: Products, found: Optimum) -> Values:
    """Sum of squares of each part's coefficients, over their own variance."""
    total = np.zeros(data.n_parts)
    owners = np.tile(data.owner, data.uf.shape[0]), data.owner_v
    for owner, own in zip(owners, (found.fitted.effects_u.reshape(-1), found.fitted.effects_v), strict=True):
        total += np.bincount(owner, own**2, data.n_parts)
    there = found.ratios > 0
    out = np.zeros(data.n_parts)
    out[there] = total[there] / found.ratios[there] / found.fitted.scale
    return out


def _covariance(data: Products, ratios: Values, free: npt.NDArray[np.int64], variances: Values) -> Values:
    """Covariance of the fixed effects at other variances, the residual's last."""
    moved = ratios.copy()
    moved[free] = variances[:-1] / variances[-1]
    return np.asarray(likelihood(data, moved).unscaled * variances[-1])
