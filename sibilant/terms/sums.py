"""Uncut sums of power: what stays in a session's figure where single sounds are buried in the room's noise."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

_DECIBEL = 10 / math.log(10)  # dB of a natural logarithm of power


@dataclass(frozen=True, slots=True)
class Pooled:
    """A session's figure from uncut sums: ``value`` with its ``error`` (one standard error), from ``n`` sounds.

    ``value`` is NaN where the pooled power does not stand two standard errors above zero; ``at_most`` is then the
    figure's upper end, to be told as "at most".
    """

    value: float
    error: float
    at_most: float
    n: int


def pooled_level_db(sums: Sequence[Mapping[str, float]], over: str, under: str, *, spread_db: float = 0.0) -> Pooled:
    r"""Level of one band over another from the uncut sums of a session's sounds.

    :math:`10 \lg(\sum_i a_i / \sum_i b_i) - 0.05 \ln 10 \cdot s^2`: the sums may be below zero in single sounds and
    stay unbiased together. A mean of single sounds' decibels lies below the decibels of their mean by the last term,
    with s the standard deviation from sound to sound in dB, where it is known. The error is that of a ratio of means
    over independent sounds.

    Parameters
    ----------
    sums : sequence of mapping
        ``Measures.sums`` of each sound.
    over, under : {"low", "mid", "high"}
        The bands; ``under`` is the stronger one.
    spread_db : float
        Standard deviation of the level from sound to sound.

    Examples
    --------
    >>> found = pooled_level_db([{"low": 0.02, "mid": 1.0}, {"low": -0.01, "mid": 1.0}] * 20, "low", "mid")
    >>> round(found.value, 1), found.n
    (-23.0, 40)
    """
    pairs = [(one[over], one[under]) for one in sums if over in one and under in one]
    total = math.fsum(b for _, b in pairs)
    if len(pairs) < 2 or not total > 0:
        return Pooled(math.nan, math.nan, math.nan, len(pairs))
    ratio = math.fsum(a for a, _ in pairs) / total
    scatter = math.fsum((a - ratio * b) ** 2 for a, b in pairs) * len(pairs) / (len(pairs) - 1)
    error = math.sqrt(scatter) / total
    shift = 0.5 * spread_db**2 / _DECIBEL
    at_most = _DECIBEL * math.log(ratio + 2 * error) - shift if ratio + 2 * error > 0 else -math.inf
    if ratio <= 2 * error:
        return Pooled(math.nan, math.nan, at_most, len(pairs))
    return Pooled(_DECIBEL * math.log(ratio) - shift, _DECIBEL * error / ratio, at_most, len(pairs))


def pooled_mean_sd_hz(sums: Sequence[Mapping[str, float]]) -> tuple[float, float]:
    """Spectral mean and SD in Hz of the spectrum of a session's sounds taken together, from their uncut sums.

    The SD holds the differences between the sounds as well. NaN where the pooled power is not above zero.

    Examples
    --------
    >>> pooled_mean_sd_hz([{"power": 1.0, "first": 6000.0, "second": 40e6}])
    (6000.0, 2000.0)
    """
    power, first, second = (math.fsum(one[key] for one in sums if key in one) for key in ("power", "first", "second"))
    if not power > 0:
        return math.nan, math.nan
    variance = second / power - (first / power) ** 2
    return first / power, math.sqrt(variance) if variance > 0 else math.nan
