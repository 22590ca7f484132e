"""Words of a recording, matched to the prompts in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..terms import Interval, Prompt, Recording, Utterance
from .candidates import candidates
from .frames import coarse_levels
from .match import Costs, Reading, match
from .stretches import find_stretches
from .weigh import weigh

PAD_S = 0.06
SURE = 0.9


@dataclass(frozen=True, slots=True)
class WordSearch:
    """What was found for a list of prompts.

    ``utterances`` in order of time; ``missing`` are the 1-based places of prompts not heard; ``strays`` are stretches
    that match no prompt (coughs, clicks, another person's talk).
    """

    utterances: tuple[Utterance, ...] = ()
    missing: tuple[int, ...] = ()
    strays: tuple[Interval, ...] = ()


def find_words(recording: Recording, prompts: Sequence[Prompt], *, modelled: bool = False) -> WordSearch:
    """Find the words of a recording and match them to the prompts in order."""
    pieces = pieces_s(recording)
    if not prompts or not pieces:
        free = tuple(Utterance(None, 0, 1, _padded(recording, *piece)) for piece in pieces)
        return WordSearch(() if prompts else free, tuple(range(1, len(prompts) + 1)))
    spans = candidates(pieces, prompts)
    reading = match(weigh(recording, pieces, spans, prompts), Costs())
    return _search(recording, pieces, prompts, reading)


def pieces_s(recording: Recording) -> list[tuple[float, float]]:
    """Stretches of sound, in seconds."""
    levels = coarse_levels(recording)
    return [
        (max(0.0, levels.start_s + s.first * levels.hop_s), levels.start_s + s.last * levels.hop_s)
        for s in find_stretches(levels)
    ]


def _padded(recording: Recording, onset_s: float, offset_s: float) -> Interval:
    return Interval(max(0.0, onset_s - PAD_S), min(recording.duration_s, offset_s + PAD_S))


def _search(
    recording: Recording, pieces: list[tuple[float, float]], prompts: Sequence[Prompt], reading: Reading
) -> WordSearch:
    utterances: list[Utterance] = []
    attempts = [0] * len(prompts)
    counted = [False] * len(prompts)
    for step in reading.steps:
        if step.kind not in ("whole", "broken"):
            continue
        span = slice(step.first, step.last)
        attempts[step.prompt] += 1
        counts = step.kind == "whole" and not counted[step.prompt]
        counted[step.prompt] |= counts
        main = max(range(step.first, step.last), key=lambda k: pieces[k][1] - pieces[k][0])
        belief = float((reading.first if counts else reading.any)[main, step.prompt])
        interval = _padded(recording, pieces[span][0][0], pieces[span][-1][1])
        utterances.append(
            Utterance(
                prompts[step.prompt], step.prompt + 1, attempts[step.prompt], interval,
                confidence=min(1.0, belief), sure=belief >= SURE, counts=counts,
            )
        )  # fmt: skip
    missing = tuple(step.prompt + 1 for step in reading.steps if step.kind == "missing")
    strays = tuple(Interval(*pieces[step.first]) for step in reading.steps if step.kind == "stray")
    return WordSearch(tuple(utterances), missing, strays)
