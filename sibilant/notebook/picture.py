"""A figure with its words comes in; what a notebook shows by itself and a program saves goes out."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from .. import charts, files
from ..errors import OutputError

if TYPE_CHECKING:
    from ..charts import Figure

FORMS: dict[str, Literal["png", "svg", "pdf"]] = {".png": "png", ".svg": "svg", ".pdf": "pdf"}
SCREEN_DPI = 120  # a notebook's cell at its usual width
MOST_ROWS = 60
"""Rows of a table that a notebook shows; the table itself holds all."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A figure (``figure``, matplotlib's) with what it shows in words (``words``).

    Examples
    --------
    >>> from sibilant.charts import style
    >>> Picture(style.new_figure(85, 20), "an empty sheet")
    Picture('an empty sheet'; .save(PATH), .figure)
    """

    figure: Figure
    words: str = ""

    def save(self, to: str | os.PathLike[str]) -> Path:
        """Write the picture as .png, .svg or .pdf, whole or not at all; return the path.

        Raises
        ------
        OutputError
            When the file's ending is another, or it can't be written.
        """
        path = Path(to)
        form = FORMS.get(path.suffix.lower())
        if form is None:
            raise OutputError(f"{path.name}: a picture ends in .png, .svg or .pdf")
        files.write_bytes(path, charts.render(self.figure, form))
        return path

    def __repr__(self) -> str:
        return f"Picture({self.words or 'no words'!r}; .save(PATH), .figure)"

    def _repr_png_(self) -> bytes:
        return charts.render(self.figure, "png", dpi=SCREEN_DPI)


def short(value: float) -> str:
    """Return a number as a notebook shows it beside others.

    Examples
    --------
    >>> short(7251.867), short(-0.25)
    ('7252', '-0.25')
    """
    return f"{value:.3f}".rstrip("0").rstrip(".") if abs(value) < 100 else f"{value:.0f}"
