"""One sound's measures while they are put together: values, ends of intervals, flags, with why a value is absent."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..terms import MEASURES, Measures, Method, NoiseSpectrum, SibilantInterval
from .tapers import Rows
from .through import Listened

EDGE_HANGS = 0.05
"""Share of the centroid by which it may move with the edges before it is flagged."""


@dataclass(slots=True)
class Draft:
    """One sound's measures while they are being put together."""

    sound: SibilantInterval
    values: dict[str, float]
    flags: list[str] = field(default_factory=list)
    heard: Listened | None = None
    low: dict[str, float] = field(default_factory=dict)
    high: dict[str, float] = field(default_factory=dict)
    moved: dict[str, float] = field(default_factory=dict)
    uncut: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    sums: dict[str, float] = field(default_factory=dict)
    noise: NoiseSpectrum | None = None

    def finished(self, method: Method, rate_hz: int) -> Measures:
        """The measures, in the order in which they are declared."""
        values = {key: self.values[key] for key in MEASURES if key in self.values}
        placement = self.heard.placement if self.heard is not None else None
        return Measures(
            values,
            self.low,
            self.high,
            self.moved,
            tuple(self.flags),
            placement.region if placement is not None else None,
            len(placement.centres_s) if placement is not None else 0,
            method.band_hz,
            rate_hz,
            self.uncut,
            self.sums,
        )

    def flag_edges(self) -> None:
        """Flag a sound whose spectral mean hangs on where its edges lie."""
        if self.moved.get("centroid_hz", 0.0) > EDGE_HANGS * self.values.get("centroid_hz", np.inf):
            self.flags.append("edge_dependent")


def ranges_of(stack: Rows) -> Rows:
    """Range over the last axis of the values that can be had; NaN where there are none."""
    known = np.isfinite(stack)
    highest = np.max(np.where(known, stack, -np.inf), axis=-1)
    return np.where(known.any(axis=-1), highest - np.min(np.where(known, stack, np.inf), axis=-1), np.nan)
