"""Every phone of a prompt placed in what was said, all ways to read the stretch summed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..terms import Interval, PhonePlaces, Recording, Utterance
from .adaptation import RecordingAdaptation, no_adaptation
from .band_templates import CLASSES
from .features import HOP_S, Features, features_near
from .forward_backward import occupancy
from .phrase_model import PhraseModel, phrase_model
from .speaker import COUNTS_AS, adaptation_of
from .viterbi import emissions, loudness

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SCALES = (0.8, 0.9, 1.0, 1.12, 1.25)
ROUNDS = 2
# Frames 10 ms apart say much the same thing: how much of their evidence is believed when a place is doubted.
DOUBTING = 0.2
SURE_ENOUGH = 0.6
READER = "sibilant-bands/1"
"""Name and version of the rules that match words and phones to sound; a change of what they give raises the version."""
AROUND_S = 0.15
MOST_CELLS = 1_000_000
SOUNDING_DB, SOUNDING_OVER_DB = 26.0, 9.0
TURN_COST, TURN_SHARE, TURN_LEAST_S, TURN_MOST = 0.15, 0.15, 0.12, 4.0


def place_phones(recording: Recording, utterances: Sequence[Utterance]) -> tuple[PhonePlaces | None, ...]:
    """Place every phone of each phrase or sentence; None for single words, and for what is longer than a few minutes.

    The speaker's formant scale is the one under which all utterances together are likeliest; then twice the shapes of
    the sounds are moved to what the recording itself shows (each class worth ten frames beforehand), and the phones
    placed again.

    Parameters
    ----------
    recording : Recording
        At any rate.
    utterances : sequence of Utterance
        Attempts at prompts, such as ``find_words`` gives.

    Returns
    -------
    tuple of PhonePlaces or None
        In the order of the utterances.

    Examples
    --------
    >>> from sibilant import expect, synthetic
    >>> from sibilant.audio import recording_from_samples
    >>> from sibilant.words import find_words
    >>> prompt = expect("six straws", phones="- | S T R AO1 Z", level="phrase")
    >>> said = synthetic.probe([prompt], synthetic.woman(7), seed=7)  # Invented data – not a person
    >>> recording = recording_from_samples(said.samples, said.sampling_rate_hz)
    >>> (places,) = place_phones(recording, find_words(recording, [prompt]).utterances)
    >>> places.n_phones, bool((places.said > 0.5).all())
    (9, True)
    """
    models = [_model(utterance) for utterance in utterances]
    asked = [(u.interval, model) for u, model in zip(utterances, models, strict=True) if model is not None]
    if not asked:
        return (None,) * len(utterances)
    features = features_near(recording, [(i.onset_s, i.offset_s) for i, _ in asked])
    ranges = [_frames(features, interval) for interval, _ in asked]
    placed = iter(_placed(features, ranges, [model for _, model in asked]))
    return tuple(None if model is None else next(placed) for model in models)


def _model(utterance: Utterance) -> PhraseModel | None:
    words = utterance.prompt.words if utterance.prompt is not None else ()
    if len(words) < 2 or not all(word.phones for word in words):
        return None
    model = phrase_model(tuple(word.phones for word in words))
    return model if utterance.interval.duration_s / HOP_S * model.kind.size < MOST_CELLS else None


def _frames(features: Features, interval: Interval) -> tuple[int, int]:
    first = features.frame(interval.onset_s - AROUND_S)
    return first, max(first + 1, features.frame(interval.offset_s + AROUND_S))


def _placed(features: Features, ranges: list[tuple[int, int]], models: list[PhraseModel]) -> list[PhonePlaces]:
    def read(scale: float, adaptation: RecordingAdaptation, worth: float = 1.0) -> list[tuple[Floats, Floats, float]]:
        score = emissions(features, scale, adaptation).score.astype(np.float64)
        asked = zip(ranges, models, turns, strict=True)
        return [
            occupancy(worth * (score[first:last][:, model.kind] - turn), model) for (first, last), model, turn in asked
        ]

    turns = [_turns(features, first, last, model) for (first, last), model in zip(ranges, models, strict=True)]
    tried = [read(scale, no_adaptation()) for scale in SCALES]
    best = int(np.argmax([sum(found[2] for found in each) for each in tried]))
    found = tried[best]
    for _ in range(ROUNDS):
        adaptation = adaptation_of(features, SCALES[best], *_learnt_from(found, ranges, models))
        found = read(SCALES[best], adaptation)
    loose = read(SCALES[best], adaptation, DOUBTING)
    return [_by_phone(features, *each) for each in zip(found, loose, ranges, models, strict=True)]


def _turns(features: Features, first: int, last: int, model: PhraseModel) -> Floats:
    """Cost of each unit in each frame (n, u): how far it is from its turn, by ordinary lengths, in sounding time.

    Pauses take no sounding time, so that a halting speaker's later words are not thrown out by them.
    """
    total, peak, over = (part[first:last] for part in loudness(features))
    sounding = (total > peak - SOUNDING_DB) & (over > SOUNDING_OVER_DB)
    clock = np.cumsum(sounding, dtype=np.float64)
    length = np.where(model.phone >= 0, model.frames, 0.0)
    turn = np.cumsum(length) - length / 2
    away = clock[:, None] / max(clock[-1], 1.0) - turn[None, :] / max(length.sum(), 1.0)
    spread = max(TURN_SHARE, TURN_LEAST_S / HOP_S / max(clock[-1], 1.0))
    return np.asarray(TURN_COST * np.minimum((away / spread) ** 2, TURN_MOST))


def _learnt_from(
    found: list[tuple[Floats, Floats, float]], ranges: list[tuple[int, int]], models: list[PhraseModel]
) -> tuple[Ints, Ints]:
    """Frames that one unit holds for sure, and its class."""
    index = {name: k for k, name in enumerate(CLASSES)}
    counts_as = {k: k for k in range(len(CLASSES))} | {k: index[name] for k, name in COUNTS_AS.items()}
    rows, kinds = [], []
    for (weight, _, _), (first, _), model in zip(found, ranges, models, strict=True):
        held = weight.argmax(axis=1)
        for t in np.flatnonzero(weight.max(axis=1) > SURE_ENOUGH):
            kind = counts_as.get(int(model.kind[held[t]]))
            if kind is not None:
                rows.append(first + int(t))
                kinds.append(kind)
    return np.array(rows, np.int64), np.array(kinds, np.int64)


def _by_phone(
    features: Features,
    found: tuple[Floats, Floats, float],
    loose: tuple[Floats, Floats, float],
    span: tuple[int, int],
    model: PhraseModel,
) -> PhonePlaces:
    """Sum the units of each phone."""
    weight, doubted = np.zeros((2, model.n_phones, found[0].shape[0]), dtype=np.float32)
    said = np.zeros(model.n_phones, dtype=np.float32)
    for unit, phone in enumerate(model.phone):
        if phone >= 0:
            weight[phone] += found[0][:, unit].astype(np.float32)
            doubted[phone] += loose[0][:, unit].astype(np.float32)
            said[phone] = max(said[phone], np.float32(found[1][unit]))
    start_s = float(features.clock[span[0]]) * HOP_S if features.n_frames > span[0] else 0.0
    return PhonePlaces(start_s, HOP_S, weight, doubted, said, READER)
