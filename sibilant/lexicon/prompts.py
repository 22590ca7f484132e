"""A prompt as a person writes it becomes words, phones and expected sibilants."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import Faults, LexiconError
from ..terms import Prompt, SibilantSlot, Word
from ..terms.vocabulary import CUES, LEVELS, TARGETS, Level, Target
from .dictionary import look_up
from .guessing import guessed_word
from .phones import read_phones
from .slots import slots_of

_APOSTROPHES = str.maketrans({"’": "'", "‘": "'", "ʼ": "'", "`": "'"})
LEAST_SENTENCE = 4  # words; fewer without a full stop are a phrase (own choice)
_WAY_OUT = "give its phones, as ARPABET (S IY1 L) or IPA in slashes (/siːl/)"


@dataclass(frozen=True, slots=True)
class Pronunciation:
    """One way to say a prompt: its words with phones, and the sibilants expected then."""

    words: tuple[Word, ...]

    @property
    def phones(self) -> str:
        """ARPABET with spaces, words divided by ``|``; can be given back as the phones of a list."""
        return " | ".join(" ".join(word.phones) for word in self.words)

    @property
    def slots(self) -> tuple[SibilantSlot, ...]:
        """Expected sibilants."""
        return slots_of(self.words)


def expect(
    text: str,
    *,
    phones: str = "",
    target: str = "S",
    level: str | None = None,
    cue: str = "",
    treated: bool | None = None,
    guess: bool = False,
) -> Prompt:
    """Return the prompt with the sibilants expected in it.

    The first pronunciation of the dictionary is taken unless ``phones`` are given (words divided by ``|`` in ARPABET,
    by spaces in IPA; a part that is ``-`` is taken from the dictionary).

    Parameters
    ----------
    text : str
        A word, phrase or sentence, with or without punctuation.
    phones : str, optional
        ARPABET with spaces, or IPA in slashes.
    target : str, optional
        S, Z, SH, ZH or TH, or the IPA sign. Affricates are slots, never targets; /θ/ is a slot where it is the target.
    level : str, optional
        Kept with the prompt; by default ``level_of`` its words.
    cue, treated : optional
        Kept with the prompt.
    guess : bool
        Guess at words that are not known, and at those said with /s/ or /z/, and mark them, instead of refusing them.

    Returns
    -------
    Prompt
        Its words with their phones, and a slot for every sibilant expected.

    Raises
    ------
    LexiconError
        When a word is not known, holds digits, or has pronunciations that differ in /s/ against /z/ and no phones say
        which is meant; when phones are not phones or don't fit the number of words.
    WordError
        When level or cue is none of the words allowed.

    Notes
    -----
    docs/words_expected.md tells the rules and names the dictionary.

    Examples
    --------
    >>> [(s.phone, s.position, s.cluster) for s in expect("Six socks").slots]
    [('S', 'initial', ''), ('S', 'final', 'ks'), ('S', 'initial', ''), ('S', 'final', 'ks')]
    >>> expect("sill", phones="/sɪl/").phones
    ('S', 'IH1', 'L')
    """
    tidy = " ".join(text.split())
    if phones.strip():
        words = _given(tidy, phones)
    elif guess:
        words = tuple(_sole_or_guess(spelling) for spelling in _spellings(tidy))
    else:
        words = _soles([(spelling, ()) for spelling in _spellings(tidy)])
    stated = LEVELS.read_or_empty(level) if level is not None else level_of(tidy, words)
    said = stated, CUES.read_or_empty(cue), _target(target)
    return Prompt(tidy, words, slots_of(words, said[2]), *said, treated)


def level_of(text: str, words: Sequence[Word]) -> Level:
    """Level of a prompt whose list does not say: one word, a phrase, or a sentence.

    Four words or more, or several with a stop at their end, are a sentence (own rule).

    Examples
    --------
    >>> [expect(text).level for text in ("seal", "six socks", "Sue sings.", "the sun sets at six")]
    ['word', 'phrase', 'sentence', 'sentence']
    """
    if len(words) < 2:
        return "word"
    return "sentence" if len(words) >= LEAST_SENTENCE or text[-1:] in ".!?" else "phrase"


def pronunciations(text: str, *, phones: str = "") -> tuple[Pronunciation, ...]:
    """All pronunciations known for a text; the first is the one taken.

    In a phrase the others follow word by word: each other pronunciation of one word, the rest by their first.

    Raises
    ------
    LexiconError
        When a word is not in the dictionary.

    Examples
    --------
    >>> [p.phones for p in pronunciations("use")]
    ['Y UW1 S', 'Y UW1 Z']
    """
    tidy = " ".join(text.split())
    if phones.strip():
        return (Pronunciation(_given(tidy, phones)),)
    known = [[Word(spelling, each) for each in _known(spelling)] for spelling in _spellings(tidy)]
    first = tuple(choices[0] for choices in known)
    others = [(*first[:i], other, *first[i + 1 :]) for i, choices in enumerate(known) for other in choices[1:]]
    return tuple(Pronunciation(words) for words in (first, *others))


def voicing_differs(choices: Sequence[Sequence[str]]) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """Return the first two pronunciations that differ in /s/ against /z/, or None.

    Examples
    --------
    >>> voicing_differs([("Y", "UW1", "S"), ("Y", "UW1", "Z")])
    (('Y', 'UW1', 'S'), ('Y', 'UW1', 'Z'))
    """
    first = tuple(choices[0]) if choices else ()
    for other in choices[1:]:
        here, there = Counter(first), Counter(other)
        if (here["S"] - there["S"]) * (here["Z"] - there["Z"]) < 0 or _swapped(first, other):
            return first, tuple(other)
    return None


def _swapped(first: Sequence[str], other: Sequence[str]) -> bool:
    """Whether the order of /s/ and /z/ differs though their counts agree."""
    orders = [[phone for phone in phones if phone in ("S", "Z")] for phones in (first, other)]
    return len(orders[0]) == len(orders[1]) and orders[0] != orders[1]


def _target(target: str) -> Target:
    found = "S" if target.strip().lower() in ("", "none") else TARGETS.find(target)
    if found is None:
        raise LexiconError(
            f"target {target!r}: a target is s, z, sh, zh or th (affricates are found, but never targets)"
        )
    return found


def _spellings(text: str) -> list[str]:
    """Spellings of the words of a text, lower case, punctuation off, hyphens split unless the dictionary has them."""
    folded = unicodedata.normalize("NFKD", text.translate(_APOSTROPHES).lower())
    folded = "".join(letter for letter in folded if not unicodedata.combining(letter))
    found: list[str] = []
    for piece in re.sub(r"[–—…/]|\.\.\.", " ", folded).split():
        bare = re.sub(r"^[^\w']+|[^\w']+$", "", piece)
        if "_" in bare:
            raise LexiconError(f"{text!r} has a blank in it; fill in the word first")
        if any(letter.isdigit() for letter in bare):
            raise LexiconError(f"{text!r} holds the number {bare!r}; write numbers as words (six)")
        whole = bare if look_up(bare) else bare.strip("'") if look_up(bare.strip("'")) else ""
        found.extend([whole] if whole else [part.strip("'") for part in bare.split("-")])
    found = [spelling for spelling in found if spelling]
    if not found:
        raise LexiconError(f"{text!r} holds no word; give a word, a phrase or a sentence")
    return found


def _known(spelling: str) -> tuple[tuple[str, ...], ...]:
    choices = look_up(spelling)
    if not choices:
        raise LexiconError(f"{spelling!r} is not in the pronouncing dictionary; {_WAY_OUT}")
    return choices


def _soles(spellings: Sequence[tuple[str, tuple[str, ...]]]) -> tuple[Word, ...]:
    """Words with the phones given, or else the dictionary's; all that are not known are named."""
    faults, words = Faults(), []
    for spelling, phones in spellings:
        with faults.gathered():
            words.append(Word(spelling, phones) if phones else _sole(spelling))
    faults.let_out()
    return tuple(words)


def _sole(spelling: str) -> Word:
    choices = _known(spelling)
    if pair := voicing_differs(choices):
        one, other = (" ".join(each) for each in pair)
        raise LexiconError(
            f"{spelling!r} is said with /s/ or /z/ ({one}, or {other}); say which is meant by its phones"
        )
    return Word(spelling, choices[0])


def _sole_or_guess(spelling: str) -> Word:
    choices = look_up(spelling)
    if not choices:
        return guessed_word(spelling)
    return Word(spelling, choices[0], guessed=voicing_differs(choices) is not None)


def _given(text: str, phones: str) -> tuple[Word, ...]:
    given = read_phones(phones, shown_as=text)
    pieces = text.split()
    if len(given) == 1 and len(pieces) > 1:
        raise LexiconError(f"phones of {text!r}: one word given for {len(pieces)}; divide words by | (IPA: by a space)")
    try:
        spellings = _spellings(text)
    except LexiconError:
        spellings = pieces
    if len(spellings) != len(given):
        spellings = pieces
    if len(spellings) != len(given):
        raise LexiconError(f"phones of {text!r}: {len(given)} words given for {len(spellings)}; one part for each word")
    return _soles(list(zip(spellings, given, strict=True)))
