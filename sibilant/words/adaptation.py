"""How a recording's sounds differ from the table of band shapes: speaker and microphone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .band_templates import CLASSES, N_BANDS

Float32s = npt.NDArray[np.float32]

# Spread of a class against that of the table: known from this recording, and not yet heard in it.
KNOWN_TIMES, UNKNOWN_TIMES = 0.8, 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Adaptation:
    """What is added to the table's shapes, and what its spreads are multiplied by: (classes, 15) each."""

    shift_db: Float32s
    times: Float32s


@dataclass(frozen=True, slots=True, eq=False)
class RecordingAdaptation:
    """Adaptation to a recording, and of each word it was learnt from with that word itself left out.

    ``own`` holds first and last (exclusive) frame of such a word and the adaptation it is to be scored with, so that no
    word speaks for itself.
    """

    whole: Adaptation
    own: tuple[tuple[int, int, Adaptation], ...] = ()
    learnt: bool = False


def no_adaptation() -> RecordingAdaptation:
    """Nothing known of the recording: no shift, wide spreads.

    Examples
    --------
    >>> no_adaptation().whole.shift_db.shape == (len(CLASSES), N_BANDS)
    True
    """
    shape = (len(CLASSES), N_BANDS)
    return RecordingAdaptation(Adaptation(np.zeros(shape, np.float32), np.full(shape, UNKNOWN_TIMES, np.float32)))
