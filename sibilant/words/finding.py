"""A recording and prompts in their order come in; utterances, prompts not heard and strays go out.

What is less than sure says so, since a word in the wrong place spoils a client's figure unseen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..levels.coarse import coarse_levels
from ..terms import Interval, Prompt, Recording, Utterance, Voice
from ..terms.vocabulary import CUES_WITH_MODEL
from .adaptation import RecordingAdaptation, no_adaptation
from .candidates import candidates
from .lattice import Evidence, Reading, Step, decode
from .likelihoods import Scoring, adapted_by, evidence_of, scoring
from .phone_model import phone_model
from .search import LARGE, MANY_PROMPTS, Piece, WordSearch, in_blocks
from .stretches import find_stretches, joined_s
from .voices import EVIDENCE_LIMIT, VoiceEvidence, spread, too_little_voice, voice_evidence

# Chosen on invented probes (docs/words.md), where no other origin is named.
PAD_S = 0.06  # added on either side of a word, for soft onsets that the pieces of sound leave out
SURE, SURE_OF_TWO, SURE_TAKEN_UP = 0.96, 0.97, 0.90
"""Probability below which a match is called unsure: alone at its prompt, or that a prompt was not said; with a later
one at it; after a start broken off. How often each was wrong is in docs/words.md."""
BROKEN_SHARE, DOUBT_SHARE = 0.6, 0.75
"""A saying with less than this share of its phones is broken off; up to the second it is doubtful."""
JOIN_FREE_S = 0.28  # pieces nearer than this are one saying where no list is known
JOIN_IN_PHRASE_S = 0.25  # pieces of a phrase are joined over pauses up to this
RELEASE_GAP_S, RELEASE_S = 0.20, 0.20  # a piece so soon after a word and no longer than this is its last stop let go
PHRASE_END_GAP_S, PHRASE_END_S = 0.35, 0.30  # the same after a phrase


def find_words(recording: Recording, prompts: Sequence[Prompt], *, modelled: bool = False) -> WordSearch:
    """Find the words of a recording and match them to the prompts in order.

    Stretches where the louder of a low and a high envelope stands over the local noise floor are weighed against the
    sounds and length of each prompt, and all ways to read them in order are summed: first attempts, repeats, false
    starts, prompts not said, and stretches that are no prompt. A word whose place in the list is less than 96 %
    probable is marked ``sure=False`` (97 % where it was said again, 90 % after a start broken off); nothing is shifted
    in silence.

    Parameters
    ----------
    recording : Recording
        At any rate.
    prompts : sequence of Prompt
        In the order spoken; none gives plain stretches with ``prompt`` None.
    modelled : bool
        Pairs are expected, and the first of each is another's voice.

    Returns
    -------
    WordSearch
        ``counts`` marks the first whole attempt by the client at each prompt. With a cue level that has a model, and
        not ``modelled``, voices are ``unsure`` and nothing counts until a person says whose they are.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> find_words(Recording(np.zeros(16000, np.float32), 16000, Source("silence", "")), [Prompt("sun")]).missing
    (1,)
    """
    pieces = pieces_s(recording)
    if not prompts:
        free = joined_s(pieces, JOIN_FREE_S)
        return WordSearch(tuple(Utterance(None, 0, 1, _padded(recording, piece)) for piece in free))
    if all(len(prompt.words) > 1 for prompt in prompts):
        pieces = joined_s(pieces, JOIN_IN_PHRASE_S)
    if not pieces:
        return WordSearch(missing=tuple(range(1, len(prompts) + 1)))

    def search(part: list[Piece], asked: Sequence[Prompt], open_end: bool) -> WordSearch:  # noqa: FBT001
        return _searched(recording, part, asked, modelled=modelled, open_end=open_end)

    if len(prompts) > MANY_PROMPTS and len(pieces) * len(prompts) > LARGE:
        return in_blocks(search, pieces, prompts)
    return _not_empty_handed(recording, search(pieces, prompts, False), prompts, modelled=modelled)


def _not_empty_handed(
    recording: Recording, found: WordSearch, prompts: Sequence[Prompt], *, modelled: bool
) -> WordSearch:
    """Where one prompt was asked and only sound unlike it is there, take all of it as the prompt, unsure."""
    if modelled or len(prompts) != 1 or found.utterances or not found.strays:
        return found
    whole = _padded(recording, (found.strays[0].onset_s, found.strays[-1].offset_s))
    cued = has_model(prompts[0])
    voice: Voice = "unsure" if cued else "client"
    taken = Utterance(prompts[0], 1, 1, whole, confidence=0.0, voice=voice, sure=False, counts=not cued)
    return WordSearch((taken,))


def _searched(
    recording: Recording, pieces: list[Piece], prompts: Sequence[Prompt], *, modelled: bool, open_end: bool
) -> WordSearch:
    """Match pieces with prompts, twice: the second time with the adaptation learnt from the words that are sure."""
    if not prompts:
        return WordSearch(strays=tuple(Interval(*piece) for piece in pieces))
    voices = voice_evidence(recording, pieces, modelled=modelled)
    asked = scoring(recording, pieces, candidates(pieces, prompts), prompts)

    def read(by: Scoring, adaptation: RecordingAdaptation, before: Evidence | None) -> tuple[Reading, Evidence]:
        """Where pairs are expected, the lower or the higher voice models: whichever lets the list be read better."""
        found = evidence_of(by, adaptation, before)
        evidence = replace(found, open_end=open_end)
        signs = (1.0, -1.0) if modelled and voices.lower.any() else (1.0,)
        readings = [decode(_with_voices(evidence, voices, prompts, models=s if modelled else 0.0)) for s in signs]
        return max(readings, key=lambda reading: reading.weight), found

    first, found = read(asked, no_adaptation(), None)
    reading, _ = read(*adapted_by(asked, _trusted(first, modelled=modelled)), found)
    return _Search(recording, pieces, tuple(prompts), voices, modelled).read(reading)


def pieces_s(recording: Recording) -> list[Piece]:
    """Stretches of sound, in seconds."""
    levels = coarse_levels(recording)
    return [
        (max(0.0, levels.start_s + s.first * levels.hop_s), levels.start_s + s.last * levels.hop_s)
        for s in find_stretches(levels)
    ]


def has_model(prompt: Prompt) -> bool:
    """Whether a prompt's cue level has another person say the word first.

    Examples
    --------
    >>> has_model(Prompt("sun", cue="M+")), has_model(Prompt("sun", cue="S"))
    (True, False)
    """
    return prompt.cue in CUES_WITH_MODEL


def _with_voices(evidence: Evidence, voices: VoiceEvidence, prompts: Sequence[Prompt], *, models: float) -> Evidence:
    """Another's voice, by pitch and by what its sounds leave over, speaks for a stray.

    Where pairs are expected the pitch speaks for the first of each, and nothing is said of strays.

    ``models`` is 1 where the lower voice models, -1 where the higher does, 0 where no pairs are expected.
    """
    has_vowel = np.array([phone_model(prompt).voiced for prompt in prompts])
    whole = evidence.whole + too_little_voice(voices.n_voiced, evidence.shape[0])[:, :, None] * has_vowel
    if not models:
        other = np.clip(voices.other + evidence.stray, -EVIDENCE_LIMIT, EVIDENCE_LIMIT)
        return replace(evidence, whole=whole, stray=np.maximum(other, 0.0), other=spread(other, evidence.shape[0]))
    model = models * voices.lower[None, :, None]
    shape = (*whole.shape[:2], 2 * whole.shape[2])
    both, broken = np.empty(shape), np.full(shape, -1e9)
    both[:, :, 0::2] = whole + model
    both[:, :, 1::2] = whole - model
    broken[:, :, 1::2] = evidence.broken - model
    same = np.repeat(evidence.same, 2, axis=2)
    return replace(evidence, whole=both, broken=broken, same=same, stray=np.zeros_like(evidence.stray))


def _trusted(reading: Reading, *, modelled: bool) -> list[tuple[int, int, int]]:
    """Spans of the client's whole attempts that the first reading is sure of."""
    return [
        (step.first, step.last, step.prompt // 2 if modelled else step.prompt)
        for step in reading.steps
        if step.kind == "whole"
        and (step.prompt % 2 or not modelled)
        and reading.any[step.first : step.last, step.prompt].max() >= SURE
    ]


def _padded(recording: Recording, piece: Piece) -> Interval:
    onset = max(0.0, min(piece[0], recording.duration_s) - PAD_S)
    return Interval(onset, max(onset, min(recording.duration_s, piece[1] + PAD_S)))


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What is needed to write a reading down as utterances."""

    recording: Recording
    pieces: list[Piece]
    prompts: tuple[Prompt, ...]
    voices: VoiceEvidence
    modelled: bool

    def read(self, reading: Reading) -> WordSearch:
        """Number the attempts and choose the one that counts: the first whole one by the client."""
        said = ("whole", "broken", "other")
        utterances = [self._utterance(step, reading) for step in reading.steps if step.kind in said]
        numbered, left = self._with_releases(self._numbered(utterances), reading)
        heard = {u.prompt_index for u in numbered if u.voice != "other"}
        missing = tuple(k for k in range(1, len(self.prompts) + 1) if k not in heard)
        doubtful = tuple(k for k in missing if self._absence(k, reading) < SURE)
        strays = tuple(Interval(*self.pieces[k]) for k in left)
        return WordSearch(tuple(numbered), missing, strays, doubtful)

    def _with_releases(self, found: list[Utterance], reading: Reading) -> tuple[list[Utterance], list[int]]:
        """Give a short piece left over just after a word to that word: its release, or its last sound."""
        left = [step.first for step in reading.steps if step.kind == "stray"]
        out, kept = list(found), []
        for k in left:
            onset, offset = self.pieces[k]
            before = [n for n, u in enumerate(out) if self._follows(u, onset, offset)]
            if before:
                last = _padded(self.recording, (onset, offset)).offset_s
                interval = out[before[0]].interval
                out[before[0]] = replace(
                    out[before[0]], interval=Interval(interval.onset_s, max(interval.offset_s, last))
                )
            else:
                kept.append(k)
        return out, kept

    def _follows(self, utterance: Utterance, onset_s: float, offset_s: float) -> bool:
        phrase = utterance.prompt is not None and len(utterance.prompt.words) > 1
        gap, longest = (PHRASE_END_GAP_S, PHRASE_END_S) if phrase else (RELEASE_GAP_S, RELEASE_S)
        return -1e-9 <= onset_s - (utterance.interval.offset_s - PAD_S) <= gap and offset_s - onset_s <= longest

    def _absence(self, index: int, reading: Reading) -> float:
        column = 2 * index - 1 if self.modelled else index - 1
        return float(reading.missing[column])

    def _utterance(self, step: Step, reading: Reading) -> tuple[Utterance, Step]:
        place = step.prompt // 2 if self.modelled else step.prompt
        main = max(range(step.first, step.last), key=lambda k: self.pieces[k][1] - self.pieces[k][0])
        first = step.kind == "whole" and not step.repeat
        table = reading.other if step.kind == "other" else reading.first if first else reading.any
        belief = min(1.0, float(table[main, step.prompt]))
        voice = self._voice(step, float(reading.other[main].max(initial=0.0)))
        interval = _padded(self.recording, (self.pieces[step.first][0], self.pieces[step.last - 1][1]))
        prompt = self.prompts[place]
        return Utterance(prompt, place + 1, 1, interval, belief, voice, sure=belief >= SURE), step

    def _voice(self, step: Step, another: float) -> Voice:
        if self.modelled:
            return "client" if step.prompt % 2 else "other"
        if has_model(self.prompts[step.prompt]):
            return "unsure"
        if step.kind == "other":
            return "other"
        return "unsure" if another > 1.0 - SURE else "client"

    def _numbered(self, found: list[tuple[Utterance, Step]]) -> list[Utterance]:
        attempts: dict[int, int] = {}
        counted: set[int] = set()
        begun: set[int] = set()
        found = self._compared(found)
        whole = {u.prompt_index for u, step in found if step.kind == "whole" and u.voice != "other"}
        out = []
        for utterance, step in found:
            index = utterance.prompt_index
            attempts[index] = attempts.get(index, 0) + 1
            may = utterance.voice != "other" and (self.modelled or not has_model(self.prompts[index - 1]))
            counts = may and index not in counted and (step.kind == "whole" or index not in whole)
            if counts:
                counted.add(index)
            taken_up = index in begun and step.kind == "whole" and not step.repeat
            sure = utterance.sure or (taken_up and utterance.confidence >= SURE_TAKEN_UP)
            if step.kind == "broken":
                begun.add(index)
            out.append(replace(utterance, attempt=attempts[index], counts=counts, sure=sure))
        return out

    def _compared(self, found: list[tuple[Utterance, Step]]) -> list[tuple[Utterance, Step]]:
        """Hold each whole attempt against a later one at the same prompt: much shorter, and it was broken off.

        Which of two attempts is the first whole one is harder to tell than that a word was said: more is asked for it.
        """
        out = list(found)
        for k, (utterance, step) in enumerate(found):
            later = [
                u.interval.duration_s - 2 * PAD_S
                for u, s in found[k + 1 :]
                if u.prompt_index == utterance.prompt_index and s.kind == "whole" and u.voice == utterance.voice
            ]
            if step.kind != "whole" or step.repeat or not later:
                continue
            share = (utterance.interval.duration_s - 2 * PAD_S) / max(max(later), 0.01)
            if share < BROKEN_SHARE:
                out[k] = utterance, replace(step, kind="broken")
            elif share < DOUBT_SHARE:
                out[k] = replace(utterance, sure=False, confidence=min(utterance.confidence, 0.5)), step
            elif utterance.confidence < SURE_OF_TWO:
                out[k] = replace(utterance, sure=False), step
        return out
