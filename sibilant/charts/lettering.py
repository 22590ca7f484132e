"""Text that must fit: lines broken to a width, words with some letters in bold."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from . import style

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def text_width_mm(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of one line in the house's sans, from the font's own advances (kerning left out)."""
    advances = sum(_advance_em(letter, bold) for letter in text)
    return advances * size_pt * style.MM_PER_POINT


@functools.lru_cache(maxsize=1024)
def _advance_em(letter: str, bold: bool) -> float:  # noqa: FBT001 - a cache key
    """Advance of one letter as a share of the type size."""
    from matplotlib.ft2font import LoadFlags

    with style.HAND:
        advance = _font(bold).load_char(ord(letter), flags=LoadFlags.NO_SCALE).horiAdvance
        return float(advance) / float(_font(bold).units_per_EM)


@functools.lru_cache(maxsize=2)
def _font(bold: bool) -> Any:  # noqa: FBT001 - a cache key
    from matplotlib.ft2font import FT2Font

    return FT2Font(str(style.font_folder() / f"SibilantSans-{'Bold' if bold else 'Regular'}.ttf"))


def wrap(text: str, width_mm: float, size_pt: float = style.BODY_PT, *, bold: bool = False) -> list[str]:
    """Break text into lines no wider than ``width_mm``; line breaks in the text are kept.

    Examples
    --------
    >>> wrap("one two three", 6.0)
    ['one', 'two', 'three']
    """
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines.extend(_wrap_paragraph(paragraph.split(" "), width_mm, size_pt, bold=bold))
    return lines


def balanced(text: str, width_mm: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break text into as few lines as ``wrap`` does, of about equal length, so that no word stands alone."""
    lines = wrap(text, width_mm, size_pt, bold=bold)
    narrower_mm = width_mm
    while narrower_mm > 0.5 * width_mm:
        narrower_mm -= 0.04 * width_mm
        tried = wrap(text, narrower_mm, size_pt, bold=bold)
        if len(tried) > len(lines):
            break
        lines = tried
    return lines


def _wrap_paragraph(words: list[str], width_mm: float, size_pt: float, *, bold: bool) -> list[str]:
    lines = [words[0]]
    for word in words[1:]:
        candidate = f"{lines[-1]} {word}"
        if text_width_mm(candidate, size_pt, bold=bold) <= width_mm:
            lines[-1] = candidate
        else:
            lines.append(word)
    return lines


def line_height_mm(size_pt: float = style.BODY_PT) -> float:
    """Distance from one line to the next."""
    return 1.3 * size_pt * style.MM_PER_POINT


def write_lines(figure: Figure, left_mm: float, top_mm: float, lines: Sequence[str], **kwargs: Any) -> float:
    """Write lines one under the other and return the millimetre below the last."""
    size_pt = float(kwargs.get("fontsize", style.BODY_PT))
    for number, line in enumerate(lines):
        style.write(figure, left_mm, top_mm + number * line_height_mm(size_pt), line, **kwargs)
    return top_mm + len(lines) * line_height_mm(size_pt)


def write_title(figure: Figure, left_mm: float, top_mm: float, text: str, width_mm: float) -> float:
    """Write the plain sentence that a picture supports, and return the millimetre below it."""
    lines = balanced(text, width_mm, style.TITLE_PT, bold=True)
    return write_lines(figure, left_mm, top_mm, lines, fontsize=style.TITLE_PT, fontweight="bold", color=style.INK)


def title_height_mm(text: str, width_mm: float) -> float:
    """Height that ``write_title`` will take."""
    return len(wrap(text, width_mm, style.TITLE_PT, bold=True)) * line_height_mm(style.TITLE_PT)


def word_with_bold(axes: Axes, word: str, bold: tuple[tuple[int, int], ...], size_pt: float = style.WORD_PT) -> None:
    """Set a word at the left of an empty axes, the letters of ``bold`` (start, stop) in bold."""
    from matplotlib.offsetbox import AnchoredOffsetbox, HPacker, TextArea

    pieces = split_bold(word, bold)
    areas: list[Artist] = [
        TextArea(text, textprops={"fontsize": size_pt, "color": style.INK, "fontweight": "bold" if heavy else "normal"})
        for text, heavy in pieces
    ]
    box = HPacker(children=areas, align="baseline", pad=0, sep=0)
    axes.add_artist(
        AnchoredOffsetbox(
            "lower left",
            child=box,
            pad=0,
            borderpad=0,
            frameon=False,
            bbox_to_anchor=(0, 0),
            bbox_transform=axes.transAxes,
        )
    )


def split_bold(word: str, bold: tuple[tuple[int, int], ...]) -> list[tuple[str, bool]]:
    """Cut a word into runs of plain and bold letters.

    Examples
    --------
    >>> split_bold("fossil", ((2, 4),))
    [('fo', False), ('ss', True), ('il', False)]
    """
    heavy = [any(start <= place < stop for start, stop in bold) for place in range(len(word))]
    pieces: list[tuple[str, bool]] = []
    for letter, is_heavy in zip(word, heavy, strict=True):
        if pieces and pieces[-1][1] == is_heavy:
            pieces[-1] = (pieces[-1][0] + letter, is_heavy)
        else:
            pieces.append((letter, is_heavy))
    return pieces
