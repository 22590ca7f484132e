"""Evidence for each span and prompt, from sounds, length and likeness."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..terms import Prompt, Recording
from .candidates import Candidates
from .features import HOP_S, Features, features_near
from .fit import Emissions, Fits, emissions, fit, flat_channel
from .likeness import distances, portraits
from .match import NOTHING, Evidence
from .spelling import Chain, chain

Array = npt.NDArray[np.float64]
Reals = npt.NDArray[np.floating]
SCALES = (0.80, 0.87, 0.94, 1.0, 1.07, 1.15, 1.23)
PAD_FRAMES = 2
TRUST = 0.4
LOSS_TIMES = 1.35
LENGTH_SD = 0.35
LENGTH_WORTH = 6.0
EXTRA_PIECE = 1.0
LIKENESS_WORTH = (4.0, 1.8)
LIKENESS_LIMITS = (-5.0, 6.0)


def weigh(
    recording: Recording, pieces: list[tuple[float, float]], spans: Candidates, prompts: Sequence[Prompt]
) -> Evidence:
    """Evidence for ``match`` from a recording, its pieces and the candidate spans."""
    features = features_near(recording, pieces)
    chains = [chain(p) for p in prompts]
    frames = np.array([(features.frame(a) - PAD_FRAMES, features.frame(b) + PAD_FRAMES) for a, b in pieces])
    frames = np.clip(frames, 0, features.n_frames)
    ranges = np.stack([frames[spans.piece, 0], frames[spans.piece + spans.extra, 1]], axis=1)
    scored = _speaker(features, frames, chains)
    fits = fit(scored, ranges, chains, spans.prompt)
    active = np.concatenate([[0], np.cumsum(frames[:, 1] - frames[:, 0])])
    n_active = active[spans.piece + spans.extra + 1] - active[spans.piece]
    whole, broken = _ratios(fits, n_active, ranges, spans, chains)
    shape = (spans.longest, len(pieces), len(prompts))
    table = [np.full(shape, NOTHING) for _ in range(2)]
    for values, out in zip((whole, broken), table, strict=True):
        out[spans.extra, spans.piece, spans.prompt] = values
    return Evidence(table[0], table[1], np.zeros(len(pieces)), _likeness(features, frames, spans))


def _speaker(features: Features, frames: npt.NDArray[np.int64], chains: list[Chain]) -> Emissions:
    """Scores under the formant scale that fits best, over pieces and all prompts (a sample of both)."""
    pieces = np.arange(len(frames))[:: max(1, len(frames) // 24)]
    which = np.arange(len(chains))[:: max(1, len(chains) // 24)]
    i, j = (grid.ravel() for grid in np.meshgrid(pieces, which, indexing="ij"))
    best: tuple[float, Emissions] | None = None
    for scale in SCALES:
        scored = emissions(features, scale, flat_channel())
        found = fit(scored, frames[i], chains, j).whole.reshape(len(pieces), len(which)).max(axis=1)
        value = float(np.median(found / (frames[pieces, 1] - frames[pieces, 0])))
        if best is None or value > best[0]:
            best = value, scored
    assert best is not None
    return best[1]


def _ratios(
    fits: Fits, n_active: npt.NDArray[np.int64], ranges: npt.NDArray[np.int64], spans: Candidates, chains: list[Chain]
) -> tuple[Reals, Reals]:
    """Log ratios of whole and broken attempts against no word."""
    single = spans.extra == 0
    loss = np.full(int(spans.piece.max()) + 1, -np.inf)
    np.maximum.at(loss, spans.piece[single], fits.whole[single] / np.maximum(n_active[single], 1))
    usual = -float(np.median(loss[np.isfinite(loss)]))
    usual = float(np.clip(usual * LOSS_TIMES, 0.35, 0.9))
    length = np.array([c.length_s for c in chains])[spans.prompt]
    said = (ranges[:, 1] - ranges[:, 0] - 2 * PAD_FRAMES) * HOP_S
    rate = _rate(fits, said, length, spans)
    extra = EXTRA_PIECE * spans.extra
    whole = TRUST * (fits.whole + usual * n_active) + _length(said, rate * length) - extra
    broken = TRUST * (fits.broken + usual * n_active) + _length(said, rate * length * fits.reached) - extra
    return whole, broken


def _rate(fits: Fits, said: Reals, length: Reals, spans: Candidates) -> float:
    """How long this speaker's words are against the usual, from each piece's best prompts."""
    ratio = said / length
    likely = (spans.extra == 0) & (ratio > 0.4) & (ratio < 2.5)
    return float(np.clip(np.median(ratio[likely]), 0.6, 1.8)) if likely.any() else 1.0


def _length(said: Reals, expected: Reals) -> Reals:
    far = np.log(np.maximum(said, 0.01) / np.maximum(expected, 0.05)) / LENGTH_SD
    return np.asarray(np.maximum(-0.5 * far**2, -LENGTH_WORTH))


def _likeness(features: Features, frames: npt.NDArray[np.int64], spans: Candidates) -> Array:
    """Evidence (k, i) that a span says again what one of the spans just before it said."""
    n = len(frames)
    pairs = sorted({(int(i), int(k)) for i, k in zip(spans.piece, spans.extra, strict=True) if k < 3})
    at = {pair: row for row, pair in enumerate(pairs)}
    drawn = portraits(features, [(int(frames[i, 0]), int(frames[i + k, 1])) for i, k in pairs])
    left, right, target = [], [], []
    for (i, k), row in at.items():
        for last in range(i - 1, max(-1, i - 4), -1):
            for k_before in range(3):
                before = at.get((last - k_before, k_before))
                if before is not None:
                    left.append(before)
                    right.append(row)
                    target.append((k, i))
    out = np.full((spans.longest, n), LIKENESS_LIMITS[0])
    if not left:
        return out
    found = distances(drawn[left], drawn[right])
    centre, spread = float(np.median(found)), float(1.4826 * np.median(np.abs(found - np.median(found)))) + 0.5
    slope, offset = LIKENESS_WORTH
    worth = np.clip(slope * ((centre - found) / spread - offset), *LIKENESS_LIMITS)
    for (k, i), value in zip(target, worth, strict=True):
        out[k, i] = max(out[k, i], value)
    return out
