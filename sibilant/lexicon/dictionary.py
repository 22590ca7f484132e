"""Look-ups in the CMU Pronouncing Dictionary, shipped compact (its licence: ``data/CMUDICT_LICENSE.txt``)."""

from __future__ import annotations

from bisect import bisect_right
from functools import lru_cache
from pathlib import Path

from .packing import find_in_block, read_index

DATA = Path(__file__).parent / "data"


def look_up(word: str) -> tuple[tuple[str, ...], ...]:
    """All pronunciations of one spelling, in the dictionary's order; empty when it is not there.

    Source: The CMU Pronouncing Dictionary, Carnegie Mellon University (open data, North American English).

    Examples
    --------
    >>> look_up("bus")
    (('B', 'AH1', 'S'),)
    >>> look_up("blorft")
    ()
    """
    return _look_up(word.lower())


@lru_cache(maxsize=20_000)
def _look_up(word: str) -> tuple[tuple[str, ...], ...]:
    first_words, index, start, content = _dictionary()
    which = bisect_right(first_words, word) - 1
    if which < 0:
        return ()
    place, length = index[which]
    return tuple(tuple(phones.split()) for phones in find_in_block(content, start + place, length, word))


@lru_cache(maxsize=1)
def _dictionary() -> tuple[list[str], list[tuple[int, int]], int, bytes]:
    content = (DATA / "cmudict.blocks").read_bytes()
    index, start = read_index(content)
    return [first for first, _, _ in index], [(place, length) for _, place, length in index], start, content
