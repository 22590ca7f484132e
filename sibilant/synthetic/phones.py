"""Formants, manners and durations of the ARPABET phones, for a man; other speakers scale them.

Vowel formants follow the usual textbook averages for American English men (from memory, rounded); consonant targets
and durations are common practice, no source. Nothing is measured against these values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Manner = Literal[
    "vowel", "nasal", "liquid", "glide", "stop", "affricate", "sibilant", "fricative", "aspirate",
]  # fmt: skip
Place = Literal["labial", "dental", "alveolar", "palatal", "velar", "glottal", ""]


@dataclass(frozen=True, slots=True)
class Phone:
    """How one phone is made.

    ``formants_hz`` F1 to F3 at the start (vowels: of the nucleus), ``end_hz`` where a diphthong goes; ``duration_s``
    stressed and unstressed; ``level_db`` of its voice (vowels) or noise (consonants) against a stressed vowel.
    """

    manner: Manner
    formants_hz: tuple[float, float, float]
    duration_s: tuple[float, float]
    level_db: float = 0.0
    end_hz: tuple[float, float, float] | None = None
    voiced: bool = True
    place: Place = ""
    rounded: bool = False


def _vowel(
    f: tuple[float, float, float],
    stressed: float,
    unstressed: float,
    level: float,
    *,
    to: tuple[float, float, float] | None = None,
    rounded: bool = False,
) -> Phone:
    return Phone("vowel", f, (stressed, unstressed), level, to, rounded=rounded)


PHONES: Mapping[str, Phone] = MappingProxyType({
    "IY": _vowel((290, 2250, 2950), 0.165, 0.095, -3.0, to=(270, 2300, 3000)),
    "IH": _vowel((400, 1950, 2560), 0.130, 0.070, -2.0, to=(430, 1850, 2520)),
    "EH": _vowel((550, 1780, 2500), 0.145, 0.080, -1.0, to=(580, 1700, 2480)),
    "AE": _vowel((660, 1750, 2430), 0.190, 0.100, 0.0, to=(700, 1600, 2400)),
    "AA": _vowel((740, 1120, 2450), 0.190, 0.100, 0.0),
    "AO": _vowel((590, 880, 2430), 0.195, 0.100, 0.0, rounded=True),
    "UH": _vowel((440, 1050, 2250), 0.130, 0.075, -2.0, rounded=True),
    "UW": _vowel((310, 900, 2250), 0.165, 0.095, -3.0, to=(300, 850, 2230), rounded=True),
    "AH": _vowel((620, 1220, 2500), 0.135, 0.060, -0.5),
    "AX": _vowel((500, 1400, 2450), 0.070, 0.055, -3.0),
    "ER": _vowel((470, 1330, 1700), 0.170, 0.095, -1.5),
    "EY": _vowel((500, 1950, 2550), 0.180, 0.105, -1.0, to=(340, 2200, 2750)),
    "OW": _vowel((520, 1050, 2400), 0.185, 0.105, -1.0, to=(390, 830, 2350), rounded=True),
    "AY": _vowel((730, 1230, 2450), 0.215, 0.120, 0.0, to=(400, 1980, 2550)),
    "AW": _vowel((720, 1350, 2450), 0.220, 0.120, 0.0, to=(430, 960, 2350), rounded=True),
    "OY": _vowel((560, 880, 2400), 0.225, 0.125, -0.5, to=(390, 1950, 2500), rounded=True),
    "M": Phone("nasal", (280, 1000, 2200), (0.080, 0.065), -6.0, place="labial"),
    "N": Phone("nasal", (280, 1650, 2600), (0.075, 0.060), -6.0, place="alveolar"),
    "NG": Phone("nasal", (280, 1950, 2400), (0.090, 0.075), -6.5, place="velar"),
    "L": Phone("liquid", (370, 1150, 2650), (0.075, 0.065), -5.0, place="alveolar"),
    "R": Phone("liquid", (350, 1080, 1420), (0.075, 0.065), -4.5, place="palatal"),
    "W": Phone("glide", (310, 690, 2200), (0.075, 0.060), -6.0, place="labial", rounded=True),
    "Y": Phone("glide", (280, 2250, 3000), (0.065, 0.055), -5.0, place="palatal"),
    "HH": Phone("aspirate", (500, 1500, 2500), (0.065, 0.050), -20.0, voiced=False, place="glottal"),
    "P": Phone("stop", (330, 900, 2200), (0.085, 0.070), -16.0, voiced=False, place="labial"),
    "B": Phone("stop", (290, 950, 2250), (0.075, 0.060), -20.0, place="labial"),
    "T": Phone("stop", (330, 1750, 2650), (0.075, 0.045), -12.0, voiced=False, place="alveolar"),
    "D": Phone("stop", (290, 1750, 2650), (0.065, 0.035), -16.0, place="alveolar"),
    "K": Phone("stop", (330, 1900, 2400), (0.075, 0.065), -12.0, voiced=False, place="velar"),
    "G": Phone("stop", (290, 1900, 2400), (0.065, 0.055), -16.0, place="velar"),
    "CH": Phone("affricate", (320, 1850, 2550), (0.060, 0.050), 0.0, voiced=False, place="palatal"),
    "JH": Phone("affricate", (290, 1850, 2550), (0.050, 0.045), -3.0, place="palatal"),
    "S": Phone("sibilant", (330, 1650, 2600), (0.150, 0.120), 0.0, voiced=False, place="alveolar"),
    "Z": Phone("sibilant", (290, 1650, 2600), (0.095, 0.080), -5.0, place="alveolar"),
    "SH": Phone("sibilant", (330, 1900, 2500), (0.155, 0.125), 0.0, voiced=False, place="palatal"),
    "ZH": Phone("sibilant", (290, 1900, 2500), (0.095, 0.080), -5.0, place="palatal"),
    "F": Phone("fricative", (340, 1000, 2200), (0.110, 0.090), -25.0, voiced=False, place="labial"),
    "V": Phone("fricative", (300, 1050, 2250), (0.070, 0.060), -31.0, place="labial"),
    "TH": Phone("fricative", (340, 1350, 2550), (0.110, 0.090), -26.0, voiced=False, place="dental"),
    "DH": Phone("fricative", (300, 1350, 2550), (0.060, 0.050), -33.0, place="dental"),
})  # fmt: skip


def plain(phone: str) -> str:
    """Return an ARPABET phone without its stress digit.

    Raises
    ------
    ValueError
        When the phone is not known.
    """
    name = phone.rstrip("012").upper()
    if name not in PHONES:
        raise ValueError(f"phone {phone!r} is not an ARPABET phone; known are {', '.join(PHONES)}")
    return name


def is_stressed(phone: str) -> bool:
    """Whether a vowel carries primary or secondary stress (a vowel without a digit counts as stressed)."""
    return not phone.endswith("0")
