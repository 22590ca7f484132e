"""What a recording showed around each word: taken from an analysis, kept, given to a later measuring of the word."""

from __future__ import annotations

from collections import defaultdict

from .. import store
from ..pipeline import Kept
from ..terms import Surroundings, TokenSupport
from ..terms.clinic import KeptToken
from .heard import HeardRecording


def surroundings_of(each: HeardRecording) -> list[Surroundings]:
    """Return what one recording showed around its words, under their places in the whole list; no other voice's."""
    others = {(one.prompt_index, one.attempt) for one in each.analysis.utterances if one.voice == "other"}
    by_word: dict[tuple[int, int], dict[str, TokenSupport]] = defaultdict(dict)
    for name, support in each.analysis.kept.support.items():
        index, attempt, rest = name.split(".", 2)
        if (int(index), int(attempt)) not in others:
            place = each.places[int(index) - 1]
            by_word[place, int(attempt)][f"{place}.{attempt}.{rest}"] = support
    cut = each.analysis.kept.cut
    return [Surroundings(place, attempt, cut, sounds) for (place, attempt), sounds in by_word.items()]


def kept_of(token: KeptToken, around: store.Around) -> Kept | None:
    """Return what the recording showed of a sound, for a measuring of its kept word; None where nothing was kept.

    A sound that a person bounded where the machine found none has the noise of its word.
    """
    word = around.get((token.prompt_index, token.attempt))
    return None if word is None else Kept(word.support, word.cut, word.noise)
