"""Spans of sound and the prompts they may be come in; evidence for each pair goes out, in log odds.

Sounds, length, likeness and voice each speak for or against a pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..levels.ranks import median
from ..terms import Prompt, Recording
from .adaptation import RecordingAdaptation
from .candidates import Candidates
from .features import HOP_S, Features, features_near
from .lattice import NOTHING, Evidence
from .likeness import distances, portraits
from .other_speaker import other_speaker_ratios
from .phone_model import PhoneModel, phone_model
from .sound_states import heard_states, with_network
from .speaker import adapted_to, formant_scale, scale_of_words
from .viterbi import BestScores, Emissions, best_scores, change_weights, emissions

Array = npt.NDArray[np.float64]
Reals = npt.NDArray[np.floating]
Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

# Chosen on invented probes (docs/words.md), where no other origin is named.
PAD_FRAMES = 2  # frames on either side of a piece that a word may reach into
# Worth of the sounds' log ratios: by the table alone, and once the recording's own adaptation is learnt.
TRUST_AT_FIRST, TRUST = 0.3, 0.35
LOSS_TIMES = 1.35  # what another sound loses a frame, in medians of what the best prompts lose
LOSS_LIMITS = (0.35, 0.9)  # between which that loss a frame is held
LOSS_USUAL, LOSS_PIECES = 0.6, 4  # the loss before anything is heard, and the pieces that this belief weighs
LENGTH_SD, LENGTH_SD_OF_PHRASE = 0.35, 0.22
"""Log spread of a saying's length about its phones' ordinary length; of a phrase's."""
LENGTH_WORTH = 12.0  # a length counts against a word by so much at most (log odds)
WORD_S = 0.8  # longer sayings weigh less a frame: their frames are not independent
EXTRA_PIECE, EXTRA_PIECE_IN_PHRASE = 1.0, 0.1
"""Cost of each further piece that a saying falls into (log odds); in a phrase."""
ODD_SAYING = 4.0  # log odds against a word said in a way that its phones do not tell
OUT_OF_QUESTION, WORST_FIT = -15.0, -1e5  # log odds below which a match is not worked out; what it then gets
# Length of a repeat against the first saying, and of another word: spread of the log ratio.
AGAIN_SD, ANY_SD = 0.15, 0.35
# Distance of two sayings of one word, and of two words, as shares of the median distance of neighbours: mean, spread.
SAME_WORD, OTHER_WORD = (0.50, 0.20), (1.0, 0.24)
USUAL_DISTANCE_DB, DISTANCES_HELD = 8.0, 20
"""Distance of two sayings of one word before any is heard, and the pairs that this belief weighs."""
# Log of a pause over the list's median: mean, spread, for the one after a start that is taken up soon, and for any.
SOON, ANY_PAUSE = (-0.9, 0.45), (0.0, 0.45)
MOST_SOON, IN_A_WORD, CLOSURE_S, FEWEST_PAUSES = 2.5, -1.5, 0.15, 5
"""Log odds at most; after a pause no longer than a closure's, and that pause; fewest pauses that tell the ordinary."""
LIKENESS_LIMITS = (-5.0, 5.0)  # log odds between which likeness to an earlier saying is held
# A saying whose end is heard no better than this was perhaps broken off, and where the next one's end is heard by more
# than so much better, that speaks against its being said again: worth of each log unit, and the most of them.
END_HEARD, END_HEARD_BETTER, END_WORTH, MOST_END = 2.0, 1.0, 1.5, 4.0
ALIKE, UNLIKE_WORTH, UNLIKE_LIMITS = 0.35, 15.0, (-1.5, 4.0)
"""Share of the median distance above which two such sayings are rather not the same; worth of each; log odds."""


@dataclass(frozen=True, slots=True, eq=False)
class Scoring:
    """What is weighed: features, the frames of each piece (n, 2), the candidate spans and the models of the prompts.

    ``same`` (k, i, 2) is how much a span sounds like one just before it (log odds, distance as a share of the median of
    neighbours), ``like`` (k, i, 2) which (-1: none); ``heard``
    (n, classes) is what the network of sounds says of each frame.
    """

    features: Features
    frames: Ints
    spans: Candidates
    models: list[PhoneModel]
    scale: float
    same: Array
    like: Ints
    heard: Float32s

    @property
    def ranges(self) -> Ints:
        """Frames of each candidate span: (p, 2)."""
        return np.stack([self.frames[self.spans.piece, 0], self.frames[self.spans.piece + self.spans.extra, 1]], axis=1)


def scoring(
    recording: Recording, pieces: list[tuple[float, float]], spans: Candidates, prompts: Sequence[Prompt]
) -> Scoring:
    """Look at a recording near its pieces, and find the speaker's formant scale."""
    features = features_near(recording, pieces)
    models = [phone_model(p) for p in prompts]
    frames = np.array([(features.frame(a) - PAD_FRAMES, features.frame(b) + PAD_FRAMES) for a, b in pieces])
    frames = np.clip(frames, 0, features.n_frames)
    scale = formant_scale(features, frames, models)
    (same, like), heard = _likeness(features, frames, spans), heard_states(recording, features)
    return Scoring(features, frames, spans, models, scale, same, like, heard)


def evidence_of(asked: Scoring, adaptation: RecordingAdaptation, before: Evidence | None = None) -> Evidence:
    """Evidence for ``decode`` with the adaptation given; ``stray`` holds that of another speaker for each piece.

    Pairs that an evidence ``before`` found out of the question are not looked at again: they stay odd sayings.
    """
    spans, frames = asked.spans, asked.frames
    weight = change_weights(asked.features)
    scored = with_network(emissions(asked.features, asked.scale, adaptation), asked.heard, weight)
    worth = np.concatenate([[0.0], np.cumsum(weight, dtype=np.float64)])
    active = np.concatenate([[0.0], np.cumsum(worth[frames[:, 1]] - worth[frames[:, 0]])])
    n_active = active[spans.piece + spans.extra + 1] - active[spans.piece]
    fits = _fits(asked, scored, before)
    shape = (spans.longest, len(frames), len(asked.models))
    table = [np.full(shape, NOTHING) for _ in range(2)]
    trust = TRUST if adaptation.learnt else TRUST_AT_FIRST
    for values, out in zip(_ratios(fits, n_active, asked, trust), table, strict=True):
        out[spans.extra, spans.piece, spans.prompt] = values
    strange = other_speaker_ratios(asked.features, frames, (scored, asked.scale, adaptation))
    same = asked.same[:, :, :1] - _broken_before(table[0] - table[1], asked)
    broken = table[1] + _soon_after(asked.features, frames, spans.longest)
    return Evidence(table[0], broken, strange, same, np.full(shape[:2], NOTHING))


def _soon_after(features: Features, frames: Ints, longest: int) -> Array:
    """What the pause after each span says for its being broken off: (k, i, 1), between -1.5 and 2.5.

    Half of the starts broken off are taken up soon, after two fifths of the list's median pause; the others after any.
    """
    out = np.zeros((longest, len(frames), 1))
    pause = (features.clock[frames[1:, 0]] - features.clock[frames[:-1, 1] - 1] + 2 * PAD_FRAMES) * HOP_S
    ordinary = pause[pause > CLOSURE_S]
    if ordinary.size < FEWEST_PAUSES:
        return out
    far = np.log(np.maximum(pause, 0.03) / median(ordinary))
    soon = np.logaddexp(_log_normal(far, *SOON) - _log_normal(far, *ANY_PAUSE), 0.0) - np.log(2.0)
    soon = np.where(pause > CLOSURE_S, np.minimum(soon, MOST_SOON), IN_A_WORD)
    for k in range(min(longest, len(frames) - 1)):
        out[k, : soon.size - k, 0] = soon[k:]
    return out


def _broken_before(ended: Array, asked: Scoring) -> Array:
    """What speaks against a repeat (k, i, prompt) where the end of the saying before is hardly heard.

    This saying has the end that the other lacks, or sounds less like it than a word said twice.

    ``ended`` (k, i, prompt) are the log odds of a whole saying against one broken off.
    """
    like = asked.like
    before = np.where((like[..., 0] >= 0)[:, :, None], ended[like[..., 0], like[..., 1]], END_HEARD)
    more = END_WORTH * np.clip(ended - before - END_HEARD_BETTER, 0.0, MOST_END)
    unlike = np.clip(UNLIKE_WORTH * (asked.same[:, :, 1:] - ALIKE), *UNLIKE_LIMITS)
    return np.asarray(np.where(before < END_HEARD, more + unlike, 0.0))


def _fits(asked: Scoring, scored: Emissions, before: Evidence | None) -> BestScores:
    """Fits of all pairs; those out of the question before get the worst."""
    spans, ranges = asked.spans, asked.ranges
    if before is None:
        return best_scores(scored, ranges, asked.models, spans.prompt)
    at = spans.extra, spans.piece, spans.prompt
    kept = np.flatnonzero(np.maximum(before.whole[at] + ODD_SAYING, before.broken[at]) > OUT_OF_QUESTION)
    found = best_scores(scored, ranges[kept], asked.models, spans.prompt[kept])
    worst = np.full(len(ranges), WORST_FIT, dtype=np.float32)
    out = BestScores(worst, worst.copy(), np.zeros(len(ranges), dtype=np.float32))
    out.whole[kept], out.broken[kept], out.reached[kept] = found.whole, found.broken, found.reached
    return out


def adapted_by(asked: Scoring, said: Sequence[tuple[int, int, int]]) -> tuple[Scoring, RecordingAdaptation]:
    """Formant scale and adaptation, from spans taken as said: first piece, last (exclusive), prompt."""
    ranges = np.array([(asked.frames[a, 0], asked.frames[b - 1, 1]) for a, b, _ in said], dtype=np.int64).reshape(-1, 2)
    models = [asked.models[j] for _, _, j in said]
    scale = scale_of_words(asked.features, ranges, models, asked.scale)
    return replace(asked, scale=scale), adapted_to(asked.features, scale, ranges, models)


def _ratios(fits: BestScores, n_active: Array, asked: Scoring, trust: float) -> tuple[Reals, Reals]:
    """Log ratios of whole and broken attempts against no word.

    One saying in fifty is odd: it says nothing of the prompt, and only its length is weighed.
    """
    spans, models, ranges = asked.spans, asked.models, asked.ranges
    single = spans.extra == 0
    loss = np.full(int(spans.piece.max()) + 1, -np.inf)
    np.maximum.at(loss, spans.piece[single], fits.whole[single] / np.maximum(n_active[single], 1))
    found = loss[np.isfinite(loss)]
    usual = (-LOSS_TIMES * median(found) * found.size + LOSS_USUAL * LOSS_PIECES) / (found.size + LOSS_PIECES)
    usual = float(np.clip(usual, *LOSS_LIMITS))
    length = np.array([c.length_s for c in models])[spans.prompt]
    said = (ranges[:, 1] - ranges[:, 0] - 2 * PAD_FRAMES) * HOP_S
    expected = _rate(said, length, (spans, models)) * length
    several = np.array([c.n_words > 1 or not c.n_phones for c in models])[spans.prompt]
    extra = np.where(several, EXTRA_PIECE_IN_PHRASE, EXTRA_PIECE) * spans.extra
    worth = trust * np.minimum(1.0, np.sqrt(WORD_S / np.maximum(length, 0.1)))
    spread = np.where(several, LENGTH_SD_OF_PHRASE, LENGTH_SD)
    sounds = np.logaddexp(worth * (fits.whole + usual * n_active), -ODD_SAYING)
    whole = sounds + _length(said, expected, spread) - extra
    broken = worth * (fits.broken + usual * n_active) + _length(said, expected * fits.reached, spread) - extra
    return whole, broken


def _rate(said: Reals, length: Reals, asked: tuple[Candidates, list[PhoneModel]]) -> float:
    """How long this speaker's sounds are against the usual.

    Words: the median over single pieces of a likely length. Phrases, whose pieces are parts of them: all sound together
    over all that was asked for.
    """
    spans, models = asked
    if all(c.n_words > 1 for c in models):
        _, at = np.unique(np.where(spans.extra == 0, spans.piece, -1), return_index=True)
        sounding = float(said[at][spans.extra[at] == 0].sum())
        return float(np.clip(sounding / sum(c.length_s for c in models), 0.75, 1.5))
    ratio = said / np.maximum(length, 0.01)
    likely = (spans.extra == 0) & (ratio > 0.4) & (ratio < 2.5)
    return float(np.clip(median(ratio[likely]), 0.6, 1.8)) if likely.any() else 1.0


def _length(said: Reals, expected: Reals, spread: Reals) -> Reals:
    far = np.where(expected > 0, np.log(np.maximum(said, 0.01) / np.maximum(expected, 0.05)), 0.0) / spread
    return np.asarray(np.maximum(-0.5 * far**2, -LENGTH_WORTH))


def _likeness(features: Features, frames: Ints, spans: Candidates) -> tuple[Array, Ints]:
    """Evidence (k, i, 2) that a span says again what one of the spans just before it said: alike, and about as long.

    Log odds, and the distance as a share of the median of neighbours. With it which of them that is most likely,
    (k, i, 2), -1 where there is none.
    """
    pairs = sorted({(int(i), int(k)) for i, k in zip(spans.piece, spans.extra, strict=True) if k < 3})
    at = {pair: row for row, pair in enumerate(pairs)}
    drawn = portraits(features, [(int(frames[i, 0]), int(frames[i + k, 1])) for i, k in pairs])
    compared = [
        (at[last - before, before], row, k, i)
        for (i, k), row in at.items()
        for last in range(i - 1, max(-1, i - 4), -1)
        for before in range(3)
        if (last - before, before) in at
    ]
    shape = (spans.longest, len(frames))
    out, like = np.full((*shape, 2), (LIKENESS_LIMITS[0], 1.0)), np.full((*shape, 2), -1)
    if not compared:
        return out, like
    left, right, extra, piece = np.array(compared).T
    found = distances(drawn[left], drawn[right])
    usual = (median(found) * found.size + USUAL_DISTANCE_DB * DISTANCES_HELD) / (found.size + DISTANCES_HELD)
    far = np.maximum(found / usual, 0.25)
    ratio = _log_normal(far, *SAME_WORD) - _log_normal(far, *OTHER_WORD)
    length = np.log([max(2, int(frames[i + k, 1] - frames[i, 0]) - 2 * PAD_FRAMES) for i, k in pairs])
    longer = length[right] - length[left]
    ratio += _log_normal(longer, 0.0, AGAIN_SD) - _log_normal(longer, 0.0, ANY_SD)
    order = np.argsort(ratio, kind="stable")
    out[extra[order], piece[order]] = np.stack([np.clip(ratio, *LIKENESS_LIMITS), far], axis=1)[order]
    like[extra[order], piece[order]] = np.array(pairs)[left[order]][:, ::-1]
    return out, like


def _log_normal(x: Reals, mean: float, spread: float) -> Reals:
    return np.asarray(-0.5 * ((x - mean) / spread) ** 2 - np.log(spread))
