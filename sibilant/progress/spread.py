r"""A client's day-to-day SD combined with what is known beforehand: the distribution of other clients' log SD.

In: SDs of baseline probe means with their degrees of freedom. Out: two fitted numbers, and limits made with them. Own:
the log SD of a clinic's clients is taken as normal; one client's SD scatters about its own as chi does; both are
integrated on a grid, so that nothing is drawn and the same numbers give the same limit for ever.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..terms.lending import LEAST_SPREAD, ClinicSpread

Rows = npt.NDArray[np.float64]
Numbers = float | Sequence[float] | Rows

LEAST_CLIENTS = 12
"""Fewer other clients than this lend nothing: what six would do hangs on who they are (docs/change.md)."""
MOST_SPREAD = 1.5  # largest log spread over clients that is believed
EXPECTED_SPREAD = 0.35
"""SD of the half-normal that is expected of the spread before any client is seen (own choice)."""
CLINIC_LEVELS = {3: (0.036, 0.02), 4: (0.03, 0.014)}
"""Two-sided share of unchanged probes past the clinic's limit, by baselines: in the first looks, and after them.

Tuned on what is tried in docs/change.md. After the first looks the limit is wider: looks add up over a year, and days
far from the baseline are less like it.
"""
_LEVELS_OF_MORE = (0.025, 0.014)  # five baselines and more
FIRST_LOOKS = 3
"""A lasting change is to be found within so many later probes."""
_REACH, _STEP = 5.0, 0.05  # SDs to either side, and step of the log spread, that sums run over
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(41)


def clinic_level(k: int, look: int = 1) -> float:
    """Return the two-sided level of the clinic's limit for k baselines at the 1-based look.

    Examples
    --------
    >>> [(clinic_level(k), clinic_level(k, 4)) for k in (3, 4, 5)]
    [(0.036, 0.02), (0.03, 0.014), (0.025, 0.014)]
    """
    return CLINIC_LEVELS.get(k, _LEVELS_OF_MORE)[look > FIRST_LOOKS]


def too_few_clients(n_clients: int) -> str:
    """Return why so few other clients lend nothing; empty from twelve on.

    Examples
    --------
    >>> too_few_clients(12), too_few_clients(6)
    ('', '6 other clients with a baseline under these conditions; from 12 on they lend strength, fewer mislead')
    """
    if n_clients >= LEAST_CLIENTS:
        return ""
    return (
        f"{n_clients} other client{'s' * (n_clients != 1)} with a baseline under these conditions;"
        f" from {LEAST_CLIENTS} on they lend strength, fewer mislead"
    )


def fit_spread(
    sds: Sequence[float] | Rows,
    dfs: Sequence[int] | Rows,
    *,
    fitted_on: dt.date | None = None,
    least: int = LEAST_CLIENTS,
) -> ClinicSpread | None:
    r"""Fit the distribution of log SD over clients, each one's sampling taken in.

    ``log sigma_j ~ N(mu, tau^2)``, ``df_j s_j^2 / sigma_j^2 ~ chi^2(df_j)``; flat in mu; tau from 0.5 to 1.5, with a
    half-normal of SD 0.35 expected. What is returned is the mean of log sigma for a client not yet seen, and its SD:
    the mean of tau squared plus the variance of mu over their joint posterior, both uncertain.

    Parameters
    ----------
    sds, dfs : sequence of float, int
        SD of each other client's baseline probe means, in the measure's unit, and its degrees of freedom (probes - 1);
        SDs of zero or not finite are left out.
    fitted_on : datetime.date, optional
        The day to keep with it.
    least : int, optional
        Fewest clients; under twelve only to show what that would do.

    Returns
    -------
    ClinicSpread or None
        None under twelve clients (:func:`too_few_clients` says why).

    Examples
    --------
    >>> found = fit_spread([150.0, 200.0, 250.0] * 5, [2] * 15)
    >>> round(found.typical), round(found.spread, 2), found.n_clients
    (227, 0.58, 15)
    """
    given = np.asarray(sds, dtype=np.float64)
    good = np.isfinite(given) & (given > 0)
    if int(good.sum()) < least:
        return None
    x, df = np.log(given[good]), np.asarray(dfs, dtype=np.float64)[good]
    mu = np.linspace(x.mean() - 1.0, x.mean() + 1.5, 101)
    tau = np.linspace(LEAST_SPREAD, MOST_SPREAD, 21)
    log_likelihood = np.zeros((mu.size, tau.size))
    for one in np.unique(df):
        log_likelihood += _log_likelihood(x[df == one], one, mu, tau)
    log_likelihood -= 0.5 * (tau / EXPECTED_SPREAD) ** 2
    weight = np.exp(log_likelihood - log_likelihood.max())
    weight /= weight.sum()
    middle = float((weight.sum(axis=1) * mu).sum())
    variance = float((weight * ((mu[:, np.newaxis] - middle) ** 2 + tau**2)).sum())
    return ClinicSpread(math.exp(middle), math.sqrt(variance), int(good.sum()), fitted_on)


def _log_likelihood(x: Rows, df: float, mu: Rows, tau: Rows) -> Rows:
    """Sum over clients of the log density of log s under N(mu, tau^2) and chi: (mu, tau), by a table in x - mu."""
    reach = np.arange(x.min() - mu[-1] - _STEP, x.max() - mu[0] + 2 * _STEP, _STEP)
    u = reach[:, np.newaxis, np.newaxis] - tau[:, np.newaxis] * _NODES
    table = np.log(np.maximum((np.exp(_log_chi(u, df)) * (_WEIGHTS / _WEIGHTS.sum())).sum(axis=2), 1e-300))
    away = x[:, np.newaxis] - mu
    each = [np.interp(away, reach, table[:, place]).sum(axis=0) for place in range(tau.size)]
    return np.asarray(np.stack(each, axis=1), dtype=np.float64)


def _log_chi(u: Rows, df: Numbers) -> Rows:
    """Log density of u = log(s / sigma), up to what hangs on the degrees of freedom alone."""
    return np.asarray(np.asarray(df) * (u - 0.5 * np.exp(2 * np.minimum(u, 20.0))), dtype=np.float64)


def sd_known(sd: Numbers, k: int, clinic: ClinicSpread, floor: Numbers = math.nan) -> Rows:
    """Return the client's SD (mean of its logarithm) given its own, the other clients' and the token error.

    Parameters are those of :func:`clinic_limit`.

    Examples
    --------
    A quiet baseline of three is drawn up towards the others, a loud one down.

    >>> clinic = ClinicSpread(200.0, 0.5, 20)
    >>> [round(float(v)) for v in sd_known([50.0, 200.0, 600.0], 3, clinic)]
    [134, 212, 412]
    """
    grid, weight = _posterior(sd, k, clinic, floor)
    return np.asarray(np.exp((weight * np.log(grid)).sum(axis=-1)), dtype=np.float64)


def clinic_limit(
    sd: Numbers, k: int, clinic: ClinicSpread, floor: Numbers = math.nan, *, level: float | None = None
) -> Rows:
    r"""Return the limit for one later probe: how far an unchanged one lies from the baseline's mean, but for ``level``.

    The c for which ``E[2 Phi(-c / (sigma sqrt(1 + 1/k)))] = level``, over what is known of sigma: proportional to
    ``N(log sigma; log typical, spread^2)`` times the chi density of the client's own SD, and nothing below ``floor``.

    Parameters
    ----------
    sd : float or array of float
        SD of the client's own k baseline probes.
    k : int
        Baseline probes, two or more.
    clinic : ClinicSpread
        What the other clients say.
    floor : float or array of float, optional
        The error that tokens alone give, beneath which no SD is taken; NaN where it is not known.
    level : float, optional
        Two-sided share of unchanged probes past the limit; by default that of the first looks.

    Returns
    -------
    array of float
        Limits in the unit of ``sd``, of the shape of ``sd``.

    Examples
    --------
    With five hundred baselines the other clients count for nothing, and the limit is the normal one.

    >>> clinic = ClinicSpread(200.0, 0.5, 20)
    >>> round(float(clinic_limit(100.0, 500, clinic, level=0.05)))
    197
    """
    from scipy.special import ndtr, ndtri

    level = clinic_level(k) if level is None else level
    grid, weight = _posterior(sd, k, clinic, floor)
    rise = math.sqrt(1 + 1 / k)
    scale = grid * rise
    low = -float(ndtri(level / 2)) * scale.min(axis=-1)
    high = -float(ndtri(level / 2)) * scale.max(axis=-1)
    for _ in range(24):
        middle = np.sqrt(low * high)
        past = 2 * (weight * ndtr(-middle[..., np.newaxis] / scale)).sum(axis=-1)
        low, high = np.where(past > level, middle, low), np.where(past > level, high, middle)
    return np.asarray(np.sqrt(low * high), dtype=np.float64)


def _posterior(sd: Numbers, k: int, clinic: ClinicSpread, floor: Numbers) -> tuple[Rows, Rows]:
    """Grid of SDs and their weights, (..., points): what is known of sigma, nothing below the floor."""
    own = np.asarray(sd, dtype=np.float64)[..., np.newaxis]
    beneath = np.broadcast_to(np.nan_to_num(np.asarray(floor, dtype=np.float64), nan=0.0), own.shape[:-1])
    beneath = beneath[..., np.newaxis]
    z = np.linspace(-_REACH, _REACH, 81)
    start = np.log(clinic.typical) + clinic.spread * z
    grid = np.maximum(np.exp(start) + 0 * own, beneath)
    with np.errstate(divide="ignore"):
        log_own = np.log(np.maximum(own, 1e-12 * clinic.typical))
    log_weight = np.where(np.exp(start) >= beneath, -0.5 * z**2 + _log_chi(log_own - start, k - 1), -np.inf)
    log_weight[..., -1] = np.where(np.isfinite(log_weight[..., -1]), log_weight[..., -1], 0.0)
    weight = np.exp(log_weight - log_weight.max(axis=-1, keepdims=True))
    return grid, weight / weight.sum(axis=-1, keepdims=True)
