"""Reading reports back: all their words, the numbers of running text, the numbers of tables."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator

from sibilant.terms.document import (
    Blank,
    BlankTable,
    Box,
    Document,
    Facts,
    Heading,
    Listing,
    Paragraph,
    Picture,
    PracticeItem,
    Table,
)

NUMBER = re.compile(r"(?<![\w.])[−+]?\d+(?:\.\d+)?")
MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
DATE = re.compile(rf"\b\d{{1,2}} (?:{MONTHS}) \d{{4}}\b")


def running(document: Document) -> Iterator[str]:
    """Sentences that are generated: headings, paragraphs, listings, captions, notes, alternatives, boxes."""
    yield document.title
    yield document.subject
    for part in document.parts:
        if isinstance(part, Heading | Paragraph):
            yield part.text
        elif isinstance(part, Listing):
            yield from part.items
        elif isinstance(part, Table):
            yield from (part.caption, part.note)
        elif isinstance(part, Picture):
            yield from (part.alt, part.caption)
        elif isinstance(part, Box):
            yield from (part.title, *part.lines)
        elif isinstance(part, Facts | BlankTable):
            yield part.caption


def cells(document: Document) -> Iterator[str]:
    for part in document.parts:
        if isinstance(part, Table):
            yield from part.header
            for row in part.rows:
                yield from row
        elif isinstance(part, Facts):
            for row in part.rows:
                yield from row


def blanks(document: Document) -> Iterator[str]:
    for part in document.parts:
        if isinstance(part, Blank):
            yield part.label
        elif isinstance(part, BlankTable):
            yield from (*part.header, *part.first_cells)
        elif isinstance(part, PracticeItem):
            yield part.text


def generated_text(document: Document) -> str:
    return "\n".join((*running(document), *cells(document)))


def numbers(text: str) -> list[str]:
    without_dates = re.sub(r"\b[Ss]ession \d+", " ", DATE.sub(" ", text))
    return [found.lstrip("+") for found in NUMBER.findall(without_dates)]


def all_of(document: Document) -> str:
    return "\n".join((*running(document), *cells(document), *blanks(document), document.mark))


def words_in_docx(content: bytes) -> str:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return "\n".join(
            re.sub(r"<[^>]+>", " ", packed.read(name).decode("utf-8"))
            for name in packed.namelist()
            if name.endswith((".xml", ".rels"))
        )
