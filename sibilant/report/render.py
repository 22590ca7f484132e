"""A document comes in, the bytes of a page, a PDF or an editing copy go out.

One door, so that control characters are taken away and a form refused in one place.
"""

from __future__ import annotations

from typing import Literal

from ..terms.document import Document
from .legible import without_control

Format = Literal["html", "pdf", "docx"]
FORMATS: tuple[Format, ...] = ("html", "pdf", "docx")


def render(document: Document, form: Format) -> bytes:
    """Render a document; the same document gives the same bytes.

    Raises
    ------
    ValueError
        For another format.

    Examples
    --------
    >>> from sibilant.terms.document import Document, Paragraph
    >>> b"<h1>A title</h1>" in render(Document("note", "A title", (Paragraph("Text."),)), "html")
    True
    """
    document = without_control(document)
    if form == "html":
        from .page import to_html

        return to_html(document)
    if form == "pdf":
        from .paper import to_pdf

        return to_pdf(document)
    if form == "docx":
        from .word import to_docx

        return to_docx(document)
    raise ValueError(f"a report is written as html, pdf or docx, not {form!r}")
