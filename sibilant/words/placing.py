"""Every phone of a prompt placed in what was said, all ways to read the stretch summed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..terms import Interval, PhonePlaces, Recording, Utterance
from .forward_backward import occupancy
from .phrase_model import PhraseModel, hiss_log_odds, phrase_model, state_scores
from .sound_model import HOP_S, SILENCE, over_prior, sound_scores

Float32s = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

READER = "sibilant-sounds/6"
"""Name and version of the rules that match words and phones to sound; a change of what they give raises the version."""
# How much of the evidence is believed when a place is doubted.
DOUBTING = 0.2
# Chosen on invented probes (docs/words.md), where no other origin is named.
CLEARLY_SAID = 0.99  # probability from which on nobody asks whether a sibilant was left out
AROUND_S = 0.15  # a word is read with so much sound around it
MOST_CELLS = 1_000_000  # frames times states above which a phrase is not read, for memory


def place_phones(recording: Recording, utterances: Sequence[Utterance]) -> tuple[PhonePlaces | None, ...]:
    """Place every phone of each phrase or sentence; None for single words, and for what is longer than a few minutes.

    Each 10 ms get a score for each sound (``sound_model``); all ways through the sounds of the prompt, with pauses
    between words and sounds left out at a cost, are summed forward and backward.

    Parameters
    ----------
    recording : Recording
        At any rate; below 16 kHz the highest bands are not heard.
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
    ranges = [_frames(recording, interval) for interval, _ in asked]
    scores = sound_scores(recording, ranges)
    placed = iter([_placed(s, first, m) for s, (first, _), (_, m) in zip(scores, ranges, asked, strict=True)])
    return tuple(None if model is None else next(placed) for model in models)


def _model(utterance: Utterance) -> PhraseModel | None:
    words = utterance.prompt.words if utterance.prompt is not None else ()
    if len(words) < 2 or not all(word.phones for word in words):
        return None
    model = phrase_model(tuple(word.phones for word in words))
    return model if utterance.interval.duration_s / HOP_S * model.kind.size < MOST_CELLS else None


def _frames(recording: Recording, interval: Interval) -> tuple[int, int]:
    first = max(0, int((interval.onset_s - AROUND_S) / HOP_S))
    last = int(min(recording.duration_s, interval.offset_s + AROUND_S) / HOP_S) + 1
    return first, max(first + 1, last)


def _placed(sounds: Float32s, first: int, model: PhraseModel) -> PhonePlaces:
    """Sum the units of each phone, the evidence believed and doubted."""
    ratios = over_prior(sounds)
    own = state_scores(ratios)[:, model.kind]
    found, said, _ = occupancy(own, model)
    loose = occupancy(DOUBTING * own, model)[0]
    some = _said_somehow(ratios, said, model)
    weight, doubted = np.zeros((2, model.n_phones, len(own)), dtype=np.float32)
    was_said, somehow = np.zeros((2, model.n_phones), dtype=np.float32)
    for unit, phone in enumerate(model.phone):
        if phone >= 0:
            weight[phone], doubted[phone] = found[:, unit], loose[:, unit]
            was_said[phone], somehow[phone] = said[unit], some[unit]
    return PhonePlaces(first * HOP_S, HOP_S, weight, doubted, was_said, somehow, hiss_log_odds(sounds), READER)


def _said_somehow(ratios: Float32s, said: Floats, model: PhraseModel) -> Floats:
    """Probability (u,) that each unit was said, a sibilant also as /θ f/; asked only where one may be left out."""
    hisses = (model.kind > SILENCE) & (model.phone >= 0)
    if not hisses.any() or said[hisses].min() > CLEARLY_SAID:
        return said
    return np.where(hisses, occupancy(state_scores(ratios, faint=True)[:, model.kind], model)[1], said)
