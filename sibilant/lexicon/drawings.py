"""Drawings for children who do not read: one for a word where it is unmistakable, none elsewhere."""

from __future__ import annotations

from functools import lru_cache

from .dictionary import DATA

_FOLDER = DATA / "drawings"


@lru_cache(maxsize=1)
def drawn_words() -> frozenset[str]:
    """Words that have a drawing; all stand in the built-in lists.

    Examples
    --------
    >>> "castle" in drawn_words(), "goose" in drawn_words()
    (True, False)
    """
    return frozenset(path.stem for path in _FOLDER.glob("*.svg"))


def drawing_of(word: str) -> bytes:
    """The drawing of a word as SVG, empty where there is none.

    Examples
    --------
    >>> drawing_of("castle")[:4], drawing_of("messy")
    (b'<svg', b'')
    """
    name = word.lower()
    return (_FOLDER / f"{name}.svg").read_bytes() if name in drawn_words() else b""
