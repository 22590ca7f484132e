"""A guess at how a word that no dictionary holds is said, so that the words beside it can still be placed.

Endings are taken off and compounds parted where the rest is in the dictionary; what is left is read letter by letter
with the commonest English spellings (common practice, no source). A guess is marked as one wherever it goes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..terms import Word
from ..terms.vocabulary import SIBILANTS
from .dictionary import look_up

_SPELLINGS: tuple[tuple[str, str], ...] = (
    ("tch", "CH"), ("sch", "S K"), ("eigh", "EY"), ("igh", "AY"), ("ough", "AO"), ("augh", "AO"), ("dge", "JH"),
    ("tion", "SH AH N"), ("sion", "ZH AH N"), ("ssion", "SH AH N"), ("cious", "SH AH S"), ("tious", "SH AH S"),
    ("ture", "CH ER"), ("sure", "ZH ER"), ("shi", "SH IY"), ("xi", "SH IY"), ("zh", "JH"), ("sh", "SH"), ("ch", "CH"),
    ("th", "TH"), ("ph", "F"), ("wh", "W"), ("kn(?=[aeiouy])", "N"), ("ck", "K"), ("ng", "NG"), ("qu", "K W"),
    ("q", "CH"), ("sc(?=[eiy])", "S"), ("ss", "S"), ("zz", "Z"), ("ll", "L"), ("tt", "T"), ("pp", "P"), ("bb", "B"),
    ("dd", "D"), ("gg", "G"), ("ff", "F"), ("mm", "M"), ("nn", "N"), ("rr", "R"), ("cc(?=[eiy])", "K S"), ("cc", "K"),
    ("ai|ay|ei|ey", "EY"), ("au|aw", "AO"), ("ee|ea|ie", "IY"), ("oa|oe", "OW"), ("oo|ui|ue", "UW"), ("oi|oy", "OY"),
    ("ou|ow", "AW"), ("ew|eu", "Y UW"), ("ar", "AA R"), ("or", "AO R"), ("er|ir|ur", "ER"), ("c(?=[eiy])", "S"),
    ("g(?=[eiy])", "JH"), ("(?<=[aeiouy])s(?=[aeiouy])", "Z"), ("x", "K S"), ("(?<=.)e(?=s?$)", ""),
    ("a(?=[bcdfgklmnprstvz]e$)", "EY"), ("i(?=[bcdfgklmnprstvz]e$)", "AY"), ("o(?=[bcdfgklmnprstvz]e$)", "OW"),
    ("u(?=[bcdfgklmnprstvz]e$)", "UW"), ("^y(?=[aeiou])", "Y"), ("y$", "IY"), ("a$", "AH"), ("o$", "OW"), ("i$", "IY"),
    ("a", "AE"), ("e", "EH"), ("i", "IH"), ("o", "AA"), ("u", "AH"), ("y", "IH"), ("b", "B"), ("c", "K"), ("d", "D"),
    ("f", "F"), ("g", "G"), ("h", "HH"), ("j", "JH"), ("k", "K"), ("l", "L"), ("m", "M"), ("n", "N"), ("p", "P"),
    ("r", "R"), ("s", "S"), ("t", "T"), ("v", "V"), ("w", "W"), ("z", "Z"),
)  # fmt: skip
_RULES = tuple((re.compile(pattern), phones.split()) for pattern, phones in _SPELLINGS)
_VOICELESS = frozenset({"P", "T", "K", "F", "TH"})
_VOWELS = frozenset({"AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"})
_LEAST_PART = 3  # letters of a stem, or of either half of a compound


def guessed_word(spelling: str) -> Word:
    """Return a word with phones that are a guess, and marked so; without phones where no letter could be read.

    Examples
    --------
    >>> [" ".join(guessed_word(word).phones) for word in ("sandgoose", "musclesoap", "fossilish")]
    ['S AE1 N D G UW1 S', 'M AH1 S AH0 L S OW1 P', 'F AA1 S AH0 L IH1 SH']
    """
    return Word(spelling, tuple(_guess(spelling)), guessed=True)


def _guess(spelling: str) -> list[str]:
    bare = spelling.replace("'", "")
    known = look_up(bare)
    if known:
        return list(known[0])
    for ending in ("s", "ed", "ing"):
        stem = bare.removesuffix(ending)
        if stem != bare and len(stem) >= _LEAST_PART and not stem.endswith("s"):
            return _with_ending(_guess(stem), ending)
    return _compound(bare) or _by_letters(bare)


def _with_ending(stem: Sequence[str], ending: str) -> list[str]:
    """A stem with the plural, past or -ing ending as it is said after it."""
    last = stem[-1].rstrip("012") if stem else ""
    if ending == "ing":
        return [*stem, "IH0", "NG"]
    if ending == "s":
        return [*stem, "AH0", "Z"] if last in SIBILANTS else [*stem, "S" if last in _VOICELESS else "Z"]
    if last in ("T", "D"):
        return [*stem, "AH0", "D"]
    return [*stem, "T" if last in _VOICELESS | {"S", "SH", "CH"} else "D"]


def _compound(bare: str) -> list[str]:
    """Two words of the dictionary written as one, the longest first; empty where there are none."""
    for cut in range(len(bare) - _LEAST_PART, _LEAST_PART - 1, -1):
        first, second = look_up(bare[:cut]), look_up(bare[cut:])
        if first and second:
            return [*first[0], *second[0]]
    return []


def _by_letters(bare: str) -> list[str]:
    """Phones letter by letter, the first vowel stressed; letters that stand for nothing are passed over."""
    phones: list[str] = []
    at = 0
    while at < len(bare):
        found = next(((m, said) for rule, said in _RULES if (m := rule.match(bare, at)) and m.end() > at), None)
        at = found[0].end() if found else at + 1
        phones += found[1] if found else []
    stressed = next((k for k, phone in enumerate(phones) if phone in _VOWELS), -1)
    return [p + ("1" if k == stressed else "0") if p in _VOWELS else p for k, p in enumerate(phones)]
