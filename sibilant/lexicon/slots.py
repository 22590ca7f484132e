"""Where sibilants are expected in the phones of a prompt, and in what company."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..terms import Position, SibilantSlot, Word
from ..terms.vocabulary import BESIDE_SIBILANTS, SIBILANTS
from .phones import ROUNDED_VOWELS, base, is_vowel

_STRESS = {"1": "primary", "2": "secondary", "0": "unstressed"}


def slots_of(words: Sequence[Word], target: str = "") -> tuple[SibilantSlot, ...]:
    """Expected sibilants of a prompt in the order spoken; with the target TH its /θ/ too.

    Position is relative to the word: initial up to its first vowel, final after its last vowel, else medial; a word
    without a vowel counts as initial. ``cluster`` is the run of consonants around the sibilant within the word,
    lower-case ARPABET joined (``st``, ``ks``, ``str``), empty for a single consonant. Stress is that of the vowel that
    follows in the word, for final sibilants of the one before. ``rounded``: a rounded vowel or /w/ stands next to the
    sibilant or next to its cluster, or directly across a word boundary.

    Examples
    --------
    >>> slot, = slots_of([Word("straw", ("S", "T", "R", "AO1"))])
    >>> slot.position, slot.cluster, slot.stress, slot.rounded
    ('initial', 'str', 'primary', True)
    """
    phones = [phone for word in words for phone in word.phones]
    found: list[SibilantSlot] = []
    start = 0
    for word_index, word in enumerate(words):
        for inside, phone in enumerate(word.phones):
            if phone in SIBILANTS or (phone == target and phone in BESIDE_SIBILANTS):
                found.append(_slot(word, inside, phones, start, len(found) + 1, word_index))
        start += len(word.phones)
    return tuple(found)


def _slot(word: Word, inside: int, phones: Sequence[str], start: int, index: int, word_index: int) -> SibilantSlot:
    own, at = word.phones, start + inside
    low, high = _run(own, inside)
    position = _position(own, inside)
    return SibilantSlot(
        phone=own[inside],
        index=index,
        position=position,
        cluster=_written(own[low:high]) if high - low > 1 else "",
        word_index=word_index,
        phone_index=at,
        stress=_stress(own, inside, position),
        vowel_before=_nearest_vowel(reversed(phones[:at])),
        vowel_after=_nearest_vowel(phones[at + 1 :]),
        rounded=_rounded(own, low, high, phones, start),
        previous_phone=phones[at - 1] if at else "",
        next_phone=phones[at + 1] if at + 1 < len(phones) else "",
    )


def _run(own: Sequence[str], inside: int) -> tuple[int, int]:
    """First and past-the-last place of the consonants around a phone."""
    low = high = inside
    while low > 0 and not is_vowel(own[low - 1]):
        low -= 1
    while high < len(own) and not is_vowel(own[high]):
        high += 1
    return low, high


def _written(run: Sequence[str]) -> str:
    return "".join("h" if phone == "HH" else phone.lower() for phone in run)


def _position(own: Sequence[str], inside: int) -> Position:
    if not any(is_vowel(phone) for phone in own[:inside]):
        return "initial"
    return "medial" if any(is_vowel(phone) for phone in own[inside:]) else "final"


def _stress(own: Sequence[str], inside: int, position: Position) -> str:
    near = reversed(own[:inside]) if position == "final" else iter(own[inside + 1 :])
    vowel = next((phone for phone in near if is_vowel(phone)), "")
    return _STRESS.get(vowel[-1:], "")


def _nearest_vowel(phones: Iterable[str]) -> str:
    return next((base(phone) for phone in phones if is_vowel(phone)), "")


def _rounded(own: Sequence[str], low: int, high: int, phones: Sequence[str], start: int) -> bool:
    first, last = start + low, start + high
    beside = [*phones[max(0, first - 1) : first], *own[low:high], *phones[last : last + 1]]
    return any(base(phone) in ROUNDED_VOWELS or phone == "W" for phone in beside)
