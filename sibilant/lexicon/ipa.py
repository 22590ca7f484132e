"""The International Phonetic Alphabet, any language's phones, as the ARPABET phone that is nearest to the ear.

The phone decides what is expected in a word: which hiss is a slot, where a vowel, a closure or a faint hiss stands, and
whether lips are rounded. Where English has no such sound the phone of the same acoustic class stands for it.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

VOWELS = frozenset(["AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"])
_SAME = {
    # two letters: diphthongs, affricates (tie bars and diacritics are off by then)
    "EY": "eɪ ei", "AY": "aɪ ai ɑɪ ae", "OY": "ɔɪ ɔi oi ɔʏ", "AW": "aʊ au ɑʊ ao", "OW": "oʊ ou əʊ əu o",
    "CH": "tʃ ʧ tɕ ʨ tʂ ʈʂ cç", "JH": "dʒ ʤ dʑ ʥ dʐ ɖʐ ɟʝ",
    # hisses
    "S": "s", "Z": "z", "SH": "ʃ ʂ ɕ ɧ", "ZH": "ʒ ʐ ʑ",
    # faint hisses
    "F": "f ɸ", "V": "v β ʋ ⱱ ɣ", "TH": "θ ɬ", "DH": "ð ɮ", "HH": "h ɦ ħ ʕ ʜ ʢ x χ ç",
    # closures, with or without voice; clicks by where they are made
    "P": "p ʘ", "B": "b ɓ ʙ", "T": "t ʈ ʔ ǀ ǂ", "D": "d ɖ ɗ ɾ ɽ", "K": "k c q ʡ ǃ ǁ", "G": "ɡ g ɟ ɢ ɠ ʄ ʛ",
    # voice without hiss
    "M": "m ɱ", "N": "n ɳ ɲ", "NG": "ŋ ɴ", "L": "l ɫ ɭ ʎ ʟ ɺ", "R": "r ɹ ɻ ʀ ʁ", "Y": "j ʝ ɰ", "W": "w ʍ ɥ",
    # vowels; the front rounded ones by their rounding, which colours the hiss beside them
    "IY": "i", "IH": "ɪ ɨ ɯ ɿ ʅ", "EH": "e ɛ", "AE": "æ a", "AA": "ɑ ɒ", "AH": "ʌ ə ɐ ɘ ɤ", "AO": "ɔ ɶ",
    "UH": "ʊ ʏ ø œ ɵ ɞ", "UW": "u ʉ y", "ER": "ɚ ɝ ɜ ər əɹ ɜr ɜɹ",
}  # fmt: skip
_SIGNS: dict[str, tuple[str, ...]] = {
    **{sign: (phone,) for phone, signs in _SAME.items() for sign in signs.split()},
    "ʦ": ("T", "S"), "ʣ": ("D", "Z"),
    "ɪə": ("IH", "AH"), "eə": ("EH", "AH"), "ɛə": ("EH", "AH"), "ʊə": ("UH", "AH"),
}  # fmt: skip
_VOICE_ONLY = frozenset(["M", "N", "NG", "L", "R"])
_GLIDES = {"i": "Y", "ɪ": "Y", "y": "W", "u": "W", "ʊ": "W"}
_STRESS = {"ˈ": "1", "'": "1", "ˌ": "2"}
_SYLLABIC, _NOT_SYLLABIC, _CEDILLA, _RHOTIC = frozenset("\u0329\u030d"), "\u032f", "\u0327", "˞"
_PASSED_OVER = frozenset("‿↗↘↑↓ꜛꜜ¹²³⁴⁵⁶")
"""Linking and tones, beside the marks."""
_BREAK, _COLON = ".", ":"


@dataclass(frozen=True, slots=True)
class _Sign:
    """One letter with what is written over, under and behind it, and the stress mark before it."""

    letter: str
    marks: str = ""
    stress: str = ""


def ipa_words(text: str) -> list[str]:
    """Words of a text in IPA: blanks and the bars between groups part them.

    Examples
    --------
    >>> ipa_words("sɪks | sɑks")
    ['sɪks', 'sɑks']
    """
    return text.replace("|", " ").replace("‖", " ").split()


def unknown_signs(word: str) -> list[str]:
    """Signs of a word that are no IPA, each once, with their names.

    Examples
    --------
    >>> unknown_signs("sɪ7")
    ["'7' (DIGIT SEVEN)"]
    """
    strange = dict.fromkeys(sign.letter for sign in _signs(word) if sign.letter not in _SIGNS)
    return [f"'{letter}' ({unicodedata.name(letter, 'unnamed')})" for letter in strange]


def phones_of(word: str) -> tuple[str, ...]:
    """ARPABET phones of a word in IPA, vowels with stress digits; ``word`` holds no unknown sign.

    A sole vowel is stressed; of several without a mark none says so.

    Examples
    --------
    >>> phones_of("ˈʂtɔsɨ"), phones_of("ɕi")
    (('SH', 'T', 'AO1', 'S', 'IH0'), ('SH', 'IY1'))
    """
    signs = _signs(word)
    phones: list[str] = []
    stress, at = "", 0
    while at < len(signs):
        size, found = _longest(signs, at)
        stress = next((sign.stress for sign in signs[at : at + size] if sign.stress), stress)
        for phone in found:
            phones.append(phone + (stress or "0") if phone in VOWELS else phone)
            stress = "" if phone in VOWELS else stress
        at += size
    vowels = [i for i, phone in enumerate(phones) if phone[-1].isdigit()]
    if not any(sign.stress for sign in signs):
        for i in vowels:
            phones[i] = phones[i][:-1] + ("1" if len(vowels) == 1 else "")
    return tuple(phones)


def _signs(word: str) -> list[_Sign]:
    """Letters of a word, their marks drawn to them."""
    signs: list[_Sign] = []
    stress = ""
    for letter in unicodedata.normalize("NFD", word):
        if letter in _STRESS:
            stress = _STRESS[letter]
        elif _is_mark(letter):
            if signs:
                signs[-1] = _marked(signs[-1], letter)
        elif letter not in _PASSED_OVER:
            signs.append(_Sign(letter, stress=stress))
            stress = ""
    return signs


def _is_mark(letter: str) -> bool:
    """Whether a sign belongs to the letter before it: over, under, raised, length, tone bars, r-colour."""
    return letter in (_BREAK, _COLON) or unicodedata.category(letter) in ("Mn", "Lm", "Sk")


def _marked(sign: _Sign, mark: str) -> _Sign:
    if sign.letter == "c" and mark == _CEDILLA:
        return _Sign("ç", sign.marks, sign.stress)
    return _Sign(sign.letter, sign.marks + mark, sign.stress)


def _longest(signs: list[_Sign], at: int) -> tuple[int, tuple[str, ...]]:
    """Longest sign at a place, and its phones; ``ər`` before a vowel stays two sounds, as do two syllables' vowels."""
    first, rest = signs[at], signs[at + 1 : at + 2]
    pair = first.letter + "".join(sign.letter for sign in rest)
    apart = bool(rest and rest[0].stress) or _BREAK in first.marks or _two_sounds(pair, signs[at + 2 : at + 3])
    if len(pair) == 2 and pair in _SIGNS and not apart:
        return 2, _SIGNS[pair]
    return 1, _alone(first)


def _two_sounds(pair: str, after: list[_Sign]) -> bool:
    vowel_follows = bool(after) and _SIGNS.get(after[0].letter, ("",))[0] in VOWELS
    return pair[-1] in "rɹ" and vowel_follows


def _alone(sign: _Sign) -> tuple[str, ...]:
    """Phones of one letter, its marks heeded where they change the class."""
    phones = _SIGNS[sign.letter]
    if _NOT_SYLLABIC in sign.marks and sign.letter in _GLIDES:
        return (_GLIDES[sign.letter],)
    if _RHOTIC in sign.marks:
        return ("ER",) if sign.letter in "əɜ" else (*phones, "R")
    if phones[0] in _VOICE_ONLY and _SYLLABIC & set(sign.marks):
        return ("AH", *phones)
    return phones
