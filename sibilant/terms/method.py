"""A ``Method`` is everything that decides a spectral figure; it travels with every number."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from .vocabulary import check_words

Anchor = Literal["onset", "middle", "offset", "share"]
Average = Literal["spectra", "moments", "none"]
Weighting = Literal["power", "amplitude"]
Noise = Literal["observed", "taken out"]


@dataclass(frozen=True, slots=True)
class Window:
    """Where a spectrum is taken.

    ``anchor`` ``share``: the middle ``share`` of the fricative (0.5 is the middle half), cut into frames of the
    method's ``frame_ms`` every ``hop_ms`` or taken whole when ``frame_ms`` is None. The other anchors place one window
    of ``length_ms`` whose centre lies ``offset_ms`` after the onset, middle or offset (before it when negative), so a
    window may reach into the neighbouring sound.
    """

    anchor: Anchor
    offset_ms: float = 0.0
    length_ms: float | None = None
    share: float | None = None

    def __post_init__(self) -> None:
        check_words(self, anchor=get_args(Anchor))


@dataclass(frozen=True, slots=True)
class Method:
    """A named analysis, complete enough to be repeated.

    ``rate_hz`` None means the recording's own rate; ``pre_emphasis`` is the coefficient or None; ``unknown`` lists what
    a published source does not say; ``response`` names a microphone response that was divided out. ``mid_band_hz`` is
    where the mid-band peak is searched; ``published`` tells a protocol from the literature from one of our own;
    ``noise`` says whether the noise of the pauses is taken out of the power.
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
    average: Average = "spectra"
    weighting: Weighting = "power"
    pre_emphasis: float | None = None
    high_pass_hz: float | None = None
    response: str = ""
    citation: str = ""
    unknown: tuple[str, ...] = ()
    mid_band_hz: tuple[float, float] = (2000.0, 10000.0)
    published: bool = False
    noise: Noise = "observed"

    def __post_init__(self) -> None:
        check_words(self, average=get_args(Average), weighting=get_args(Weighting), noise=get_args(Noise))
        low, high = self.band_hz
        if not 0 <= low < high:
            raise ValueError(f"method {self.name}: the band needs 0 <= low < high, got {low} to {high} Hz")

    @property
    def label(self) -> str:
        """Name and version as tables print it, such as ``house-15k/1``."""
        return f"{self.name}/{self.version}"


@dataclass(frozen=True, slots=True)
class MicrophoneResponse:
    """What a microphone adds to each frequency: ``gain_db`` at rising ``frequency_hz``, both of one length.

    The gain is divided out of the power spectrum; between points it is interpolated along log frequency.

    Examples
    --------
    >>> MicrophoneResponse("desk-1", (100.0, 20000.0), (0.0, -3.0)).covers((1000.0, 15000.0))
    True
    """

    name: str
    frequency_hz: tuple[float, ...]
    gain_db: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.frequency_hz) != len(self.gain_db) or len(self.frequency_hz) < 2:
            raise ValueError(f"microphone response {self.name}: needs two or more rows of a frequency and a gain")
        if not _rising(self.frequency_hz) or not all(math.isfinite(gain) for gain in self.gain_db):
            raise ValueError(f"microphone response {self.name}: frequencies must rise from above zero, gains be finite")

    def covers(self, band_hz: tuple[float, float]) -> bool:
        """Whether the response is known over the whole band."""
        return self.frequency_hz[0] <= band_hz[0] and band_hz[1] <= self.frequency_hz[-1]


def _rising(values: Sequence[float]) -> bool:
    return values[0] > 0 and all(a < b for a, b in itertools.pairwise(values)) and math.isfinite(values[-1])
