"""When therapy of the followed target ran, as a person said it; what nobody said is not known, and never guessed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from .vocabulary import Phase

REFERENCES: tuple[Phase, ...] = ("baseline", "reference under treatment")
"""Phases whose probes later ones may be compared with."""
NOT_STATED: Phase = "not stated"
Pause = tuple[dt.date, dt.date | None]


@dataclass(frozen=True, slots=True)
class Therapy:
    """Therapy of one target: the day it starts, or that it was under way before the first probe; and its pauses.

    Exactly one of ``starts_on`` and ``under_way`` is said. A pause runs from its first day to the day on which
    therapy resumes (None: it has not yet).

    Raises
    ------
    ValueError
        When neither or both are said, or a pause lies before the start or within another.

    Examples
    --------
    >>> therapy = Therapy(dt.date(2026, 2, 2)).paused(dt.date(2026, 7, 1)).resumed(dt.date(2026, 9, 1))
    >>> [therapy.phase_on(dt.date(2026, month, 15)) for month in (1, 3, 7, 10)]
    ['baseline', 'treatment', 'pause', 'treatment']
    """

    starts_on: dt.date | None = None
    under_way: bool = False
    pauses: tuple[Pause, ...] = ()

    def __post_init__(self) -> None:
        if (self.starts_on is None) != self.under_way:
            raise ValueError("therapy either starts on a day or was under way before the first probe; say one of them")
        reach = self.starts_on or dt.date.min
        for place, (first, until) in enumerate(self.pauses):
            if first < reach or (until is not None and until <= first):
                raise ValueError(
                    f"a pause from {first} to {until or 'now'} lies before {reach}, or ends before it begins"
                )
            if until is None and place < len(self.pauses) - 1:
                raise ValueError(f"therapy paused on {first} and has not resumed; say when before another pause")
            reach = until or first

    def phase_on(self, day: dt.date) -> Phase:
        """Phase of a day: from the day of the start on it is treatment, from the first day of a pause on a pause."""
        if self.starts_on is not None and day < self.starts_on:
            return "baseline"
        paused = any(first <= day and (until is None or day < until) for first, until in self.pauses)
        return "pause" if paused else "treatment"

    def paused(self, day: dt.date) -> Therapy:
        """Therapy with one more pause, from a day on."""
        return replace(self, pauses=(*self.pauses, (day, None)))

    def resumed(self, day: dt.date) -> Therapy:
        """Therapy with the open pause ended on a day.

        Raises
        ------
        ValueError
            When there is no open pause.
        """
        if not self.pauses or self.pauses[-1][1] is not None:
            raise ValueError("therapy is not paused, so it can't resume; say the day of the pause first")
        return replace(self, pauses=(*self.pauses[:-1], (self.pauses[-1][0], day)))

    @property
    def text(self) -> str:
        """What was said, in words."""
        said = "under way before the first probe" if self.starts_on is None else f"starts on {self.starts_on}"
        pauses = [f"paused on {first}" + (f", resumed on {until}" if until else "") for first, until in self.pauses]
        return "; ".join((said, *pauses))

    def as_dict(self) -> dict[str, str | bool]:
        """Plain values under flat names; each day under a name that ends in ``_on``."""
        kept: dict[str, str | bool] = {"under_way": self.under_way}
        if self.starts_on is not None:
            kept["starts_on"] = self.starts_on.isoformat()
        for place, (first, until) in enumerate(self.pauses, start=1):
            kept[f"pause_{place}_on"] = first.isoformat()
            if until is not None:
                kept[f"resume_{place}_on"] = until.isoformat()
        return kept

    @staticmethod
    def from_dict(kept: Mapping[str, Any]) -> Therapy:
        """Therapy from what :meth:`as_dict` gave."""
        day = {name: dt.date.fromisoformat(value) for name, value in kept.items() if name.endswith("_on")}
        n_pauses = sum(name.startswith("pause_") for name in day)
        pauses = tuple((day[f"pause_{n}_on"], day.get(f"resume_{n}_on")) for n in range(1, n_pauses + 1))
        return Therapy(day.get("starts_on"), bool(kept.get("under_way")), pauses)
