"""A ``Method`` is everything that decides a spectral figure; it travels with every number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Anchor = Literal["onset", "middle", "offset", "share"]


@dataclass(frozen=True, slots=True)
class Window:
    """Where a spectrum is taken.

    ``anchor`` ``share``: the middle ``share`` of the fricative (0.5 is the middle half), cut into frames of the
    method's ``frame_ms`` every ``hop_ms`` or taken whole when ``frame_ms`` is None. The other anchors place one window
    of ``length_ms`` whose centre lies ``offset_ms`` after the onset, middle or offset.
    """

    anchor: Anchor
    offset_ms: float = 0.0
    length_ms: float | None = None
    share: float | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """A named analysis, complete enough to be repeated.

    ``rate_hz`` None means the recording's own rate; ``pre_emphasis`` is the coefficient or None; ``unknown`` lists what
    a published source does not say; ``response`` names a microphone response that was divided out.
    """

    name: str
    version: int
    band_hz: tuple[float, float]
    windows: tuple[Window, ...]
    rate_hz: float | None = None
    frame_ms: float | None = None
    hop_ms: float | None = None
    taper: str = "dpss"
    n_tapers: int = 7
    time_bandwidth: float = 4.0
    average: Literal["spectra", "moments", "none"] = "spectra"
    weighting: Literal["power", "amplitude"] = "power"
    pre_emphasis: float | None = None
    high_pass_hz: float | None = None
    response: str = ""
    citation: str = ""
    unknown: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        low, high = self.band_hz
        if not 0 <= low < high:
            raise ValueError(f"method {self.name}: the band needs 0 <= low < high, got {low} to {high} Hz")

    @property
    def label(self) -> str:
        """Name and version as tables print it, such as ``house-15k/1``."""
        return f"{self.name}/{self.version}"
