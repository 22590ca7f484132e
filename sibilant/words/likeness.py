"""How alike stretches of one recording sound: a repeat sounds like what was said just before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from .features import Features
from .viterbi import loudness

Float32s = npt.NDArray[np.float32]

# Chosen on invented probes (docs/words.md), where no other origin is named.
N_POINTS = 28  # points in time to which each saying is stretched
BAND_REACH = 5  # points by which two sayings may be shifted against each other (Sakoe-Chiba band)
QUIETEST_DB = -35.0  # levels further below the loudest are all alike
LEVEL_WEIGHT = 1.0  # weight of the whole level beside each band


def portraits(features: Features, spans: Sequence[tuple[int, int]]) -> Float32s:
    """Draw each span as 28 frames of band levels relative to their mean, quiet bands cut off: (n, 28, bands + 1)."""
    b = features.n_bands
    total = loudness(features)[0]
    out = np.zeros((len(spans), N_POINTS, b + 1), dtype=np.float32)
    for row, (first, last) in enumerate(spans):
        level = features.level_db[first:last, :b]
        noise = features.noise_db[first:last, :b]
        clean = 10 * np.log10(np.maximum(10 ** (0.1 * level) - 10 ** (0.1 * noise), 10 ** (0.1 * (noise - 3))))
        loud = total[first:last].max(initial=-140.0)
        clean = np.maximum(clean - loud, QUIETEST_DB - 20.0)
        frame = np.maximum(total[first:last, None] - loud, QUIETEST_DB)
        parts = np.concatenate([clean - clean.mean(axis=1, keepdims=True), LEVEL_WEIGHT * frame], axis=1)
        at = np.linspace(0, max(0, last - first - 1), N_POINTS)
        low = np.floor(at).astype(int)
        high = np.minimum(low + 1, max(0, last - first - 1))
        out[row] = parts[low] + (at - low)[:, None] * (parts[high] - parts[low])
    return out


def distances(left: Float32s, right: Float32s) -> Float32s:
    """Mean distance along the best warping of pairs of portraits, dB: (p,).

    Dynamic time warping with steps (1, 1), (0, 1), (1, 0), within 5 points of the diagonal.
    """
    n = len(left)
    step = np.sqrt(((left[:, :, None, :] - right[:, None, :, :]) ** 2).mean(axis=3))
    far = np.float32(1e6)
    total = np.full((n, N_POINTS + 1, N_POINTS + 1), far, dtype=np.float32)
    total[:, 0, 0] = 0.0
    for i in range(1, N_POINTS + 1):
        for j in range(max(1, i - BAND_REACH), min(N_POINTS, i + BAND_REACH) + 1):
            before = np.minimum(total[:, i - 1, j - 1] * 1.0, np.minimum(total[:, i - 1, j], total[:, i, j - 1]) + 0.5)
            total[:, i, j] = before + step[:, i - 1, j - 1]
    return np.asarray(total[:, N_POINTS, N_POINTS] / N_POINTS)
