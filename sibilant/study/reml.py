"""Restricted likelihood of a mixed model from its cross-products, the speakers eliminated block by block.

Nothing of the size rows x levels is ever held: the data enter once as cross-products of the random parts, the fixed
effects and the measure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
MOST_CELLS = 60_000_000
"""Cells of the table of levels of one side by levels of the other that may be held: half a gigabyte (own rule)."""


@dataclass(frozen=True, slots=True)
class Part:
    """A random part: ``codes`` (n,) its level of every row, ``values`` (n,) what it is multiplied by (1 without)."""

    name: str
    codes: Codes
    values: Values | None = None


@dataclass(frozen=True, slots=True)
class Products:
    """Cross-products, unit blocks first: each of ``n_units`` units (speakers) has the same ``q`` coefficients.

    ``uu`` (units, q, q), ``uv`` (units * q, m), ``uf`` (units, q, p + 1), ``vv`` (m,), ``vf`` (m, p + 1),
    ``ff`` (p + 1, p + 1); the last column of ``f`` is the measure. ``owner`` (q,) and ``owner_v`` (m,): the random part
    of each coefficient. ``swapped``: the units are those of the crossed part, with the speakers' blocks in ``v``; then
    ``vv`` is (m, m).
    """

    n_rows: int
    uu: Values
    uv: Values
    uf: Values
    vv: Values
    vf: Values
    ff: Values
    owner: Codes
    owner_v: Codes
    n_parts: int

    @property
    def n_fixed(self) -> int:
        """Fixed effects."""
        return int(self.ff.shape[0]) - 1


@dataclass(frozen=True, slots=True)
class Fitted:
    """The restricted likelihood at given ratios: -2 log, its slope in the log of each ratio, and what comes with it.

    ``scale``: residual variance; ``estimates`` (p,), ``unscaled`` (p, p): their covariance over ``scale``;
    ``effects_u`` (units, q), ``effects_v`` (m,): predicted random coefficients.
    """

    deviance: float
    slope: Values
    scale: float
    estimates: Values
    unscaled: Values
    effects_u: Values
    effects_v: Values


def within_units(units: Codes, parts: Sequence[Part]) -> tuple[Codes, Codes]:
    """Number the levels of nested parts inside units: place (n, parts) of each row's coefficients, and owners (q,)."""
    places, owner, first = [], [], 0
    for number, part in enumerate(parts):
        pairs, inverse = np.unique(np.stack([units, part.codes]), axis=1, return_inverse=True)
        starts = np.searchsorted(pairs[0], pairs[0], side="left")
        local = np.arange(pairs.shape[1]) - starts
        places.append(first + local[inverse])
        width = int(local.max()) + 1
        owner += [number] * width
        first += width
    return np.stack(places, axis=1), np.array(owner, dtype=np.int64)


def products(units: Codes, nested: Sequence[Part], crossed: Sequence[Part], fixed: Values, measure: Values) -> Products:
    """Return the cross-products of a model with parts nested in units and at most one part crossed with them.

    Parameters
    ----------
    units : array (n,)
        The unit (speaker) of each row, from 0.
    nested, crossed : sequence of Part
        Random parts; levels of ``nested`` lie inside units.
    fixed : array (n, p)
        Fixed effects, of full rank.
    measure : array (n,)
        What is modelled.
    """
    n_units = int(units.max()) + 1
    place, owner = within_units(units, nested)
    q = owner.size
    spread = [np.ones(units.size) if part.values is None else part.values for part in nested]
    f = np.column_stack([fixed, measure])
    uu, uf = np.zeros((n_units, q, q)), np.zeros((n_units, q, f.shape[1]))
    for j in range(len(nested)):
        row = units * q + place[:, j]
        for k in range(len(nested)):
            summed = np.bincount(row * q + place[:, k], spread[j] * spread[k], n_units * q * q)
            uu += summed.reshape(uu.shape)
        for k in range(f.shape[1]):
            uf[:, :, k] += np.bincount(row, spread[j] * f[:, k], n_units * q).reshape(n_units, q)
    m = int(crossed[0].codes.max()) + 1 if crossed else 0
    codes = crossed[0].codes if crossed else np.zeros(0, dtype=np.int64)
    uv, vv, vf = np.zeros((n_units * q, m)), np.zeros(m), np.zeros((m, f.shape[1]))
    if crossed:
        for j in range(len(nested)):
            row = units * q + place[:, j]
            uv += np.bincount(row * m + codes, spread[j], n_units * q * m).reshape(uv.shape)
        vv += np.bincount(codes, minlength=m)
        vf += np.column_stack([np.bincount(codes, column, m) for column in f.T])
    made = Products(units.size, uu, uv, uf, np.diag(vv), vf, f.T @ f, owner, np.full(m, len(nested), dtype=np.int64),
                    len(nested) + len(crossed))  # fmt: skip
    return _turned(made) if m > n_units * q else made


def too_large(units: Codes, nested: Sequence[Part], crossed: Sequence[Part]) -> bool:
    """Whether the table of one side's levels by the other's would not fit."""
    if not crossed:
        return False
    rows = (int(units.max()) + 1) * within_units(units, nested)[1].size
    m = int(crossed[0].codes.max()) + 1
    return max(rows * m, min(rows, m) ** 2 * 3) > MOST_CELLS


def _turned(made: Products) -> Products:
    """The same with the crossed part's levels as units of one coefficient, where they are the more."""
    n_units, q, width = made.uf.shape
    m = made.vf.shape[0]
    whole = np.zeros((n_units * q, n_units * q))
    for unit in range(n_units):
        whole[unit * q : unit * q + q, unit * q : unit * q + q] = made.uu[unit]
    return Products(made.n_rows, np.diag(made.vv).reshape(m, 1, 1), made.uv.T.copy(), made.vf.reshape(m, 1, width),
                    whole, made.uf.reshape(n_units * q, width), made.ff, made.owner_v[:1],
                    np.tile(made.owner, n_units), made.n_parts)  # fmt: skip


def likelihood(data: Products, ratios: Values) -> Fitted:
    r"""Return -2 log restricted likelihood at variance ratios, the residual variance profiled out.

    Parameters
    ----------
    data : Products
        Cross-products.
    ratios : array (n_parts,)
        Variance of each random part over the residual variance.

    Notes
    -----
    :math:`-2 \log L = \log|V| + \log|X^T V^{-1} X| + (n - p)(1 + \log(2 \pi r^2 / (n - p)))` with
    :math:`V = I + \sum \gamma_k Z_k Z_k^T`, from the penalised least-squares equations with coefficients of unit
    variance (as Bates et al. 2015, J Stat Softw 67(1), sections 3.2-3.4). The slope is
    :math:`\partial / \partial \log \gamma_k = q_k - \operatorname{tr} C^{kk} - |v_k|^2 / \hat\sigma^2`, C the inverse
    of those equations and v the scaled coefficients (derived here; held against differences in the tests).

    Raises
    ------
    numpy.linalg.LinAlgError
        When the equations have no solution: fixed effects that depend on each other.
    """
    scales = np.sqrt(ratios)
    t, t_v = scales[data.owner], scales[data.owner_v]
    n_units, q, _ = data.uf.shape
    lower = np.linalg.cholesky(data.uu * np.outer(t, t) + np.eye(q))
    inverse = np.linalg.inv(lower)
    rest, half = _eliminated(data, t, t_v, inverse)
    last = rest.shape[0] - 1
    root = np.linalg.cholesky(rest[:last, :last])
    whole = np.linalg.inv(root)
    to_right = whole @ rest[:last, last]
    df = data.n_rows - data.n_fixed
    scale = max(float(rest[last, last] - to_right @ to_right), 1e-300) / df
    logs = 2 * float(np.log(np.diagonal(lower, axis1=1, axis2=2)).sum() + np.log(np.diagonal(root)).sum())
    covariance, solved = whole.T @ whole, whole.T @ to_right
    back = np.swapaxes(inverse, 1, 2)
    coupled = (back @ half[:, :last].reshape(n_units, q, last)).reshape(n_units * q, last)
    own_u = (back @ half[:, last].reshape(n_units, q, 1)).reshape(-1) - coupled @ solved
    spread_u = np.sum(back**2, axis=2).reshape(-1) + np.einsum("ij,ij->i", coupled @ covariance, coupled)
    m = last - data.n_fixed
    slope = np.zeros(data.n_parts)
    slope += np.bincount(np.tile(data.owner, n_units), 1 - spread_u - own_u**2 / scale, data.n_parts)
    slope += np.bincount(data.owner_v, 1 - np.diagonal(covariance)[:m] - solved[:m] ** 2 / scale, data.n_parts)
    return Fitted(logs + df * (1 + math.log(2 * math.pi * scale)), slope, scale, solved[m:], covariance[m:, m:],
                  own_u.reshape(n_units, q) * t, solved[:m] * t_v)  # fmt: skip


def _eliminated(data: Products, t: Values, t_v: Values, inverse: Values) -> tuple[Values, Values]:
    """The equations of all but the units, the units' coefficients eliminated; and what that took from each unit."""
    n_units, q, width = data.uf.shape
    m = data.vf.shape[0]
    side = np.concatenate([data.uv.reshape(n_units, q, m) * t_v, data.uf], axis=2) * t[:, np.newaxis]
    half = (inverse @ side).reshape(n_units * q, m + width)
    rest = np.empty((m + width, m + width))
    rest[:m, :m] = data.vv * np.outer(t_v, t_v) + np.eye(m)
    rest[:m, m:] = data.vf * t_v[:, np.newaxis]
    rest[m:, :m] = rest[:m, m:].T
    rest[m:, m:] = data.ff
    rest -= half.T @ half
    return rest, half
