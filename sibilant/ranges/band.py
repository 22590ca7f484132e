"""The band for one new speaker from the mean, SD and number of the speakers measured."""

from __future__ import annotations

import math

from ..terms import MEASURES
from ..terms.reference import FEWEST_SPEAKERS, ReferenceRange


def new_speaker_band(mean: float, sd: float, n_speakers: int, *, share: float = 0.95) -> tuple[float, float]:
    """Band in which one new speaker of the same population falls with the given probability.

    ``mean ± t(n−1) · SD · √(1 + 1/n)``, t being the two-sided quantile of Student's distribution.

    Parameters
    ----------
    mean, sd : float
        Mean and standard deviation of the speakers' means.
    n_speakers : int
        Number of speakers, two or more.
    share : float, optional
        Probability inside the band.

    Raises
    ------
    ValueError
        With fewer than two speakers.

    Notes
    -----
    Source: prediction interval for one new observation from a Gaussian sample (textbook formula, from memory).

    Examples
    --------
    >>> low, high = new_speaker_band(8662.0, 713.0, 10)
    >>> round(low), round(high)
    (6970, 10354)
    """
    from scipy.special import stdtrit

    if n_speakers < 2:
        raise ValueError("a band needs two speakers or more")
    reach = float(stdtrit(n_speakers - 1, 0.5 + share / 2)) * sd * math.sqrt(1 + 1 / n_speakers)
    return mean - reach, mean + reach


def is_spectral(row: ReferenceRange) -> bool:
    """Whether band, weighting and rate decide the value; measures not declared here count as spectral."""
    measure = MEASURES.get(row.measure)
    return measure is None or measure.spectral


def protocol_known(row: ReferenceRange) -> bool:
    """Whether the tokens can be measured as the source measured its own."""
    return not row.unknown and (bool(row.method) or not is_spectral(row))


def band_of(row: ReferenceRange) -> tuple[float, float] | None:
    """Return the band of a reference value for a new speaker.

    None below ten speakers, without a spread, and where the protocol is not known well enough to be repeated.
    """
    n_speakers = row.population.n_speakers or 0
    if row.mean is None or row.sd is None or n_speakers < FEWEST_SPEAKERS or not protocol_known(row):
        return None
    return new_speaker_band(row.mean, row.sd, n_speakers)
