"""What the network of sounds says of the states that a word's chain is made of, beside the table of band shapes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ..terms import Recording
from .band_templates import CLASSES
from .features import Features
from .phone_model import ANY, LEAD, N_STATE_CLASSES, SIB_S, SIB_SH, SIB_Z, SILENCE
from .phrase_model import CLASS_OF, HEARD_AS
from .sound_model import SILENCE as NO_SOUND
from .sound_model import over_prior, sound_scores
from .viterbi import LEAD_COST, SCALE, WORST, Emissions

Float32s = npt.NDArray[np.float32]

# Share of the band shapes' score that is kept, and worth of the network's (``docs/words.md``).
BANDS_KEPT, NETWORK_WORTH = 0.6, 0.5
# Sounds of the network that a class of the table may be, each at a cost; a class that is not here is its own sound.
MAY_BE = {
    "IY": {"IY": 0.0, "EY": 0.5, "AY": 0.7, "OY": 0.7}, "EH": {"EH": 0.0, "EY": 0.5},
    "AA": {"AA": 0.0, "AY": 0.5, "AW": 0.5}, "AO": {"AO": 0.0, "OY": 0.5}, "UH": {"UH": 0.0, "OW": 0.3},
    "UW": {"UW": 0.0, "AW": 0.7, "OW": 0.5}, "LAT": {"SH": 0.5, "S": 0.5}, "F": {"F": 0.0, "TH": 0.0},
    "V": {"V": 0.0, "DH": 0.0}, "BAR": {"B": 0.0, "D": 0.0, "G": 0.0}, "P": {"P": 0.0, "B": 0.0},
    "T": {"T": 0.0, "D": 0.0, "CH": 1.0}, "K": {"K": 0.0, "G": 0.0},
}  # fmt: skip
# Chosen on invented probes (docs/words.md), where no other origin is named.
CLOSURES = {"P": 0.0, "T": 0.0, "K": 0.0, "B": 0.5, "D": 0.5, "G": 0.5}
"""What a frame of silence loses as the closure of a stop; a voiced one hums."""


def heard_states(recording: Recording, features: Features) -> Float32s:
    """Score of each state class in each frame of the features: (n, classes), at most 8 below the best."""
    cuts = [0, *(np.flatnonzero(np.diff(features.clock) > 1) + 1).tolist(), features.n_frames]
    ends = [(int(features.clock[a]), int(features.clock[b - 1]) + 1) for a, b in pairwise(cuts) if b > a]
    if not ends:
        return np.empty((0, N_STATE_CLASSES), dtype=np.float32)
    return np.concatenate([_states(over_prior(sounds)) for sounds in sound_scores(recording, ends)])


def _states(ratio: Float32s) -> Float32s:
    out = np.empty((len(ratio), N_STATE_CLASSES), dtype=np.float32)
    for k, name in enumerate(CLASSES):
        out[:, k] = _best_of(ratio, MAY_BE.get(name, {name: 0.0}))
    out[:, SILENCE] = np.maximum(ratio[:, NO_SOUND], _best_of(ratio, CLOSURES))
    for state, name in ((SIB_S, "S"), (SIB_SH, "SH"), (SIB_Z, "Z")):
        out[:, state] = _best_of(ratio, HEARD_AS[name])
    best = _best(out)
    breath = np.maximum(ratio[:, CLASS_OF["HH"]] - 2.0, best - 6.0)
    out[:, LEAD] = np.maximum(ratio[:, NO_SOUND], breath) - LEAD_COST
    out[:, ANY] = best - 0.6
    return np.asarray(np.maximum(out, best[:, None] - np.float32(WORST)), dtype=np.float32)


def _best_of(ratio: Float32s, names: dict[str, float]) -> Float32s:
    return np.asarray(np.max([ratio[:, CLASS_OF[name]] - np.float32(cost) for name, cost in names.items()], axis=0))


def _best(score: Float32s) -> Float32s:
    """Best of what a frame may be: neither anything at all nor what frames a word."""
    return np.asarray(np.delete(score, [ANY, LEAD], axis=1).max(axis=1, initial=-np.inf), dtype=np.float32)


def with_network(scored: Emissions, heard: Float32s, weight: Float32s) -> Emissions:
    """Scores by the band shapes with the network's beside them; ``weight`` is the worth of each frame."""
    worth = np.float32(NETWORK_WORTH * SCALE)
    score = np.asarray(np.float32(BANDS_KEPT) * scored.score + worth * heard * weight[:, None], dtype=np.float32)
    return Emissions(score, _best(score))
