"""PDF by typst: tagged for screen readers (PDF/UA-1), shipped fonts only, no date."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..charts import signs, style
from ..terms.document import Blank, Document, Part, Picture, PracticeItem
from . import legible

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_PAIRED_LETTERS = 34  # two blanks with labels no longer than this share a line


def to_pdf(document: Document) -> bytes:
    """Render a document as tagged PDF with the shipped fonts; the same document gives the same bytes.

    Signs that the shipped fonts don't hold are set in the system's fonts where these hold them; where none does, words
    in their place say so.
    """
    import typst

    missing = signs.missing_signs(legible.all_text(document))
    if missing:
        others = signs.system_fonts(missing)
        paths = tuple(path for _, path in others)
        within = legible.without(document, missing - signs.held_by(paths))
        try:
            return _set(within, tuple(family for family, _ in others), signs.folders_of(paths))
        except typst.TypstError:  # a font that holds a sign and can't set it here
            document = legible.without(document, missing)
    return _set(document, (), ())


def _set(document: Document, families: tuple[str, ...], folders: tuple[str, ...]) -> bytes:
    import typst

    pictures = [part for part in document.parts if isinstance(part, Picture)]
    inputs = {"document": json.dumps(_as_data(document, families), ensure_ascii=False)}
    inputs |= {f"picture-{number}": _drawing(picture) for number, picture in enumerate(pictures)}
    drawn = {part.text: part.drawing for part in document.parts if isinstance(part, PracticeItem) and part.drawing}
    inputs |= {f"drawing-{text}": svg.decode("utf-8") for text, svg in drawn.items()}
    source = (Path(__file__).parent / "paper.typ").read_bytes()
    compiler: Any = typst.compile
    made: bytes = compiler(
        source,
        format="pdf",
        font_paths=[str(style.font_folder()), *folders],
        ignore_system_fonts=True,
        sys_inputs=inputs,
        pdf_standards=["ua-1"],
    )
    return made


def _as_data(document: Document, families: tuple[str, ...] = ()) -> dict[str, Any]:
    numbers = iter(range(len(document.parts)))
    return {
        "title": document.title,
        "subject": document.subject,
        "mark": document.mark,
        "language": document.language,
        "large": document.large_print,
        "dense": document.dense,
        "parts": _parts_data(document.body, numbers),
        "appendix": _parts_data(document.parts[len(document.body) :], numbers),
        "colours": {"ink": style.INK, "second": style.SECOND_INK, "hairline": style.HAIRLINE},
        "fonts": {"serif": [style.SERIF, *families], "sans": [style.SANS, *families]},
    }


def _parts_data(parts: Sequence[Part], numbers: Iterator[int]) -> list[dict[str, Any]]:
    """Parts as data; two short blank fields that follow each other share a line."""
    data: list[dict[str, Any]] = []
    waiting = False
    for part in parts:
        short = isinstance(part, Blank) and part.n_lines == 0 and len(part.label) <= _PAIRED_LETTERS
        if isinstance(part, Blank) and short and waiting:
            data[-1] = {"kind": "BlankPair", "labels": [data[-1]["label"], part.label]}
            waiting = False
        else:
            data.append(_part_data(part, numbers))
            waiting = short
    return data


def _part_data(part: Part, numbers: Iterator[int]) -> dict[str, Any]:
    data: dict[str, Any] = {"kind": type(part).__name__}
    if isinstance(part, Picture):
        address = f"picture-{next(numbers)}"
        return data | {"picture": address, "alt": part.alt, "width": part.width_mm, "caption": part.caption}
    if isinstance(part, PracticeItem):
        data |= asdict(part)
        address = f"drawing-{part.text}" if part.drawing else ""
        return data | {"runs": [list(run) for run in part.runs()], "drawing": address}
    return data | asdict(part)


def _drawing(picture: Picture) -> str:
    if "svg" not in picture.images:
        raise ValueError(f"{picture.name}: PDF needs the picture as svg, and it is there as {sorted(picture.images)}")
    return picture.images["svg"].decode("utf-8")
