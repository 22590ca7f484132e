"""Phones as people write them: ARPABET with spaces, or IPA in slashes."""

from __future__ import annotations

import unicodedata

from ..errors import LexiconError

VOWELS = frozenset(["AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"])
CONSONANTS = frozenset(
    [
        "B",
        "CH",
        "D",
        "DH",
        "F",
        "G",
        "HH",
        "JH",
        "K",
        "L",
        "M",
        "N",
        "NG",
        "P",
        "R",
        "S",
        "SH",
        "T",
        "TH",
        "V",
        "W",
        "Y",
        "Z",
        "ZH",
    ]
)
ROUNDED_VOWELS = frozenset(["AO", "OW", "OY", "UH", "UW"])

_IPA: dict[str, tuple[str, ...]] = {
    "tʃ": ("CH",), "ʧ": ("CH",), "dʒ": ("JH",), "ʤ": ("JH",),
    "eɪ": ("EY",), "ei": ("EY",), "aɪ": ("AY",), "ai": ("AY",), "ɔɪ": ("OY",), "ɔi": ("OY",),
    "aʊ": ("AW",), "au": ("AW",), "oʊ": ("OW",), "ou": ("OW",), "əʊ": ("OW",),
    "ɪə": ("IH", "AH"), "eə": ("EH", "AH"), "ɛə": ("EH", "AH"), "ʊə": ("UH", "AH"),
    "ər": ("ER",), "əɹ": ("ER",), "ɜr": ("ER",), "ɜɹ": ("ER",), "ɚ": ("ER",), "ɝ": ("ER",), "ɜ": ("ER",),
    "i": ("IY",), "ɪ": ("IH",), "e": ("EH",), "ɛ": ("EH",), "æ": ("AE",), "a": ("AE",), "ɑ": ("AA",), "ɒ": ("AA",),
    "ɔ": ("AO",), "o": ("OW",), "ʊ": ("UH",), "u": ("UW",), "ʉ": ("UW",), "ʌ": ("AH",), "ə": ("AH",), "ɐ": ("AH",),
    "ɨ": ("IH",), "p": ("P",), "b": ("B",), "t": ("T",), "d": ("D",), "k": ("K",), "ɡ": ("G",), "g": ("G",),
    "ʔ": ("T",), "ɾ": ("D",), "f": ("F",), "v": ("V",), "θ": ("TH",), "ð": ("DH",), "s": ("S",), "z": ("Z",),
    "ʃ": ("SH",), "ʒ": ("ZH",), "h": ("HH",), "m": ("M",), "n": ("N",), "ŋ": ("NG",), "l": ("L",), "ɫ": ("L",),
    "r": ("R",), "ɹ": ("R",), "ɻ": ("R",), "j": ("Y",), "w": ("W",), "ʍ": ("W",),
}  # fmt: skip
_IGNORED = frozenset("ːˑ.‿ʰ˞") | {"\u0361", "\u035c", "\u031a"}
_SYLLABIC = "\u0329"
_WAY_OUT = "write ARPABET with spaces (S IY1 L, words divided by |) or IPA in slashes (/siːl/)"


def read_phones(text: str, *, shown_as: str = "") -> tuple[tuple[str, ...], ...]:
    """Read phones given by a person, one tuple of ARPABET phones for each word.

    Parameters
    ----------
    text : str
        ARPABET with spaces and words divided by ``|``, or IPA in slashes with words divided by spaces. IPA may carry
        length and stress marks, tie bars, syllable dots and r-coloured vowels. A part that is empty or ``-`` gives an
        empty tuple: that word is taken from the dictionary.
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
        return tuple(() if part == "-" else _from_ipa(part, shown_as) for part in text[1:-1].split())
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
    for phone in phones:
        if phone not in CONSONANTS and not (base(phone) in VOWELS and len(phone) - len(base(phone)) <= 1):
            raise LexiconError(f"phones{_of(shown_as)}: {phone!r} is not an ARPABET phone; {_WAY_OUT}")
    return phones


def _from_ipa(part: str, shown_as: str) -> tuple[str, ...]:
    phones: list[str] = []
    stress = ""
    stressed = "ˈ" in part or "ˌ" in part or "'" in part
    letters = "".join(letter for letter in unicodedata.normalize("NFD", part) if letter not in _IGNORED)
    at = 0
    while at < len(letters):
        letter = letters[at]
        if letter in "ˈˌ'":
            stress = "2" if letter == "ˌ" else "1"
            at += 1
        elif letter == _SYLLABIC:
            phones.insert(len(phones) - 1, "AH0")
            at += 1
        else:
            size, found = _longest(letters, at)
            if not found:
                name = unicodedata.name(letter, "unnamed")
                raise LexiconError(f"phones /{part}/{_of(shown_as)}: {letter!r} ({name}) is not known; {_WAY_OUT}")
            for phone in found:
                phones.append(phone + (stress or "0") if phone in VOWELS else phone)
                stress = "" if phone in VOWELS else stress
            at += size
    vowels = [i for i, phone in enumerate(phones) if is_vowel(phone)]
    if not stressed and vowels:
        sole = len(vowels) == 1
        phones = [base(phone) + ("1" if sole else "") if is_vowel(phone) else phone for phone in phones]
    return tuple(phones)


def _longest(letters: str, at: int) -> tuple[int, tuple[str, ...]]:
    """Longest IPA sign at a place; ``ər`` before a vowel stays two sounds."""
    for size in (2, 1):
        sign = letters[at : at + size]
        if len(sign) == size and sign in _IPA:
            if sign in ("ər", "əɹ") and _vowel_letter(letters[at + 2 : at + 3]):
                continue
            return size, _IPA[sign]
    return 0, ()


def _vowel_letter(letter: str) -> bool:
    return letter in _IPA and _IPA[letter][0] in VOWELS
