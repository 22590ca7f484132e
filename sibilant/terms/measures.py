"""``MEASURES``: one declaration per measure, from which columns, labels, report tables and docs are made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Scope = Literal["token", "take", "session", "speaker"]


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure: how it is called, written, computed and explained.

    ``axis_label`` ends in the unit; ``plain_name`` is what a family reads; ``meaning`` is one plain sentence;
    ``spectral`` is true where band, weighting and rate decide the value.
    """

    key: str
    scope: Scope
    name: str
    symbol: str
    unit: str
    decimals: int
    axis_label: str
    plain_name: str
    meaning: str
    equation: str
    citation: str
    shape: str = "()"
    spectral: bool = True
    interval: bool = False


_FORREST = "Forrest, Weismer, Milenkovic & Dougall (1988), JASA 84:115-123 (from memory)"

_DECLARED: tuple[Measure, ...] = (
    Measure(
        "duration_ms",
        "token",
        "duration",
        "D",
        "ms",
        1,
        "duration (ms)",
        "how long the hiss lasts",
        "The time from where the hiss begins to where it ends, by the stated boundary criterion.",
        "offset - onset",
        "boundary criterion: docs/boundaries.md",
        spectral=False,
    ),
    Measure(
        "core_duration_ms",
        "token",
        "core duration",
        "Dc",
        "ms",
        1,
        "core duration (ms)",
        "how long the strong part of the hiss lasts",
        "The time for which the hiss is less than 15 dB below its plateau; it survives an ordinary room, so change over"
        " months uses it.",
        "time with level > plateau - 15 dB, ended by voicing",
        "own; docs/boundaries.md",
        spectral=False,
    ),
    Measure(
        "centroid_hz",
        "token",
        "spectral mean",
        "M1",
        "Hz",
        0,
        "spectral mean (Hz)",
        "where the energy of the hiss sits",
        "The balance point of the hiss's energy over frequency.",
        "M1 = sum(f P) / sum(P)",
        _FORREST,
        interval=True,
    ),
    Measure(
        "sd_hz",
        "token",
        "spectral standard deviation",
        "SD",
        "Hz",
        0,
        "spectral SD (Hz)",
        "how widely the energy of the hiss is spread",
        "How far the hiss's energy spreads around its balance point.",
        "SD = sqrt(sum((f - M1)^2 P) / sum(P))",
        _FORREST,
        interval=True,
    ),
    Measure(
        "skewness",
        "token",
        "spectral skewness",
        "M3",
        "",
        2,
        "spectral skewness",
        "whether the energy leans low or high",
        "Negative when the energy trails off towards low frequencies, positive when towards high ones.",
        "M3 = sum((f - M1)^3 P) / (sum(P) SD^3)",
        _FORREST,
        interval=True,
    ),
    Measure(
        "excess_kurtosis",
        "token",
        "spectral excess kurtosis",
        "M4",
        "",
        2,
        "spectral excess kurtosis",
        "how peaked the hiss is",
        "High when the energy is gathered in one narrow peak, low when it is flat.",
        "M4 = sum((f - M1)^4 P) / (sum(P) SD^4) - 3",
        _FORREST,
        interval=True,
    ),
    Measure(
        "peak_hz",
        "token",
        "spectral peak",
        "fp",
        "Hz",
        0,
        "spectral peak (Hz)",
        "the pitch of the hiss",
        "The frequency at which the averaged spectrum is highest; the estimator blurs it by about 200 Hz each way.",
        "fp = argmax P(f), interpolated",
        "common in the literature, e.g. Jongman et al. (2000)",
        interval=True,
    ),
    Measure(
        "rise_ms",
        "token",
        "rise time",
        "tr",
        "ms",
        1,
        "rise time (ms)",
        "how quickly the hiss builds up",
        "The time from the onset to where the level first comes within 3 dB of the plateau.",
        "t(plateau - 3 dB) - onset",
        "own",
        spectral=False,
    ),
    Measure(
        "voiced_share",
        "token",
        "voiced share",
        "V",
        "",
        2,
        "voiced share",
        "how much of the hiss is voiced",
        "The share of the hiss during which the voice sounds as well.",
        "voiced frames / frames",
        "Boersma (1993), Proc. Inst. Phonetic Sciences 17:97-110 (from memory)",
        spectral=False,
    ),
)

MEASURES: Mapping[str, Measure] = MappingProxyType({measure.key: measure for measure in _DECLARED})


def measures_of(scope: Scope) -> tuple[Measure, ...]:
    """Return the measures of one scope, in the order of their declaration.

    Examples
    --------
    >>> [m.key for m in measures_of("token")][:2]
    ['duration_ms', 'core_duration_ms']
    """
    return tuple(measure for measure in MEASURES.values() if measure.scope == scope)
