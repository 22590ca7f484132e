"""The band for one new speaker from the mean, SD and number of the speakers measured."""

from __future__ import annotations

import math

from ..terms import MEASURES
from ..terms.reference import FEWEST_SPEAKERS, ReferenceRange
from .quantiles import t_quantile


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
    if n_speakers < 2:
        raise ValueError("a band needs two speakers or more")
    reach = t_quantile(n_speakers - 1, share) * sd * math.sqrt(1 + 1 / n_speakers)
    return mean - reach, mean + reach


def is_spectral(row: ReferenceRange) -> bool:
    """Whether band, weighting and rate decide the value; measures not declared here count as spectral."""
    measure = MEASURES.get(row.measure)
    return measure is None or measure.spectral


def protocol_known(row: ReferenceRange) -> bool:
    """Whether the tokens can be measured as the source measured its own."""
    return not row.unknown and (bool(row.method) or not is_spectral(row))


def band_of(row: ReferenceRange, *, n_sounds: int | None = None) -> tuple[float, float] | None:
    """Return the band of a reference value for a new speaker, whose mean rests on so many sounds.

    Where the source gives the spread within speakers and how many sounds each gave, the SD of a mean over ``n_sounds``
    is ``sqrt(sd^2 - w^2 / m + w^2 / n)``, with w the SD within and m the source's sounds. None below ten
    speakers, without a spread, and where the protocol is not known well enough to be repeated.
    """
    n_speakers = row.population.n_speakers or 0
    if row.mean is None or row.sd is None or n_speakers < FEWEST_SPEAKERS or not protocol_known(row):
        return None
    sd = row.sd
    if n_sounds is not None and knows_sounds(row):
        assert row.sd_within is not None and row.sounds_each is not None
        between = max(row.sd**2 - row.sd_within**2 / row.sounds_each, 0.0)
        sd = math.sqrt(between + row.sd_within**2 / n_sounds)
    return new_speaker_band(row.mean, sd, n_speakers)


def open_sides(row: ReferenceRange, band: tuple[float, float]) -> tuple[bool, bool]:
    """Say which edges of a band no value can pass (lower, upper): such a side says nothing and is not shown.

    A frequency stays within the method's band, a spread between none and half of it, a length or share is not below
    zero, a share not above one, excess kurtosis not below -2.

    Examples
    --------
    >>> from sibilant.ranges import all_ranges
    >>> row = next(r for r in all_ranges() if r.measure == "centroid_hz" and r.method == "open-adult")
    >>> open_sides(row, (6970.0, 10354.0)), open_sides(row, (6970.0, 15200.0))
    ((False, False), (False, True))
    """
    low, high = _reachable(row)
    return band[0] <= low, band[1] >= high


def _reachable(row: ReferenceRange) -> tuple[float, float]:
    """The least and the greatest value that the measure can have under the row's method."""
    bottom, top = row.band_hz or (0.0, math.inf)
    if row.measure == "sd_hz":
        return 0.0, (top - bottom) / 2
    if row.unit == "Hz" and is_spectral(row):
        return bottom, top
    if row.measure == "excess_kurtosis":
        return -2.0, math.inf
    if row.measure in _SHARES:
        return 0.0, 1.0
    return (0.0, math.inf) if row.unit in ("ms", "s", "Hz", "ERB number") else (-math.inf, math.inf)


_SHARES = frozenset({"voiced_share", "overlap"})


def knows_sounds(row: ReferenceRange) -> bool:
    """Whether the band can allow for how many sounds a speaker's mean rests on."""
    return row.sd_within is not None and bool(row.sounds_each)


def outside_one_of(n_measures: int, *, share: float = 0.95) -> float:
    """Return the chance that a typical speaker falls outside at least one of several bands, were they independent.

    Examples
    --------
    >>> [round(outside_one_of(n), 2) for n in (1, 3, 5)]
    [0.05, 0.14, 0.23]
    """
    return 1.0 - share**n_measures
