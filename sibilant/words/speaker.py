"""Speaker and microphone of a recording: formant scale and adaptation, learnt from the words that are sure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from .adaptation import KNOWN_TIMES, UNKNOWN_TIMES, Adaptation, RecordingAdaptation, no_adaptation
from .band_templates import CLASSES, N_BANDS, warped
from .features import Features
from .phone_model import SIB_S, SIB_SH, SIB_Z, PhoneModel
from .viterbi import Emissions, best_paths, best_scores, emissions

Array = npt.NDArray[np.float64]
Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

# Chosen on invented probes (docs/words.md), where no other origin is named.
SCALES, FINER_SCALES = (0.82, 0.94, 1.07, 1.2), (0.78, 0.86, 0.94, 1.02, 1.1, 1.18, 1.26)
"""Lengths of the vocal tract tried against the templates, first coarse, then fine."""
SCALE_PIECES, SCALE_PROMPTS, SCALE_WORDS = 10, 12, 8
"""Pieces, prompts and words on which a scale is tried; more cost time."""
CLASSES_HELD = 4.0  # classes of sound that the belief in no shift weighs
FRAMES_HELD = 10.0  # frames that the belief in the shared shift weighs
FEWEST_FRAMES, FEWEST_WORDS = 5, 3  # frames a class, and words, below which nothing is learnt
MOST_WORDS = 40  # words learnt from at most; more cost time
COUNTS_AS = {SIB_S: "S", SIB_SH: "SH", SIB_Z: "Z"}


def formant_scale(features: Features, frames: Ints, models: list[PhoneModel]) -> float:
    """Formant scale that fits best, over a sample of pieces and the prompts near their place in the list."""
    chosen = np.unique(np.linspace(0, len(frames) - 1, min(len(frames), SCALE_PIECES)).round().astype(int))
    part, ranges = _only(features, frames[chosen])
    place = chosen * len(models) // max(1, len(frames))
    near = np.unique(np.clip(place[:, None] + np.arange(-2, 3), 0, len(models) - 1), axis=None)
    near = near[:: max(1, near.size // SCALE_PROMPTS)]
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(len(chosen)), near, indexing="ij"))
    length = ranges[:, 1] - ranges[:, 0]
    found = _by_scale(part, SCALES, (ranges[i], models, j)).reshape(len(SCALES), len(chosen), near.size)
    return SCALES[int(np.argmax(np.median(found.max(axis=2) / length, axis=1)))]


def scale_of_words(features: Features, spans: Ints, models: list[PhoneModel], otherwise: float) -> float:
    """Formant scale that fits best over words taken as said; ``otherwise`` where they are fewer than three."""
    if len(spans) < FEWEST_WORDS:
        return otherwise
    keep = _spread_out(len(spans), SCALE_WORDS)
    part, ranges = _only(features, spans[keep])
    found = _by_scale(part, FINER_SCALES, (ranges, [models[k] for k in keep], np.arange(len(keep))))
    return FINER_SCALES[int(np.argmax(found.sum(axis=1)))]


def _by_scale(features: Features, scales: Sequence[float], pairs: tuple[Ints, list[PhoneModel], Ints]) -> Float32s:
    """Score of each pair as a whole word (scales, pairs); all scales go through the frames together."""
    spans, models, which = pairs
    moved = np.concatenate([spans + k * features.n_frames for k in range(len(scales))])
    parts = [emissions(features, scale, no_adaptation()) for scale in scales]
    scored = Emissions(np.concatenate([p.score for p in parts]), np.concatenate([p.best for p in parts]))
    whole = best_scores(scored, moved, models, np.tile(which, len(scales))).whole
    return whole.reshape(len(scales), -1)


def _only(features: Features, frames: Ints) -> tuple[Features, Ints]:
    """Features of some stretches of frames one after another, and where each lies in them."""
    length = frames[:, 1] - frames[:, 0]
    ends = np.cumsum(length)
    rows = np.concatenate([np.arange(first, last) for first, last in frames])
    return features.part(rows), np.stack([ends - length, ends], axis=1)


def _spread_out(n: int, most: int) -> Ints:
    return np.unique(np.linspace(0, n - 1, min(n, most)).round().astype(np.int64))


def adapted_to(features: Features, scale: float, spans: Ints, models: list[PhoneModel]) -> RecordingAdaptation:
    """Differences of the recording from the table along the best paths of words taken as said.

    For each class and band the table's shape is the expectation before anything is heard, worth ten frames; the frames
    of the words move it, and its spread shrinks from 1.2 to 0.8 of the table's as they come in. What all classes share
    (the microphone) is taken off first: each class counts once, and with few classes heard it is drawn toward zero.
    Every word is scored by what the others teach.
    """
    if not len(spans):
        return no_adaptation()
    keep = _spread_out(len(spans), MOST_WORDS)
    spans, models = spans[keep], [models[k] for k in keep]
    scored = emissions(features, scale, no_adaptation())
    index = {name: k for k, name in enumerate(CLASSES)}
    kind_of = {k: k for k in range(len(CLASSES))} | {k: index[name] for k, name in COUNTS_AS.items()}
    rows, cells = [], []
    for n, ((first, _), own, path) in enumerate(zip(spans, models, best_paths(scored, spans, models), strict=True)):
        for t, state in enumerate(path):
            kind = kind_of.get(own.states[state].kind)
            if kind is not None:
                rows.append(int(first) + t)
                cells.append(n * len(CLASSES) + kind)
    sums = _sums(features, scale, np.array(rows, np.int64), (np.array(cells, np.int64), len(spans)))
    whole = [part.sum(axis=0) for part in sums]
    others = [[total - part[n] for total, part in zip(whole, sums, strict=True)] for n in range(len(spans))]
    each = tuple((int(a), int(z), _adaptation(*rest)) for (a, z), rest in zip(spans, others, strict=True))
    return RecordingAdaptation(_adaptation(*whole), each, learnt=True)


def _sums(features: Features, scale: float, rows: Ints, into: tuple[Ints, int]) -> tuple[Array, Array, Array]:
    """Sums over frames by word and class: weights (n, k, 15), weighted differences (n, k, 15), frames (n, k)."""
    cells, n = into
    b, n_kinds = features.n_bands, len(CLASSES)
    kinds = cells % n_kinds
    shape, spread = (table[:, :b] for table in warped(scale))
    x, noise = features.level_db[rows, :b], features.noise_db[rows, :b]
    heard = np.clip((x - noise - 2.0) / 8.0, 0.02, 1.0)
    precision = heard / spread[kinds] ** 2
    far = x - shape[kinds]
    far -= (precision * far).sum(axis=1, keepdims=True) / precision.sum(axis=1, keepdims=True)
    weight, total, frames = np.zeros((n * n_kinds, N_BANDS)), np.zeros((n * n_kinds, N_BANDS)), np.zeros(n * n_kinds)
    np.add.at(weight[:, :b], cells, heard)
    np.add.at(total[:, :b], cells, heard * far)
    np.add.at(frames, cells, 1.0)
    return weight.reshape(n, n_kinds, -1), total.reshape(n, n_kinds, -1), frames.reshape(n, n_kinds)


def _adaptation(weight: Array, total: Array, frames: Array) -> Adaptation:
    """Shifts from sums over frames by class: (k, 15), (k, 15), (k,)."""
    known = frames >= FEWEST_FRAMES
    shared = np.zeros(N_BANDS)
    heard = weight.sum(axis=0) > 0
    if known.any():
        means = total[known] / (weight[known] + 3.0)
        shared = means.mean(axis=0) * known.sum() / (known.sum() + CLASSES_HELD)
        shared[heard] -= shared[heard].mean()
    shift = shared + (total - weight * shared) / (weight + FRAMES_HELD)
    held = FRAMES_HELD / (weight + FRAMES_HELD)
    times = np.sqrt(KNOWN_TIMES**2 + (UNKNOWN_TIMES**2 - KNOWN_TIMES**2) * held)
    return Adaptation(shift.astype(np.float32), times.astype(np.float32))
