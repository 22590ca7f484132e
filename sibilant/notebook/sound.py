"""What a program hands over as a sound: a file, an array with its rate, or a recording that is at hand."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from .. import audio
from ..errors import UsageError
from ..terms import Recording

SoundLike: TypeAlias = "str | os.PathLike[str] | Recording | npt.NDArray[np.floating[Any] | np.integer[Any]]"


def recording_of(sound: SoundLike, sampling_rate_hz: int | None = None, channel: int | None = None) -> Recording:
    """Return the recording that was handed over.

    Parameters
    ----------
    sound : path, array or Recording
        A sound file; samples of one channel (n,), floating in -1 to 1 or 16-bit whole numbers; or a recording.
    sampling_rate_hz : int, optional
        The rate of an array; a file and a recording know their own.
    channel : int, optional
        Which channel of a file that has several, from 1.

    Raises
    ------
    UsageError
        When an array comes without its rate, or something else with one.
    RecordingError
        When the sound can't be read.
    """
    if isinstance(sound, np.ndarray):
        if sampling_rate_hz is None:
            raise UsageError("samples were given without their rate; add sampling_rate_hz=44100, or what it truly is")
        return audio.recording_from_samples(_as_floats(sound), sampling_rate_hz)
    if sampling_rate_hz is not None:
        raise UsageError("sampling_rate_hz goes with an array only; a file is read at its own rate")
    return sound if isinstance(sound, Recording) else audio.read_recording(Path(sound), channel=channel)


def _as_floats(samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
    if samples.dtype.kind == "f":
        return samples
    if samples.dtype == np.int16:
        return samples / np.float32(2**15)
    raise UsageError(f"samples of type {samples.dtype} were given; give floating ones in -1 to 1, or 16-bit ones")
