"""All that one strip shows, as values: levels, ribbons with uncertain ends, a spectrum, ticks with their intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    pass


@dataclass(frozen=True, slots=True)
class Ribbon:
    """One sibilant in time; ``*_uncertainty_ms`` are half-widths, ``reviewed`` when a person set the boundaries."""

    onset_s: float
    offset_s: float
    onset_uncertainty_ms: float = 2.0
    offset_uncertainty_ms: float = 2.0
    reviewed: bool = False
    phone: str = "S"
    main: bool = True

    def __post_init__(self) -> None:
        if not self.onset_s <= self.offset_s:
            raise ValueError("a ribbon needs its onset before its offset")


@dataclass(frozen=True, slots=True)
class Tick:
    """A frequency and the estimator's interval for this one sound."""

    value_hz: float
    low_hz: float | None = None
    high_hz: float | None = None


@dataclass(frozen=True, slots=True)
class StripPanel:
    """All that one strip shows, as values.

    ``bold`` are (start, stop) letters of ``word``; ``level_db`` is (frequencies, times); ``spectrum_db`` (m,) belongs
    to ``spectrum_hz`` (m,) and may be empty; ``duration_text`` stands above right; ``remark`` beneath left (such as
    "no frication found – please listen").
    """

    word: str
    time_s: npt.NDArray[np.float64]
    frequency_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float64]
    bold: tuple[tuple[int, int], ...] = ()
    ribbons: tuple[Ribbon, ...] = ()
    spectrum_hz: npt.NDArray[np.float64] | None = None
    spectrum_db: npt.NDArray[np.float64] | None = None
    centroid: Tick | None = None
    peak: Tick | None = None
    duration_text: str = ""
    remark: str = ""

    def __post_init__(self) -> None:
        if self.level_db.shape != (self.frequency_hz.size, self.time_s.size) or self.level_db.size == 0:
            raise ValueError(f"{self.word}: the picture needs one level for each frequency and time")
        if (self.spectrum_hz is None) != (self.spectrum_db is None):
            raise ValueError(f"{self.word}: a spectrum needs frequencies and levels")
        for array in (self.time_s, self.frequency_hz, self.level_db, self.spectrum_hz, self.spectrum_db):
            if array is not None:
                array.setflags(write=False)

    @property
    def span_s(self) -> tuple[float, float]:
        """First and last moment shown."""
        half = 0.5 * float(self.time_s[1] - self.time_s[0]) if self.time_s.size > 1 else 0.005
        return float(self.time_s[0]) - half, float(self.time_s[-1]) + half


def ribbon_image(ribbon: Ribbon, moments_s: npt.NDArray[np.float64], colour: str) -> npt.NDArray[np.float64]:
    """Opacity of the ribbon: how probable it is that the sibilant sounds, edges taken as ramps of their uncertainty."""
    from matplotlib.colors import to_rgb

    rise_s = max(2e-3 * ribbon.onset_uncertainty_ms, 1e-4)
    fall_s = max(2e-3 * ribbon.offset_uncertainty_ms, 1e-4)
    rising = np.clip((moments_s - ribbon.onset_s) / rise_s + 0.5, 0, 1)
    falling = np.clip((ribbon.offset_s - moments_s) / fall_s + 0.5, 0, 1)
    image = np.empty((1, moments_s.size, 4))
    image[..., :3] = to_rgb(colour)
    image[0, :, 3] = np.minimum(rising, falling) * (1.0 if ribbon.main else 0.45)
    return image
