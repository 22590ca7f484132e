"""How a recording's sounds differ from the table of band shapes: speaker and microphone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .targets import CLASSES, N_BANDS

Floats = npt.NDArray[np.float32]

# Spread of a class against that of the table: known from this recording, and not yet heard in it.
KNOWN_TIMES, UNKNOWN_TIMES = 0.8, 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Colour:
    """What is added to the table's shapes, and what its spreads are multiplied by: (classes, 15) each."""

    shift_db: Floats
    times: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Colouring:
    """Colour of a recording, and of each word it was learnt from with that word itself left out.

    ``own`` holds first and last (exclusive) frame of such a word and the colour it is to be scored with, so that no
    word speaks for itself.
    """

    whole: Colour
    own: tuple[tuple[int, int, Colour], ...] = ()
    learnt: bool = False


def flat_colouring() -> Colouring:
    """Nothing known of the recording: no shift, wide spreads.

    Examples
    --------
    >>> flat_colouring().whole.shift_db.shape == (len(CLASSES), N_BANDS)
    True
    """
    shape = (len(CLASSES), N_BANDS)
    return Colouring(Colour(np.zeros(shape, np.float32), np.full(shape, UNKNOWN_TIMES, np.float32)))
