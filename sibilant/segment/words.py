"""Words of a recording, matched to the prompts in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..terms import Interval, Prompt, Recording, Utterance
from .frames import coarse_levels
from .stretches import find_stretches

PAD_S = 0.06


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
    levels = coarse_levels(recording)
    found = [
        Interval(
            max(0.0, levels.start_s + s.first * levels.hop_s - PAD_S),
            min(recording.duration_s, levels.start_s + s.last * levels.hop_s + PAD_S),
        )
        for s in find_stretches(levels)
    ]
    if not prompts:
        return WordSearch(tuple(Utterance(None, 0, 1, interval) for interval in found))
    sure = len(found) == len(prompts)
    pairs = list(zip(prompts, found, strict=False))
    return WordSearch(
        tuple(Utterance(p, k + 1, 1, interval, sure=sure) for k, (p, interval) in enumerate(pairs)),
        tuple(range(len(pairs) + 1, len(prompts) + 1)),
        tuple(found[len(pairs) :]),
    )
