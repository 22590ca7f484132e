"""The built-in word lists: names, notes, prompts. Their words and sentences are the project's own."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from ..errors import ListError
from ..terms import Prompt
from .dictionary import DATA
from .drawings import drawn_words
from .prompts import expect

BLANK = "___"
_READ_AS: Mapping[str, str] = MappingProxyType(
    {
        "s": "sssss",
        "si": "see",
        "sɑ": "sah",
        "su": "soo",
        "is": "ees",
        "ɑs": "ahs",
        "us": "oos",
        "isi": "eesee",
        "ɑsɑ": "ahsah",
        "usu": "oosoo",
    }
)


def list_names() -> tuple[str, ...]:
    """Names of the built-in lists.

    Examples
    --------
    >>> list_names()[:2]
    ('core-a', 'core-b')
    """
    return tuple(_lists())


def list_note(name: str) -> str:
    """One line on what a list is for."""
    return _lists()[_checked(name)][0]["note"]


@lru_cache(maxsize=64)
def builtin_list(name: str) -> tuple[Prompt, ...]:
    """Prompts of a built-in list in the order spoken.

    Carrier sentences keep their blank (``___``) and hold no sibilant; ``fill_carrier`` puts a word in.

    Raises
    ------
    ListError
        When there is no such list.

    Examples
    --------
    >>> [p.text for p in builtin_list("sh-a")]
    ['sheep', 'shadow', 'shovel', 'shark', 'shoe', 'fish', 'brush']
    """
    return tuple(_prompt(row) for row in _lists()[_checked(name)])


def drawn_lists() -> tuple[str, ...]:
    """Built-in lists in which every word has a drawing.

    Examples
    --------
    >>> drawn_lists()[:1]
    ('pictured',)
    """
    return tuple(name for name, rows in _lists().items() if all(row["word"] in drawn_words() for row in rows))


def family_spelling(text: str, level: str) -> str:
    """Write a prompt as a family would read it aloud: syllables and held sounds without phonetic signs.

    Examples
    --------
    >>> family_spelling("sɑ", "syllable"), family_spelling("us", "syllable"), family_spelling("us", "word")
    ('sah', 'oos', 'us')
    """
    return _READ_AS.get(text, text) if level in ("isolation", "syllable") else text


def fill_carrier(carrier: str, word: str, *, phones: str = "", target: str = "S") -> Prompt:
    """Put a word into the blank of a carrier sentence.

    Examples
    --------
    >>> fill_carrier("Tell Emma ___ again.", "bus").text
    'Tell Emma bus again.'
    """
    if BLANK not in carrier:
        raise ListError(f"{carrier!r} has no blank ({BLANK}) for {word!r}; use a carrier with one")
    text = carrier.replace(BLANK, word)
    if phones and not phones.startswith("/"):
        phones = " | ".join(phones if piece.strip(".,!?") == BLANK else "-" for piece in carrier.split())
    elif phones:
        phones = "/" + " ".join(phones[1:-1] if p.strip(".,!?") == BLANK else "-" for p in carrier.split()) + "/"
    return expect(text, phones=phones, target=target, level="phrase")


def _prompt(row: dict[str, str]) -> Prompt:
    if BLANK in row["word"]:
        known = expect(row["word"].replace(BLANK, ""), level=row["level"])
        return Prompt(row["word"], known.words, (), known.level)
    return expect(row["word"], phones=row["phones"], target=row["target"], level=row["level"])


def _checked(name: str) -> str:
    if name not in _lists():
        raise ListError(f"no built-in list is called {name!r}; there are: {', '.join(list_names())}")
    return name


@lru_cache(maxsize=1)
def _lists() -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = {}
    with (DATA / "lists.csv").open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            found.setdefault(row["list"], []).append(row)
    return found
