"""Whether a piece is another speaker's, by what its sounds leave over once its own classes are taken off."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .adaptation import RecordingAdaptation
from .band_templates import CLASSES, warped
from .features import Features
from .viterbi import Emissions, loudness

Array = npt.NDArray[np.float64]
Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

# Chosen on invented probes (docs/words.md), where no other origin is named.
FEWEST_PIECES = 8  # pieces of sound from which on a second voice can be told
WITHIN_DB = 15.0  # frames within this of a piece's loudest are compared
LEAST_SPREAD_DB = 0.7  # added to the spread, so that few alike pieces make none odd
# Log of the oddness of a piece of the voice of most, and of another's: mean, spread.
OWN, ANOTHER = (-2.25, 0.45), (-1.2, 0.65)
LIMIT = 3.0  # log odds at most


def other_speaker_ratios(
    features: Features, frames: Ints, heard: tuple[Emissions, float, RecordingAdaptation]
) -> Array:
    """Log-likelihood ratio of another speaker against the one of most pieces: (n,), between -3 and 3.

    In the loud frames of each piece (15 dB) the shape of the likeliest class is taken off; the mean that is left, in 15
    bands, belongs to voice, place and microphone. Its oddness is the mean of log(1 + z^2 / 4) over bands, z from the
    median and median deviation of all pieces. Nothing is said of fewer than eight pieces, or before the adaptation is
    learnt.

    Parameters
    ----------
    features : Features
        Levels and noise.
    frames : (n, 2)
        First and last (exclusive) frame of each piece.
    heard : tuple
        Frame scores, formant scale and adaptation they were made with.

    Returns
    -------
    (n,) array
    """
    scored, scale, adaptation = heard
    if not adaptation.learnt or len(frames) < FEWEST_PIECES:
        return np.zeros(len(frames))
    shape = warped(scale)[0] + adaptation.whole.shift_db
    kind = scored.score[:, : len(CLASSES)].argmax(axis=1)
    total = loudness(features)[0]
    left = np.array([_left_over(features, shape, (kind, total), first, last) for first, last in frames])
    left -= np.median(left, axis=0)
    spread = 1.4826 * np.median(np.abs(left), axis=0) + LEAST_SPREAD_DB
    odd = np.log1p((left / spread) ** 2 / 4.0).mean(axis=1)
    far = np.log(np.maximum(odd, np.exp(OWN[0])))
    return np.asarray(np.clip(_log_normal(far, *ANOTHER) - _log_normal(far, *OWN), -LIMIT, LIMIT))


def _left_over(features: Features, shape: Float32s, by_frame: tuple[Ints, Float32s], *reach: int) -> Array:
    kind, total = by_frame
    b = features.n_bands
    near = total[reach[0] : reach[1]]
    rows = reach[0] + np.flatnonzero(near > near.max(initial=-140.0) - WITHIN_DB)
    x, noise = features.level_db[rows, :b].astype(np.float64), features.noise_db[rows, :b]
    heard = np.clip((x - noise - 2.0) / 8.0, 0.02, 1.0)
    far = x - shape[kind[rows], :b]
    far -= (far * heard).sum(axis=1, keepdims=True) / heard.sum(axis=1, keepdims=True)
    return np.asarray((far * heard).sum(axis=0) / (heard.sum(axis=0) + 1.0))


def _log_normal(x: Array, mean: float, spread: float) -> Array:
    return np.asarray(-0.5 * ((x - mean) / spread) ** 2 - np.log(spread))
