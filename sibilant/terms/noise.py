"""What the room adds to a sound, and where a recording is cut off: kept so that a clip can be measured again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


@dataclass(frozen=True, slots=True, eq=False)
class NoiseSpectrum:
    """The noise spectrum of the pauses beside one word.

    ``power_density`` (m,) in full scale squared per Hz, at m equally spaced frequencies from 0 Hz to half the sampling
    rate, made with the windows and tapers of the house methods and no microphone response; ``dof`` the equivalent
    degrees of freedom of each value; ``drift`` (m,) one standard deviation of how far the noise at the word itself may
    lie from it, all frequencies together, from the difference of the pauses before and after and from how far the
    level wanders within them.

    Examples
    --------
    >>> import numpy as np
    >>> NoiseSpectrum(np.full(442, 1e-9), 300.0, np.zeros(442)).power_density.shape
    (442,)
    """

    power_density: npt.NDArray[np.float64]
    dof: float
    drift: npt.NDArray[np.float64]

    def __post_init__(self) -> None:
        if self.power_density.ndim != 1 or self.power_density.shape != self.drift.shape:
            raise ValueError("a noise spectrum needs one drift for each power value")
        import numpy as np

        if not self.dof > 0 or not bool(np.all(np.isfinite(self.power_density)) and np.all(self.power_density >= 0)):
            raise ValueError("a noise spectrum needs powers of zero or more and degrees of freedom above zero")
        self.power_density.setflags(write=False)
        self.drift.setflags(write=False)


@dataclass(frozen=True, slots=True)
class Cut:
    """The frequency at which something cut a recording off: telephone, coder, call, low-pass filter.

    Examples
    --------
    >>> Cut(8000.0).frequency_hz
    8000.0
    """

    frequency_hz: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.frequency_hz) and self.frequency_hz > 0):
            raise ValueError(f"a cut needs a frequency above zero; got {self.frequency_hz} Hz")
