"""Degrees of freedom of a contrast in a mixed model, after Satterthwaite."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .reml import Products, likelihood
from .search import SOFT, Optimum

Values = npt.NDArray[np.float64]


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

    def of(self, contrast: Values) -> float:
        """Return the degrees of freedom of a contrast (p,) of the fixed effects."""
        value = float(contrast @ self.unscaled @ contrast)
        slopes = np.array([*(float(contrast @ moved @ contrast) for moved in self.moved), value])
        bottom = float(slopes @ self.covariance @ slopes)
        return 2 * value**2 / bottom if bottom > 0 else float("inf")


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
