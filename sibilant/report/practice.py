"""Practice sheets: large print, the target's letters bold, other hisses underlined, boxes that nothing reads back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from ..terms.document import Blank, Document, Paragraph, Part, PracticeItem
from ..terms.vocabulary import PRACTICE_LEVELS, PracticeLevel

_SAY: Mapping[PracticeLevel, str] = MappingProxyType(
    {
        "isolation": "Make each one a long, quiet stream.",
        "syllable": "Say each one slowly, then a little faster.",
        "word": "Say each word once, slowly.",
        "set-of-three": "Say each word three times: one, two, three.",
        "phrase": "Say each sentence with its word in it.",
        "sentence": "Say each sentence, slowly.",
    }
)


def practice_sheet(
    level: PracticeLevel, items: Sequence[PracticeItem], *, subject: str = "", mark: str = ""
) -> Document:
    """Compose a practice sheet.

    Parameters
    ----------
    level : str
        ``isolation``, ``syllable``, ``word``, ``set-of-three``, ``phrase`` or ``sentence``.
    items : sequence of PracticeItem
        At least one thing to say.
    subject : str
        A line for the page's foot, such as a client's code.
    mark : str
        "Invented data – not a person" where that is so.

    Returns
    -------
    Document
        In large print.

    Raises
    ------
    ValueError
        For another level, or nothing to say.

    Examples
    --------
    >>> practice_sheet("word", [PracticeItem("seal", ((0, 1),))]).title
    'Practice at home: words with /s/'
    """
    level = PRACTICE_LEVELS.read(level)
    if not items:
        raise ValueError("a practice sheet needs at least one thing to say")
    parts: tuple[Part, ...] = (
        Blank("For", by_hand=True),
        Blank("Week of"),
        Paragraph(f"{_SAY[level]} {_key(items)}".strip(), tone="lead"),
        *items,
        Paragraph(
            "A few minutes a day are enough; stop while it is still fun. Tick boxes as you like: ticks are for you. "
            "They are not counted and go in no record.",
            tone="small",
        ),
    )
    return Document("practice", f"Practice at home: {_name(level)}", parts, subject, mark, large_print=True)


def _name(level: PracticeLevel) -> str:
    names: Mapping[PracticeLevel, str] = {
        "isolation": "the sound /s/",
        "syllable": "syllables with /s/",
        "word": "words with /s/",
        "set-of-three": "words with /s/, three times",
        "phrase": "words with /s/ in a sentence",
        "sentence": "sentences with /s/",
    }
    return names[level]


def _key(items: Sequence[PracticeItem]) -> str:
    if not any(item.target for item in items):
        return ""
    key = "Bold letters: the sound to practise."
    return f"{key} Underlined letters: another hiss." if any(item.others for item in items) else key
