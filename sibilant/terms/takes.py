"""Measures of a held sound, and of one speaker's two sounds against each other."""

from __future__ import annotations

from dataclasses import dataclass

from .sound import Interval

NEEDED_EACH = 7
"""Tokens of each sound that a separation needs: what a list for practice holds of /ʃ/."""


@dataclass(frozen=True, slots=True)
class SustainedTake:
    """A sibilant held in isolation; never mixed with the length of a sibilant in a word.

    ``steadiness_db`` is the standard deviation of the level over the steady part; ``drift_hz_per_s`` the slope of the
    spectral mean there; ``breaks`` the gaps longer than 50 ms; a value that can't be had is None, with its reason in
    ``flags``.
    """

    interval: Interval
    steadiness_db: float | None
    drift_hz_per_s: float | None
    breaks: tuple[Interval, ...] = ()
    steady: Interval | None = None
    method: str = ""
    flags: tuple[str, ...] = ()

    @property
    def duration_s(self) -> float:
        """Length in seconds, breaks included."""
        return self.interval.duration_s

    @property
    def n_breaks(self) -> int:
        """How many gaps longer than 50 ms."""
        return len(self.breaks)

    @property
    def values(self) -> dict[str, float]:
        """The values by their keys in ``MEASURES`` of scope take; what can't be had is absent."""
        found = {
            "take_duration_s": self.duration_s,
            "steadiness_db": self.steadiness_db,
            "drift_hz_per_s": self.drift_hz_per_s,
            "n_breaks": float(self.n_breaks),
        }
        return {key: value for key, value in found.items() if value is not None}


@dataclass(frozen=True, slots=True)
class Separation:
    """How far apart one speaker's two sounds lie in one measure, with 95 % intervals (low, high).

    All figures are None where fewer than seven tokens of each were given; ``why`` then says so.
    """

    n_first: int
    n_second: int
    difference: float | None = None
    difference_interval: tuple[float, float] | None = None
    auc: float | None = None
    auc_interval: tuple[float, float] | None = None
    overlap: float | None = None
    overlap_interval: tuple[float, float] | None = None
    why: str = ""

    @property
    def judged(self) -> bool:
        """Whether there were enough tokens to say anything."""
        return self.difference is not None
