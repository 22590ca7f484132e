"""A fricative's stretch and a method come in, the windows that the method takes inside it go out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import MethodError
from ..terms import Interval, Method, Window
from .tapers import Rows

ONE_FRAME_MS = 60.0
"""Up to this duration one centred frame stands for the middle half."""
_QUANTUM_MS = 5.0
"""Windows cut to a share of the fricative are shortened to whole multiples, so that tapers are made once a length."""


@dataclass(frozen=True, slots=True)
class Placement:
    """Windows of one length: ``length_s`` and their centres in seconds from the start of the recording."""

    length_s: float
    centres_s: tuple[float, ...]

    @property
    def region(self) -> Interval:
        """The stretch from the first window's start to the last one's end."""
        half = self.length_s / 2
        return Interval(min(self.centres_s) - half, max(self.centres_s) + half)


def place(method: Method, interval: Interval) -> Placement:
    """Return the windows a method takes in a fricative.

    Frames of a share lie symmetrically about the fricative's middle, all inside the share; a fricative of at most
    60 ms has one frame in its middle.

    Raises
    ------
    MethodError
        When the windows of the method differ in length.

    Examples
    --------
    >>> from sibilant.methods import HOUSE_15K
    >>> [round(t, 3) for t in place(HOUSE_15K, Interval(0.0, 0.1)).centres_s]
    [0.035, 0.045, 0.055, 0.065]
    """
    placed = [_place_one(window, method, interval) for window in method.windows]
    if len({round(p.length_s, 9) for p in placed}) > 1:
        raise MethodError(f"method {method.name} has windows of different lengths; give it windows of one length")
    return Placement(placed[0].length_s, tuple(centre for p in placed for centre in p.centres_s))


def _place_one(window: Window, method: Method, interval: Interval) -> Placement:
    middle = (interval.onset_s + interval.offset_s) / 2
    if window.anchor != "share":
        anchor = {"onset": interval.onset_s, "middle": middle, "offset": interval.offset_s}[window.anchor]
        return Placement((window.length_ms or 0.0) / 1000, (anchor + window.offset_ms / 1000,))
    stretch_ms = interval.duration_ms * (window.share or 1.0)
    if method.frame_ms is None:
        return Placement(max(1, math.floor(stretch_ms / _QUANTUM_MS + 1e-6)) * _QUANTUM_MS / 1000, (middle,))
    n_frames = int(frame_counts(method, window.share or 1.0, np.array([interval.duration_ms]))[0])
    hop_s = (method.hop_ms or method.frame_ms) / 1000
    steps = [k - (n_frames - 1) / 2 for k in range(n_frames)]
    return Placement(method.frame_ms / 1000, tuple(middle + step * hop_s for step in steps))


def frame_counts(method: Method, share: float, duration_ms: Rows) -> npt.NDArray[np.intp]:
    """How many frames fit into a share of fricatives of some durations (v,); one up to 60 ms."""
    frame_ms = method.frame_ms or 0.0
    fitting = np.floor((duration_ms * share - frame_ms) / (method.hop_ms or frame_ms) + 1e-6).astype(np.intp)
    return np.where(duration_ms <= ONE_FRAME_MS, 1, 1 + np.maximum(fitting, 0))


def shifted(interval: Interval, onset_ms: float, offset_ms: float) -> Interval:
    """The stretch with its edges moved, in ms; never turned around."""
    onset_s = interval.onset_s + onset_ms / 1000
    return Interval(onset_s, max(onset_s, interval.offset_s + offset_ms / 1000))
