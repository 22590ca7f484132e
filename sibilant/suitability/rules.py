"""A rule: one sign, how it is measured, from which value on it matters, for what, and who says so."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..terms import Interval
from ..terms.suitability import Aspect, Severity, Sign

if TYPE_CHECKING:
    from .evidence import Evidence

OWN = "own"
PRACTICE = "common practice, no source"

ALL: tuple[Aspect, ...] = ("durations", "levels", "comparison", "moments")
SPECTRA: tuple[Aspect, ...] = ("levels", "comparison", "moments")


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of a sign: for some sounds (0-based places), or for the whole recording when ``tokens`` is empty.

    ``words`` fills the places of the rule's advice.
    """

    value: float | None
    tokens: tuple[int, ...] = ()
    interval: Interval | None = None
    words: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Rule:
    """One sign. ``care`` and ``refuse`` are thresholds, passed upward or (``below``) downward; None means never.

    ``care_for`` and ``refuse_for`` are the aspects spoilt; with neither, the sign is only noted. ``weight``
    orders remedies, heaviest first.
    """

    key: str
    title: str
    measured: str
    unit: str
    care: float | None
    refuse: float | None
    care_for: tuple[Aspect, ...]
    refuse_for: tuple[Aspect, ...]
    advice: str
    source: str
    read: Callable[[Evidence], Iterable[Reading]]
    below: bool = False
    weight: int = 5

    def severity(self, value: float | None) -> Severity | None:
        """What a value means; None when it passes no threshold. An unknown value counts as ``with care``."""
        if value is None:
            return "with care" if self.care_for else "note"
        if self._passed(value, self.refuse):
            return "not usable"
        if self._passed(value, self.care):
            return "with care" if self.care_for else "note"
        return None

    def _passed(self, value: float, threshold: float | None) -> bool:
        if threshold is None:
            return False
        return value < threshold if self.below else value > threshold

    def sign(self, reading: Reading) -> Sign | None:
        """Make the ``Sign`` of a reading, or None when it passes no threshold."""
        severity = self.severity(reading.value)
        if severity is None:
            return None
        refused = severity == "not usable"
        return Sign(
            sign=self.key,
            value=reading.value,
            unit=self.unit,
            threshold=self.refuse if refused else self.care,
            severity=severity,
            advice=self.advice.format_map(dict(reading.words)),
            source=self.source,
            spoils=self.refuse_for if refused else self.care_for,
            tokens=reading.tokens,
            interval=reading.interval,
        )
