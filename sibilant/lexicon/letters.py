"""Which letters of a spelling stand for a sibilant, for pictures and practice sheets."""

from __future__ import annotations

import re

from ..terms import Prompt

_LETTERS = {
    "S": r"ss|sc(?=[eiy])|s|c(?=[eiy'])|z|x",
    "Z": r"zz|ss|z|s|x",
    "SH": r"sh|sch|ss(?=i|u)|ti(?=[oae])|c[ie](?=[aeo])|si(?=o)|ch|s(?=u)",
    "ZH": r"si(?=o)|s(?=u)|g|z|j",
    "CH": r"tch|ch|t(?=u)|c|t",
    "JH": r"dge|dg|j|ge|g|d",
}


def sibilant_letters(prompt: Prompt) -> tuple[tuple[int, int], ...]:
    """Return (start, stop) places in ``prompt.text`` for each slot, in order; (0, 0) where none could be told.

    A left-to-right reading with the commonest spellings of each sound; it serves marking, never measuring.

    Examples
    --------
    >>> from sibilant.lexicon import expect
    >>> [expect("fossil").text[a:b] for a, b in sibilant_letters(expect("fossil"))]
    ['ss']
    """
    text = prompt.text.lower()
    starts = [match.start() for match in re.finditer(r"[\w']+", text)]
    places: list[tuple[int, int]] = []
    place, word_index = 0, -1
    for slot in prompt.slots:
        if slot.word_index != word_index:
            word_index = slot.word_index
            begin = starts[word_index] if word_index < len(starts) else place
            place = max(place, begin)
        found = re.compile(_LETTERS[slot.phone]).search(text, place)
        end = starts[word_index + 1] if 0 <= word_index + 1 < len(starts) else len(text)
        if found is None or found.start() >= end:
            places.append((0, 0))
            continue
        places.append(found.span())
        place = found.end()
    return tuple(places)
