"""Speaker and microphone of a recording: formant scale and colouring, learnt from the words that are sure."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .features import Features
from .fit import best_paths, emissions, fit, flat_channel
from .spelling import SIB_S, SIB_SH, SIB_Z, Chain
from .targets import CLASSES, N_BANDS, warped

Floats = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

SCALES = (0.82, 0.94, 1.07, 1.2)
SCALE_PIECES, SCALE_PROMPTS = 10, 12
CLASSES_HELD = 4.0
FEWEST_FRAMES = 5
MOST_WORDS = 40
COUNTS_AS = {SIB_S: "S", SIB_SH: "SH", SIB_Z: "Z"}


def formant_scale(features: Features, frames: Ints, chains: list[Chain]) -> float:
    """Formant scale that fits best, over a sample of pieces and the prompts near their place in the list."""
    chosen = np.unique(np.linspace(0, len(frames) - 1, min(len(frames), SCALE_PIECES)).round().astype(int))
    rows = np.concatenate([np.arange(*frames[k]) for k in chosen])
    part = features.part(rows)
    length = frames[chosen, 1] - frames[chosen, 0]
    ends = np.cumsum(length)
    place = chosen * len(chains) // max(1, len(frames))
    near = np.unique(np.clip(place[:, None] + np.arange(-2, 3), 0, len(chains) - 1), axis=None)
    near = near[:: max(1, near.size // SCALE_PROMPTS)]
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(len(chosen)), near, indexing="ij"))
    ranges = np.stack([ends - length, ends], axis=1)[i]

    def mean_fit(scale: float) -> float:
        found = fit(emissions(part, scale, flat_channel()), ranges, chains, j).whole
        return float(np.median(found.reshape(len(chosen), near.size).max(axis=1) / length))

    values = [mean_fit(scale) for scale in SCALES]
    return SCALES[int(np.argmax(values))]


def colouring(features: Features, scale: float, spans: Ints, chains: list[Chain]) -> Floats:
    """Mean difference of the recording from the table along the best paths of words taken as said: (15,), dB.

    Each class counts once, whatever its number of frames; with few classes heard it is drawn toward zero.
    """
    if not len(spans):
        return flat_channel()
    keep = np.unique(np.linspace(0, len(spans) - 1, min(len(spans), MOST_WORDS)).round().astype(int))
    spans, chains = spans[keep], [chains[k] for k in keep]
    scored = emissions(features, scale, flat_channel())
    index = {name: k for k, name in enumerate(CLASSES)}
    kind_of = {k: k for k in range(len(CLASSES))} | {k: index[name] for k, name in COUNTS_AS.items()}
    rows, kinds = [], []
    for (first, _), own, path in zip(spans, chains, best_paths(scored, spans, chains), strict=True):
        for t, state in enumerate(path):
            kind = kind_of.get(own.states[state].kind)
            if kind is not None:
                rows.append(int(first) + t)
                kinds.append(kind)
    return _mean_difference(features, scale, np.array(rows, dtype=np.int64), np.array(kinds, dtype=np.int64))


def _mean_difference(features: Features, scale: float, rows: Ints, kinds: Ints) -> Floats:
    b = features.n_bands
    out = np.zeros(N_BANDS, dtype=np.float32)
    if not rows.size:
        return out
    shape, spread = (table[:, :b] for table in warped(scale))
    x, noise = features.level_db[rows, :b], features.noise_db[rows, :b]
    heard = np.clip((x - noise - 2.0) / 8.0, 0.02, 1.0)
    precision = heard / spread[kinds] ** 2
    far = x - shape[kinds]
    far -= (precision * far).sum(axis=1, keepdims=True) / precision.sum(axis=1, keepdims=True)
    means = [
        (heard[own] * far[own]).sum(axis=0) / (heard[own].sum(axis=0) + 3.0)
        for own in (kinds == kind for kind in np.unique(kinds))
        if own.sum() >= FEWEST_FRAMES
    ]
    if means:
        mean = np.mean(means, axis=0) * len(means) / (len(means) + CLASSES_HELD)
        out[:b] = mean - mean.mean()
    return out
