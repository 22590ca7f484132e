"""Which signs the shipped fonts hold, and which fonts of the system hold the others."""

from __future__ import annotations

import functools
import unicodedata
from pathlib import Path

from . import style


@functools.lru_cache(maxsize=1)
def shipped_signs() -> frozenset[int]:
    """Return the code points that every shipped font holds."""
    found = [_held(str(path))[1] for path in sorted(style.font_folder().glob("*.ttf"))]
    return frozenset.intersection(*found)


@functools.lru_cache(maxsize=512)
def _held(path: str) -> tuple[str, frozenset[int]]:
    """Return a font's family and the code points it holds; none where it can't be read."""
    from matplotlib.ft2font import FT2Font

    try:
        font = FT2Font(path)
        return str(font.family_name), frozenset(font.get_charmap())
    except (RuntimeError, OSError, UnicodeDecodeError):
        return "", frozenset()


def missing_signs(text: str) -> frozenset[int]:
    """Return the code points of a text that the shipped fonts don't hold and that a page would have to show.

    Examples
    --------
    >>> sorted(missing_signs("said \N{GREEK SMALL LETTER THETA} and \N{CJK UNIFIED IDEOGRAPH-4E2D}")) == [0x4E2D]
    True
    """
    held = shipped_signs()
    return frozenset(ord(sign) for sign in set(text) if ord(sign) not in held and not _silent(sign))


def _silent(sign: str) -> bool:
    """Say whether a sign needs no shape: line ends, and what only steers its neighbours."""
    return sign in "\n\r\t" or unicodedata.category(sign) == "Cf"


@functools.lru_cache(maxsize=64)
def system_fonts(wanted: frozenset[int]) -> tuple[tuple[str, str], ...]:
    """Return (family, path) of fonts of this system that together hold as many of the signs as can be had."""
    from matplotlib import font_manager

    left, chosen = set(wanted), []
    for path in sorted(font_manager.findSystemFonts()):
        if not left:
            break
        family, held = _held(path)
        if family and held & left:
            chosen.append((family, path))
            left -= held
    return tuple(chosen)


def held_by(paths: tuple[str, ...]) -> frozenset[int]:
    """Return the code points that any of these fonts holds."""
    return frozenset().union(*(_held(path)[1] for path in paths))


def folders_of(paths: tuple[str, ...]) -> tuple[str, ...]:
    """Return the folders in which fonts lie."""
    return tuple(sorted({str(Path(path).parent) for path in paths}))
