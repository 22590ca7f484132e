"""Phones as people write them: ARPABET with spaces, or IPA in slashes."""

from __future__ import annotations

import unicodedata

from ..errors import LexiconError
from .ipa import VOWELS, ipa_words, phones_of, unknown_signs

CONSONANTS = frozenset([
    "B", "CH", "D", "DH", "F", "G", "HH", "JH", "K", "L", "M", "N", "NG", "P", "R", "S", "SH", "T", "TH", "V", "W",
    "Y", "Z", "ZH",
])  # fmt: skip
ROUNDED_VOWELS = frozenset(["AO", "OW", "OY", "UH", "UW"])

_WAY_OUT = "write ARPABET with spaces (S IY1 L, words divided by |) or IPA in slashes (/siːl/)"


def read_phones(text: str, *, shown_as: str = "") -> tuple[tuple[str, ...], ...]:
    """Read phones given by a person, one tuple of ARPABET phones for each word.

    Parameters
    ----------
    text : str
        ARPABET with spaces and words divided by ``|``, or IPA in slashes with words divided by spaces. IPA may hold
        the whole alphabet with its marks; a sound that English lacks is taken for the phone of its class. A part that
        is empty or ``-`` gives an empty tuple: that word is taken from the dictionary.
    shown_as : str, optional
        What the phones are for, named in an error.

    Raises
    ------
    LexiconError
        When something is not a phone.

    Examples
    --------
    >>> read_phones("S IY1 L")
    (('S', 'IY1', 'L'),)
    >>> read_phones("/ˈsɝkəl/")
    (('S', 'ER1', 'K', 'AH0', 'L'),)
    """
    text = unicodedata.normalize("NFC", text.strip())
    if text.startswith("/"):
        if len(text) < 3 or not text.endswith("/"):
            raise LexiconError(f"phones {text!r}{_of(shown_as)}: IPA needs a slash at both ends; {_WAY_OUT}")
        return tuple(() if part == "-" else _from_ipa(part, shown_as) for part in ipa_words(text[1:-1]))
    return tuple(_from_arpabet(part, shown_as) for part in text.split("|"))


def base(phone: str) -> str:
    """Phone without its stress digit.

    Examples
    --------
    >>> base("IY1")
    'IY'
    """
    return phone.rstrip("012")


def is_vowel(phone: str) -> bool:
    """Whether a phone, with or without stress digit, is a vowel."""
    return base(phone) in VOWELS


def _of(shown_as: str) -> str:
    return f" of {shown_as!r}" if shown_as else ""


def _from_arpabet(part: str, shown_as: str) -> tuple[str, ...]:
    phones = tuple(part.upper().split())
    if phones == ("-",):
        return ()
    wrong = dict.fromkeys(phone for phone in phones if not _is_arpabet(phone))
    if wrong:
        verb = "is not an ARPABET phone" if len(wrong) == 1 else "are not ARPABET phones"
        raise LexiconError(f"phones{_of(shown_as)}: {', '.join(map(repr, wrong))} {verb}; {_WAY_OUT}")
    return phones


def _is_arpabet(phone: str) -> bool:
    return phone in CONSONANTS or (base(phone) in VOWELS and len(phone) - len(base(phone)) <= 1)


def _from_ipa(part: str, shown_as: str) -> tuple[str, ...]:
    unknown = unknown_signs(part)
    if unknown:
        verb = "is" if len(unknown) == 1 else "are"
        raise LexiconError(f"phones /{part}/{_of(shown_as)}: {', '.join(unknown)} {verb} not known; {_WAY_OUT}")
    phones = phones_of(part)
    if not phones:
        raise LexiconError(f"phones /{part}/{_of(shown_as)}: no sound among these signs; {_WAY_OUT}")
    return phones
