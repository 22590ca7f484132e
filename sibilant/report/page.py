"""HTML: one file that needs nothing else, in headings, tables and text alternatives that a screen reader can follow."""

from __future__ import annotations

import base64
import functools
from pathlib import Path
from typing import TYPE_CHECKING

from ..charts import style
from ..terms.document import Document, Part, Picture
from .drawn import svg_address

if TYPE_CHECKING:
    from jinja2 import Template


def to_html(document: Document) -> bytes:
    """Render a document as one HTML file, pictures inside it; the same document gives the same bytes."""
    text = _template().render(
        document=document, kind=kind_of, image=image_address, drawn=svg_address, colours=_colours()
    )
    return text.encode("utf-8")


def kind_of(part: Part) -> str:
    """Name of a part's kind, by which templates choose how to set it."""
    return type(part).__name__


def image_address(picture: Picture) -> str:
    """A picture as a ``data:`` address, the drawing where there is one and else the dots."""
    for form, kind in (("svg", "svg+xml"), ("png", "png")):
        if form in picture.images:
            return f"data:image/{kind};base64,{base64.b64encode(picture.images[form]).decode('ascii')}"
    raise ValueError(
        f"{picture.name}: HTML needs the picture as svg or png, and it is there as {sorted(picture.images)}"
    )


def _colours() -> dict[str, str]:
    return {"paper": style.PAPER, "ink": style.INK, "second": style.SECOND_INK, "hairline": style.HAIRLINE}


@functools.lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    source = (Path(__file__).parent / "page.html.j2").read_text(encoding="utf-8")
    template: Template = environment.from_string(source)
    return template
