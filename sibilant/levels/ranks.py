"""Percentile and median of a row of numbers: numpy's own to the digit, without the checks, which cost ten times it."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Row = npt.NDArray[np.floating[Any]]
FEW = 8
"""Up to so many of the highest, keeping them in a list is quicker than numpy's partition of columns."""


def percentile(values: Row, share: float) -> float:
    """Return ``np.percentile(values, share)`` of a row (n,) of floats; NaN where one of them is.

    Examples
    --------
    >>> percentile(np.array([1.0, 2.0, 4.0]), 75)
    3.0
    """
    at = (values.size - 1) * (share / 100)
    low = min(int(at), values.size - 1)
    high = min(low + 1, values.size - 1)
    if np.isnan(values.max()):
        return float("nan")
    part = np.partition(values, high)  # of one place alone, which is quicker
    before, after, past = part[:high].max() if low < high else part[low], part[high], at - low
    step = after - before
    return float(before + step * past if past < 0.5 else after - step * (1 - past))


def percentiles(rows: npt.NDArray[np.float32], share: float) -> npt.NDArray[np.float32]:
    """Return ``np.percentile(rows, share, axis=0)`` of finite rows (n, m), shape (m,).

    Examples
    --------
    >>> percentiles(np.array([[1, 5], [2, 6], [4, 7]], dtype=np.float32), 75).tolist()
    [3.0, 6.5]
    """
    at = (len(rows) - 1) * (share / 100)
    low = min(int(at), len(rows) - 1)
    high = min(low + 1, len(rows) - 1)
    part = np.partition(np.ascontiguousarray(rows.T), high, axis=1)
    before = part[:, :high].max(axis=1) if low < high else part[:, low]
    after, past = part[:, high], at - low
    step = after - before
    return np.asarray(before + step * past if past < 0.5 else after - step * (1 - past))


def median(values: Row) -> float:
    """Return ``np.median(values)`` of a row (n,) of floats; NaN where one of them is.

    Examples
    --------
    >>> median(np.array([3.0, 1.0, 2.0, 10.0]))
    2.5
    """
    low, high = (values.size - 1) // 2, values.size // 2
    if np.isnan(values.max()):
        return float("nan")
    part = np.partition(values, high)
    return float(part[low] if low == high else (part[:high].max() + part[high]) / 2)


def medians(rows: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return ``np.median(rows, axis=1)`` of finite rows (n, m), shape (n,).

    Examples
    --------
    >>> medians(np.array([[1, 5, 3], [2, 6, 4]], dtype=np.float32)).tolist()
    [3.0, 4.0]
    """
    low, high = (rows.shape[1] - 1) // 2, rows.shape[1] // 2
    part = np.partition(rows, high, axis=1)
    return part[:, low] if low == high else (part[:, :high].max(axis=1) + part[:, high]) / np.float32(2)


def nth_highest(rows: npt.NDArray[np.float32], n: int) -> npt.NDArray[np.float32]:
    """Return the ``n``-th highest value of each column of finite rows (k, m), shape (m,).

    Examples
    --------
    >>> nth_highest(np.array([[1, 5], [2, 6], [4, 4]], dtype=np.float32), 2).tolist()
    [2.0, 5.0]
    """
    if n > FEW:
        return np.asarray(np.partition(rows, -n, axis=0)[-n])
    best = np.full((n, rows.shape[1]), -np.inf, dtype=np.float32)
    for row in rows:
        left = row
        for place in range(n):
            left, best[place] = np.minimum(left, best[place]), np.maximum(left, best[place])
    return np.asarray(best[-1])
