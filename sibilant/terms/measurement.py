"""What is measured: spectra, the measures taken from them, and one measurement a sound and method."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from .method import Method
from .sound import Interval

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Spectrum:
    """One-sided power spectral density: ``frequency_hz`` (m,), ``power_density`` (m,) in full scale squared per Hz.

    ``estimator`` says how it was made; ``dof`` is the equivalent degrees of freedom of each value (0 when exact).
    """

    frequency_hz: npt.NDArray[np.float64]
    power_density: npt.NDArray[np.float64]
    estimator: str
    dof: float = 0.0

    def __post_init__(self) -> None:
        if self.frequency_hz.shape != self.power_density.shape or self.frequency_hz.ndim != 1:
            raise ValueError("a spectrum needs one power value for each frequency")
        self.frequency_hz.setflags(write=False)
        self.power_density.setflags(write=False)


@dataclass(frozen=True, slots=True)
class Measures:
    """Values of one sibilant by ``MEASURES`` key; a value that can't be had is absent, with its reason in ``flags``.

    ``low`` and ``high``: the estimator's 95 % interval for this one sound. ``boundary``: width of the range a value
    takes when the edges move by up to 10 ms. ``region``: the stretch the spectrum was taken from.

    ``uncut``: value, low and high of spectral mean, SD and level differences whether or not they stand clear of the
    noise (a level may be minus infinity); ``sums``: the power of the band, its first and second moment in Hz, and that
    of the ``low``, ``mid`` and ``high`` bands, noise taken out, over the band's observed power, for session figures
    (``terms.sums``). Both are empty for methods that leave the noise in.
    """

    values: Mapping[str, float]
    low: Mapping[str, float] = field(default_factory=dict)
    high: Mapping[str, float] = field(default_factory=dict)
    boundary: Mapping[str, float] = field(default_factory=dict)
    flags: tuple[str, ...] = ()
    region: Interval | None = None
    n_frames: int = 0
    band_hz: tuple[float, float] | None = None
    sampling_rate_hz: int = 0
    uncut: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    sums: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("values", "low", "high", "boundary", "uncut", "sums"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))


NOT_MEASURED = Measures({})
"""What a sound that was not bounded has of measures."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """What one method makes of one sound, and what the sound bears: one a sound and method.

    ``measures`` is ``NOT_MEASURED`` where no frication was bounded. ``snr_db`` (None without a pause near by) and
    ``bandwidth_hz`` are the sound's own; ``flags`` are all its reasons for care, those of edges and measures included.
    """

    sound_id: str
    method: Method
    measures: Measures = NOT_MEASURED
    snr_db: float | None = None
    bandwidth_hz: float | None = None
    flags: tuple[str, ...] = ()

    def value(self, key: str) -> float | None:
        """Return the value of a measure, None where it could not be had."""
        return self.measures.values.get(key)
