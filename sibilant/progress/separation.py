"""How far apart one speaker's /s/ and /ʃ/ lie: difference of means, area under the ROC curve, overlap."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..terms.takes import NEEDED_EACH, Separation

Rows = npt.NDArray[np.float64]

N_RESAMPLES = 1000
_SEED = 20261124


def separation(first: Sequence[float], second: Sequence[float]) -> Separation:
    r"""Compare the values of one measure over two sounds of one speaker.

    Only tokens that a person has judged acceptable belong here; that choice is the caller's.

    Parameters
    ----------
    first, second : sequence of float
        Values of the two sounds, such as ``centroid_hz`` of /s/ and of /ʃ/; values that are not finite are left out.

    Returns
    -------
    Separation
        With fewer than ten values of either sound all figures are None and ``why`` says "cannot be judged".

    Notes
    -----
    Difference of means with Welch's interval. Area under the ROC curve, :math:`P(x > y) + P(x = y) / 2`, with the
    interval of DeLong et al. (1988) on the logit scale; where the sounds do not overlap at all that variance is zero,
    and the nearer limit is :math:`0.025^{1/n}` with n the smaller count, as for n successes out of n (Clopper &
    Pearson 1934). Overlap: common area of two normal densities with the sounds' own means and SDs (Inman & Bradley
    1989), with a percentile bootstrap interval from 1000 seeded resamples. All from memory.

    Examples
    --------
    >>> found = separation([8000.0 + 100 * k for k in range(10)], [5000.0 + 100 * k for k in range(10)])
    >>> found.difference, found.auc
    (3000.0, 1.0)
    >>> separation([8000.0], [5000.0]).why
    'cannot be judged: 1 and 1 tokens, 10 of each are needed'
    """
    x, y = (np.sort(np.array([v for v in values if np.isfinite(v)], dtype=np.float64)) for values in (first, second))
    if min(x.size, y.size) < NEEDED_EACH:
        why = f"cannot be judged: {x.size} and {y.size} tokens, {NEEDED_EACH} of each are needed"
        return Separation(x.size, y.size, why=why)
    auc, auc_interval = _area(x, y)
    overlap, overlap_interval = _overlap_with_interval(x, y)
    return Separation(
        x.size,
        y.size,
        float(np.mean(x) - np.mean(y)),
        _welch(x, y),
        auc,
        auc_interval,
        overlap,
        overlap_interval,
    )


def _welch(x: Rows, y: Rows) -> tuple[float, float]:
    from scipy.special import stdtrit

    a, b = np.var(x, ddof=1) / x.size, np.var(y, ddof=1) / y.size
    difference = float(np.mean(x) - np.mean(y))
    if a + b == 0:
        return difference, difference
    df = (a + b) ** 2 / (a**2 / (x.size - 1) + b**2 / (y.size - 1))
    half = float(stdtrit(df, 0.975) * np.sqrt(a + b))
    return difference - half, difference + half


def _area(x: Rows, y: Rows) -> tuple[float, tuple[float, float]]:
    """Area under the ROC curve with DeLong's interval on the logit scale."""
    wins = (x[:, np.newaxis] > y) + 0.5 * (x[:, np.newaxis] == y)
    auc = float(np.mean(wins))
    n_pairs = min(x.size, y.size)
    if auc in (0.0, 1.0):
        reach = 1 - 0.025 ** (1 / n_pairs)
        return auc, (1 - reach, 1.0) if auc == 1.0 else (0.0, reach)
    variance = np.var(np.mean(wins, axis=1), ddof=1) / x.size + np.var(np.mean(wins, axis=0), ddof=1) / y.size
    middle = np.log(auc / (1 - auc))
    half = 1.959964 * np.sqrt(variance) / (auc * (1 - auc))
    low, high = (float(1 / (1 + np.exp(-edge))) for edge in (middle - half, middle + half))
    return auc, (low, high)


def _overlap_with_interval(x: Rows, y: Rows) -> tuple[float, tuple[float, float]]:
    rng = np.random.default_rng(_SEED)
    drawn_x = x[rng.integers(0, x.size, (N_RESAMPLES, x.size))]
    drawn_y = y[rng.integers(0, y.size, (N_RESAMPLES, y.size))]
    value = overlap_of_normals(*_mean_and_sd(x[np.newaxis]), *_mean_and_sd(y[np.newaxis]))
    drawn = overlap_of_normals(*_mean_and_sd(drawn_x), *_mean_and_sd(drawn_y))
    low, high = np.quantile(drawn, (0.025, 0.975))
    return float(value[0]), (float(low), float(high))


def _mean_and_sd(rows: Rows) -> tuple[Rows, Rows]:
    return np.mean(rows, axis=1), np.std(rows, axis=1, ddof=1)


def overlap_of_normals(mean_1: Rows, sd_1: Rows, mean_2: Rows, sd_2: Rows) -> Rows:
    r"""Common area of two normal densities, :math:`\int \min(p_1, p_2)`, by the crossing points; arrays broadcast.

    Examples
    --------
    Two bells of one width, two widths apart: :math:`2 \Phi(-1)`.

    >>> one = np.ones(1)
    >>> float(overlap_of_normals(0 * one, one, 2 * one, one)[0].round(4))
    0.3173
    """
    from scipy.special import ndtr

    least = 1e-9 * (1 + np.abs(mean_1) + np.abs(mean_2))
    s1, s2 = np.maximum(sd_1, least), np.maximum(sd_2, 1.0000001 * least)
    s2 = np.where(np.abs(s1 - s2) < 1e-7 * s1, s1 * (1 + 1e-7), s2)
    a = 1 / s1**2 - 1 / s2**2
    b = mean_2 / s2**2 - mean_1 / s1**2
    c = mean_1**2 / s1**2 - mean_2**2 / s2**2 + 2 * np.log(s1 / s2)
    root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    sign = np.where(b >= 0, 1.0, -1.0)
    q = -(b + sign * root)
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.stack([q / a, np.where(q == 0, 0.0, c / q)])
    low, high = np.min(ends, axis=0), np.max(ends, axis=0)
    inside_1 = ndtr((high - mean_1) / s1) - ndtr((low - mean_1) / s1)
    inside_2 = ndtr((high - mean_2) / s2) - ndtr((low - mean_2) / s2)
    common: Rows = 1 - np.abs(inside_1 - inside_2)
    return common
