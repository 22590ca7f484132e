"""Agreement of judges on the tokens of a study, with intervals over speakers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
Ends = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement on the same ``n_tokens`` tokens of ``n_speakers`` speakers: those of the study with two judges or more.

    ``n_alike``: on how many all judges agree. ``alpha``: Krippendorff's, nominal; ``kappa``: Cohen's, where there are
    two judges; each with its 95 % interval by leaving one speaker out at a time.
    """

    n_tokens: int
    n_speakers: int
    n_alike: int
    alpha: float
    alpha_low: float
    alpha_high: float
    kappa: float
    kappa_low: float
    kappa_high: float


def agreement(heard: Codes, speakers: Codes, n_kinds: int) -> Agreement:
    """Return the agreement of judges.

    Parameters
    ----------
    heard : array (n_tokens, n_judges)
        What each judge heard, from 0; -1 where a judge heard none.
    speakers : array (n_tokens,)
        Code of each token's speaker.
    n_kinds : int
        How many kinds there are.

    Examples
    --------
    >>> same = np.array([[0, 0], [1, 1], [0, 1], [1, 1]])
    >>> round(agreement(same, np.arange(4), 2).alpha, 3)
    0.533
    """
    counts = np.stack([(heard == kind).sum(axis=1) for kind in range(n_kinds)], axis=1).astype(np.float64)
    kept = counts.sum(axis=1) >= 2
    counts, heard = counts[kept], heard[kept]
    own = np.unique(speakers[kept], return_inverse=True)[1]
    n = counts.shape[0]
    alike = int((counts.max(axis=1) == counts.sum(axis=1)).sum()) if n else 0
    nothing = (math.nan, math.nan, math.nan)
    if n < 2:
        return Agreement(n, int(np.unique(own).size), alike, *nothing, *nothing)
    squares = _coincidences(counts)
    by_speaker = np.zeros((int(own.max()) + 1, n_kinds, n_kinds))
    np.add.at(by_speaker, own, squares)
    told = _left_out(by_speaker, alpha_of)
    pairs = _left_out(_squares(heard, own, n_kinds), kappa_of) if heard.shape[1] == 2 else nothing
    return Agreement(n, by_speaker.shape[0], alike, *told, *pairs)


def _coincidences(counts: Values) -> Values:
    """Coincidence matrix of each token (n, kinds, kinds): pairs of judgements, over one less than its judges."""
    m = counts.sum(axis=1)
    pairs = counts[:, :, np.newaxis] * counts[:, np.newaxis, :]
    places = np.arange(counts.shape[1])
    pairs[:, places, places] -= counts
    return np.asarray(pairs / (m - 1)[:, np.newaxis, np.newaxis])


def _squares(heard: Codes, own: Codes, n_kinds: int) -> Values:
    """Tokens by what the first and the second judge heard, for each speaker."""
    cell = (own * n_kinds + heard[:, 0]) * n_kinds + heard[:, 1]
    n = int(own.max()) + 1
    counts = np.bincount(cell, minlength=n * n_kinds**2).astype(np.float64)
    return counts.reshape(n, n_kinds, n_kinds)


def alpha_of(coincidence: Values) -> float:
    """Krippendorff's nominal alpha from a coincidence matrix (Krippendorff 2011; from memory)."""
    totals = coincidence.sum(axis=0)
    n = float(totals.sum())
    expected = n**2 - float(np.sum(totals**2))
    observed = n - float(np.trace(coincidence))
    return 1 - (n - 1) * observed / expected if expected > 0 else math.nan


def kappa_of(square: Values) -> float:
    """Cohen's kappa from a table of two judges."""
    n = float(square.sum())
    chance = float(square.sum(axis=0) @ square.sum(axis=1)) / n**2
    return (float(np.trace(square)) / n - chance) / (1 - chance) if chance < 1 else math.nan


def _left_out(by_speaker: Values, figure: Callable[[Values], float]) -> Ends:
    """A figure over all speakers, and its 95 % interval from leaving each out in turn (jackknife; common practice)."""
    from scipy.special import stdtrit

    total = by_speaker.sum(axis=0)
    value = figure(total)
    n = by_speaker.shape[0]
    if n < 3:
        return value, math.nan, math.nan
    without = np.array([figure(total - one) for one in by_speaker])
    error = math.sqrt((n - 1) / n * float(np.sum((without - without.mean()) ** 2)))
    half = float(stdtrit(n - 1, 0.975)) * error
    return value, max(-1.0, value - half), min(1.0, value + half)
