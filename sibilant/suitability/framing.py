"""Stretches of a recording come in; the power of the frames within them goes out, many frames to a transform."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..levels.coarse import sample_range
from ..terms import Interval, Recording

if TYPE_CHECKING:
    import numpy.typing as npt

    Window = npt.NDArray[np.float32] | npt.NDArray[np.float64]

AT_ONCE, HELD = 32, 100
"""Frames in one transform, which the processor's cache holds, and transforms between lettings-go of mapped pages; no
result depends on either."""


def starts_in(recording: Recording, stretches: Sequence[Interval], size: int) -> list[range]:
    """First samples of the half-overlapped frames of ``size`` samples that lie within each stretch.

    Examples
    --------
    >>> from sibilant.terms import Source
    >>> starts_in(Recording(np.zeros(100, np.float32), 100, Source("", "")), [Interval(0.1, 0.32)], 10)
    [range(10, 23, 5)]
    """
    ranges = (sample_range(recording, stretch) for stretch in stretches)
    return [range(first, max(first, last - size + 1), size // 2) for first, last in ranges]


def powers(
    recording: Recording, starts: Sequence[range], window: Window, n_fft: int
) -> Iterator[npt.NDArray[np.floating]]:
    """Yield the power (k, n_fft // 2 + 1) of windowed frames, in order, in the precision of ``window`` (size,)."""
    from scipy import fft

    firsts = np.array([first for each in starts for first in each], dtype=np.intp)
    if not firsts.size:
        return
    every = np.lib.stride_tricks.sliding_window_view(recording.samples, window.size)
    for number, at in enumerate(range(0, firsts.size, AT_ONCE), start=1):
        spectrum = fft.rfft(every[firsts[at : at + AT_ONCE]] * window, n_fft, axis=1)
        yield spectrum.real**2 + spectrum.imag**2
        if number % HELD == 0:
            recording.let_go()
