"""What is measured: spectra, measures, tokens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from .method import Method
from .places import SlotPlace
from .sound import Interval, Mark, SibilantInterval, SibilantSlot, Utterance
from .vocabulary import Finding

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


@dataclass(frozen=True, slots=True)
class Token:
    """One row of the table: an expected sibilant, an extra one, or a prompt that has none or was not heard.

    ``utterance`` is None for a prompt not heard; ``sibilant`` is None where no frication was bounded; ``measures`` is
    None where nothing was measured; ``flags`` are the token's reasons, those of sibilant and measures included;
    ``place`` is where an expected sibilant lies, found or not, and ``reader`` names what matched words to sound, with
    the version of its rules (None and empty in caseloads kept by earlier programs); ``mark`` is what a person marked
    there before anything was measured.
    """

    id: str
    utterance: Utterance | None
    finding: Finding
    slot: SibilantSlot | None = None
    sibilant: SibilantInterval | None = None
    measures: Measures | None = None
    method: Method | None = None
    prompt_text: str = ""
    prompt_index: int = 0
    snr_db: float | None = None
    bandwidth_hz: float | None = None
    flags: tuple[str, ...] = field(default=())
    place: SlotPlace | None = None
    reader: str = ""
    mark: Mark | None = None
