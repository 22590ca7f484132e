"""What a recording and each sound in it can support, and by which measured sign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, TypedDict, get_args

from ..errors import WordError
from .noise import Cut, NoiseSpectrum
from .sound import Interval
from .vocabulary import SUPPORTS, Support, check_words

Severity = Literal["note", "with care", "not usable"]
Aspect = Literal["durations", "levels", "comparison", "moments"]

ASPECTS: tuple[Aspect, ...] = ("durations", "levels", "comparison", "moments")


def worse_of(*supports: Support) -> Support:
    """Return the least of several degrees of support; ``usable`` for none.

    Examples
    --------
    >>> worse_of("usable", "with care")
    'with care'
    """
    return max(supports, key=SUPPORTS.index, default="usable")


class SignRow(TypedDict):
    """One sign as ``check --json`` prints it."""

    sign: str
    value: float | None
    unit: str
    threshold: float | None
    severity: str
    spoils: list[str]
    advice: str
    source: str
    n_tokens: int | None
    where_s: list[float] | None


class VerdictRow(TypedDict):
    """A verdict as ``check --json`` prints it."""

    durations: str
    levels: str
    comparison: str
    moments: dict[str, str]


class SuitabilityRow(TypedDict):
    """What a recording can support, as ``check --json`` prints it."""

    effective_bandwidth_hz: float | None
    cut_hz: int | None
    snr_4_10khz_db: float | None
    clipped_share: float | None
    widest_method: str | None
    findings: list[SignRow]
    verdict: VerdictRow
    remedies: list[str]
    n_sibilants: int


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign that was found: its measured value, the threshold it passed, where that comes from, and what to do.

    ``threshold`` is the one that was passed; ``severity`` what passing it means for the aspects in ``spoils`` (a
    ``note`` spoils nothing); ``tokens`` are 0-based places among the sounds judged, empty when the sign concerns the
    whole recording; ``interval`` is where to listen, if somewhere.
    """

    sign: str
    value: float | None
    unit: str
    threshold: float | None
    severity: Severity
    advice: str
    source: str
    spoils: tuple[Aspect, ...] = ()
    tokens: tuple[int, ...] = ()
    interval: Interval | None = None

    def __post_init__(self) -> None:
        check_words(self, severity=get_args(Severity))
        if unknown := set(self.spoils) - set(ASPECTS):
            raise WordError(f"aspect {min(unknown)[:20]!r} is none of {', '.join(ASPECTS)}")

    def as_dict(self) -> SignRow:
        """Return what ``check --json`` prints of a finding."""
        where = None if self.interval is None else [round(self.interval.onset_s, 4), round(self.interval.offset_s, 4)]
        return {
            "sign": self.sign,
            "value": None if self.value is None else round(self.value, 4),
            "unit": self.unit,
            "threshold": self.threshold,
            "severity": self.severity,
            "spoils": list(self.spoils),
            "advice": self.advice,
            "source": self.source,
            "n_tokens": len(self.tokens) or None,
            "where_s": where,
        }


@dataclass(frozen=True, slots=True)
class Verdict:
    """Support for each aspect; ``moments`` by the name of the house method."""

    durations: Support
    levels: Support
    comparison: Support
    moments: Mapping[str, Support]

    def __post_init__(self) -> None:
        object.__setattr__(self, "moments", MappingProxyType(dict(self.moments)))
        check_words(self, durations=SUPPORTS, levels=SUPPORTS, comparison=SUPPORTS)
        for support in self.moments.values():
            SUPPORTS.read(support)

    @property
    def worst(self) -> Support:
        """The least support of all, every house method counted."""
        return worse_of(self.durations, self.levels, self.comparison, *self.moments.values())

    def as_dict(self) -> VerdictRow:
        """Return the verdict as ``check --json`` prints it."""
        return {
            "durations": self.durations,
            "levels": self.levels,
            "comparison": self.comparison,
            "moments": {name: str(support) for name, support in self.moments.items()},
        }


@dataclass(frozen=True, slots=True)
class TokenSupport:
    """What one sound can support: its figures, the signs found in it (``flags``), and the verdict.

    ``snr_db`` is None where no pause was near enough to judge the noise by; ``noise`` is that of the pauses beside the
    sound's word, None without any, or where gate or gain make the pauses tell nothing of the noise under the sound.
    """

    snr_db: float | None
    bandwidth_hz: float | None
    clipped_share: float
    flags: tuple[str, ...]
    verdict: Verdict
    noise: NoiseSpectrum | None = None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a recording showed around one word, as observed: with it the kept word gives the recording's figures.

    ``cut`` is the recording's; ``support`` holds by the key of each sound bounded in the word what it can support, its
    noise included. ``prompt_index`` and ``attempt`` name the word in its session.
    """

    prompt_index: int
    attempt: int
    cut: Cut | None
    support: Mapping[str, TokenSupport] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "support", MappingProxyType(dict(self.support)))

    @property
    def noise(self) -> NoiseSpectrum | None:
        """The noise of the pauses beside the word; None without any, or where pauses tell nothing of it."""
        return next((one.noise for one in self.support.values() if one.noise is not None), None)


@dataclass(frozen=True, slots=True)
class Suitability:
    """What a recording can support: the signs found, the verdict, and the same for each sound in it.

    ``effective_bandwidth_hz`` and ``snr_4_10khz_db`` are None where they can't be known (no sibilant, no pause);
    ``widest_method`` is the widest house method that the bandwidth supports, or empty; ``remedies`` are the one or two
    sentences that matter most; ``cut`` is where something cut the recording off, None where nothing did.
    """

    findings: tuple[Sign, ...]
    verdict: Verdict
    effective_bandwidth_hz: float | None
    snr_4_10khz_db: float | None
    clipped_share: float | None
    tokens: tuple[TokenSupport, ...] = ()
    widest_method: str = ""
    remedies: tuple[str, ...] = field(default=())
    cut: Cut | None = None

    def as_dict(self) -> SuitabilityRow:
        """Return the part of ``check --json`` that this room knows.

        ``recording``, ``sampling_rate_hz`` and ``duration_s`` are put before it by the caller.
        """
        return {
            "effective_bandwidth_hz": _rounded(self.effective_bandwidth_hz, 0),
            "cut_hz": None if self.cut is None else round(self.cut.frequency_hz),
            "snr_4_10khz_db": _rounded(self.snr_4_10khz_db, 1),
            "clipped_share": _rounded(self.clipped_share, 6),
            "widest_method": self.widest_method or None,
            "findings": [sign.as_dict() for sign in self.findings],
            "verdict": self.verdict.as_dict(),
            "remedies": list(self.remedies),
            "n_sibilants": len(self.tokens),
        }


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(value, decimals)
