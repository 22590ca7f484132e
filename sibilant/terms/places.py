"""Where each phone of a prompt lies in what was said, as a reader weighs it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .sound import Interval

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Float32s = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PhonePlaces:
    """Probability of each phone of a prompt in each frame: ``weight`` (phones, frames).

    ``doubted`` is the same with neighbouring frames taken for what they are, much the same evidence said again.
    Frame k is centred ``start_s + k * hop_s`` after the beginning of the recording; ``said`` (phones,) is the
    probability that a phone was said at all, ``said_somehow`` that some frication was said for it (other phones: the
    same); ``hiss`` (frames,) are the log odds that a frame is a sibilant,
    by its sound alone; ``reader`` names what weighed them, with its version.
    """

    start_s: float
    hop_s: float
    weight: Float32s
    doubted: Float32s
    said: Float32s
    said_somehow: Float32s
    hiss: Float32s
    reader: str

    def __post_init__(self) -> None:
        for values in (self.weight, self.doubted, self.said, self.said_somehow, self.hiss):
            values.setflags(write=False)

    @property
    def n_phones(self) -> int:
        """Number of phones placed."""
        return int(self.weight.shape[0])

    def share(self, onset_s: float, offset_s: float) -> Float32s:
        """Share of each phone's time that lies between two times: (phones,), 0 to 1."""
        import numpy as np

        first = max(0, math.ceil((onset_s - self.start_s) / self.hop_s - 0.5))
        last = max(first, math.floor((offset_s - self.start_s) / self.hop_s + 0.5) + 1)
        inside = self.weight[:, first:last].sum(axis=1)
        return np.asarray(inside / np.maximum(self.weight.sum(axis=1), 1e-6), dtype=np.float32)

    def frames(self, onset_s: float, offset_s: float) -> slice:
        """Frames between two times, at least one of those there are."""
        first = min(max(0, round((onset_s - self.start_s) / self.hop_s)), max(0, self.hiss.size - 1))
        return slice(first, max(first + 1, round((offset_s - self.start_s) / self.hop_s)))

    def belief(self, phone_index: int, onset_s: float, offset_s: float) -> float:
        """Share of a phone's time between two times when its place is doubted, 0 to 1."""
        first = max(0, round((onset_s - self.start_s) / self.hop_s))
        inside = self.doubted[phone_index]
        return float(
            inside[first : first + max(1, round((offset_s - onset_s) / self.hop_s))].sum() / max(inside.sum(), 1e-6)
        )

    def place(self, phone_index: int) -> Interval:
        """Where a phone lies: the middle half of its probability, or the instant where it would have been."""
        import numpy as np

        weight = np.cumsum(self.weight[phone_index], dtype=np.float64)
        if weight.size == 0 or weight[-1] <= 0:
            return Interval(self.start_s, self.start_s)
        first, last = (int(np.searchsorted(weight, share * weight[-1])) for share in (0.1, 0.9))
        onset = max(0.0, self.start_s + (first - 0.5) * self.hop_s)
        return Interval(onset, self.start_s + (max(first, last) + 0.5) * self.hop_s)
