"""DOCX: the editing copy, with real headings, table headers and text alternatives; same in, same bytes out."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..charts import style
from ..terms.document import (
    Blank,
    BlankTable,
    Box,
    Document,
    Facts,
    Heading,
    Listing,
    PageBreak,
    Paragraph,
    Part,
    Picture,
    PracticeItem,
    Table,
)
from .drawn import png_of

if TYPE_CHECKING:
    from docx.document import Document as Paper

_ZIP_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can hold: same report, same bytes
_BODY_FONT, _FIGURE_FONT, _PRACTICE = "Cambria", "Calibri", "Practice"


def to_docx(document: Document) -> bytes:
    """Render a document as DOCX without dates or author; the same document gives the same bytes."""
    import docx

    paper = docx.Document()
    _set_up(paper, document)
    _practice_style(paper, [part for part in document.parts if isinstance(part, PracticeItem)])
    paper.add_heading(document.title, level=1)
    if document.subject:
        _small(paper, document.subject)
    first_of = []
    for part in document.parts:
        first_of.append(len(paper.paragraphs))
        _WRITERS[type(part)](paper, part)
    for first, last in _held_together(document, [*first_of, len(paper.paragraphs)]):
        for paragraph in paper.paragraphs[first:last]:
            paragraph.paragraph_format.keep_with_next = paragraph.paragraph_format.keep_together = True
    stream = io.BytesIO()
    paper.save(stream)
    return _without_times(stream.getvalue())


def _held_together(document: Document, first_of: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Paragraphs (from, to) that stay with what follows: a box with the fields to sign after it, up to their last line.

    A signature, or a box's last line, never stands alone on a page.
    """
    ends = (len(document.body), len(document.parts))
    for place, part in enumerate(document.parts):
        if isinstance(part, Box):
            end = next(end for end in ends if end > place)
            yield first_of[place], first_of[end] - 1


def _set_up(paper: Paper, document: Document) -> None:
    from docx.oxml.ns import qn
    from docx.shared import Mm, Pt, RGBColor

    section = paper.sections[0]
    section.page_width, section.page_height = Mm(210), Mm(297)
    section.left_margin = section.right_margin = Mm(20)
    section.top_margin = section.bottom_margin = Mm(19)
    section.header_distance = section.footer_distance = Mm(9)
    if document.mark:
        section.header.paragraphs[0].text = document.mark
        section.footer.paragraphs[0].text = document.mark
    for name, font, size_pt in (
        ("Normal", _BODY_FONT, 12 if document.large_print else 10),
        ("Heading 1", _FIGURE_FONT, 16),
        ("Heading 2", _FIGURE_FONT, 12),
        ("Heading 3", _FIGURE_FONT, 10),
    ):
        chosen: Any = paper.styles[name]
        chosen.font.name, chosen.font.size = font, Pt(size_pt)
        chosen.font.color.rgb = RGBColor.from_string(style.INK[1:])
        fonts = chosen.element.get_or_add_rPr().get_or_add_rFonts()
        for attribute in list(fonts.attrib):
            del fonts.attrib[attribute]
        for attribute in ("w:ascii", "w:hAnsi", "w:cs", "w:eastAsia"):
            fonts.set(qn(attribute), font)
    _properties(paper, document)


def _properties(paper: Paper, document: Document) -> None:
    import datetime as dt

    properties = paper.core_properties
    properties.title, properties.subject, properties.language = document.title, document.subject, document.language
    properties.author = properties.last_modified_by = properties.comments = properties.keywords = ""
    properties.created = properties.modified = dt.datetime(1980, 1, 1, tzinfo=dt.UTC)
    properties.revision = 1


def _small(paper: Paper, text: str, *, before_pt: float = 0) -> Any:
    from docx.shared import Pt, RGBColor

    paragraph = paper.add_paragraph()
    paragraph.paragraph_format.space_before, paragraph.paragraph_format.space_after = Pt(before_pt), Pt(4)
    run = paragraph.add_run(text)
    run.font.size, run.font.color.rgb = Pt(8.5), RGBColor.from_string(style.SECOND_INK[1:])
    return paragraph


def _heading(paper: Paper, part: Heading) -> None:
    paper.add_heading(part.text, level=part.level).paragraph_format.page_break_before = part.appendix


def _paragraph(paper: Paper, part: Paragraph) -> None:
    from docx.shared import Pt

    if part.tone == "small":
        _small(paper, part.text)
        return
    run = paper.add_paragraph().add_run(part.text)
    if part.tone == "lead":
        run.font.size = Pt(12)


def _listing(paper: Paper, part: Listing) -> None:
    for item in part.items:
        paper.add_paragraph(item, style="List Bullet")


def _rows(paper: Paper, caption: str, header: tuple[str, ...], rows: tuple[tuple[str, ...], ...]) -> Any:
    _small(paper, caption).paragraph_format.keep_with_next = True
    table = paper.add_table(rows=1, cols=len(header))
    table.style = "Table Grid"
    for cell, text in zip(table.rows[0].cells, header, strict=True):
        cell.paragraphs[0].add_run(text).bold = True
    _repeat_as_header(table.rows[0])
    for cell in table.rows[0].cells:
        cell.paragraphs[0].paragraph_format.keep_with_next = True
    for row in rows:
        for cell, text in zip(table.add_row().cells, row, strict=True):
            cell.paragraphs[0].add_run(text)
    _in_figures(table)
    return table


def _in_figures(table: Any) -> None:
    from docx.shared import Pt

    for row in table.rows:
        for cell in row.cells:
            for run in cell.paragraphs[0].runs:
                run.font.name, run.font.size = _FIGURE_FONT, Pt(9)
            spacing = cell.paragraphs[0].paragraph_format
            spacing.space_before = spacing.space_after = Pt(1.5)
            spacing.line_spacing = 1.0


def _repeat_as_header(row: Any) -> None:
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    mark = OxmlElement("w:tblHeader")
    mark.set(qn("w:val"), "true")
    row._tr.get_or_add_trPr().append(mark)


def _table(paper: Paper, part: Table) -> None:
    _rows(paper, part.caption, part.header, part.rows)
    if part.note:
        _small(paper, part.note, before_pt=3)


def _facts(paper: Paper, part: Facts) -> None:
    _rows(paper, part.caption, ("What", "Value"), part.rows)


def _picture(paper: Paper, part: Picture) -> None:
    from docx.shared import Mm

    if "png" not in part.images:
        raise ValueError(f"{part.name}: DOCX needs the picture as png, and it is there as {sorted(part.images)}")
    shape = paper.add_picture(io.BytesIO(part.images["png"]), width=Mm(min(part.width_mm, 170.0)))
    properties = shape._inline.docPr
    properties.set("descr", part.alt)
    properties.set("name", part.name)
    if part.caption:
        _small(paper, part.caption)


def _blank(paper: Paper, part: Blank) -> None:
    from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
    from docx.shared import Mm

    for number in range(max(1, part.n_lines)):
        line = paper.add_paragraph(f"{part.label}: \t" if number == 0 else "\t")
        line.paragraph_format.tab_stops.add_tab_stop(Mm(170), WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.LINES)


def _blank_table(paper: Paper, part: BlankTable) -> None:
    empty = ("",) * (len(part.header) - 1)
    _rows(paper, part.caption, part.header, tuple((first, *empty) for first in part.first_cells))


def _box(paper: Paper, part: Box) -> None:
    paper.add_heading(part.title, level=2)
    for line in part.lines:
        _small(paper, line)


def _page_break(paper: Paper, part: PageBreak) -> None:
    paper.add_paragraph().paragraph_format.page_break_before = True


def _practice(paper: Paper, part: PracticeItem) -> None:
    line = paper.add_paragraph(style=_PRACTICE)
    if part.drawing:
        _drawn(line, part.drawing)
    for text, how in part.runs():
        run = line.add_run(text)
        run.bold, run.underline = how == "target", how == "other"
    if part.n_ticks:
        line.add_run("\t" + "\u00a0\u00a0".join("\u25a1" * part.n_ticks))
    if part.hint:
        _small(paper, part.hint)


def _practice_style(paper: Paper, items: Sequence[PracticeItem]) -> None:
    """One size for all that is said on a sheet, by its longest line; the boxes to tick stand at the right."""
    from docx.enum.style import WD_STYLE_TYPE
    from docx.enum.text import WD_TAB_ALIGNMENT
    from docx.shared import Mm, Pt

    longest = max((len(item.text) for item in items), default=0)
    style: Any = paper.styles.add_style(_PRACTICE, WD_STYLE_TYPE.PARAGRAPH)
    style.base_style = paper.styles["Normal"]
    style.font.name, style.font.size = _FIGURE_FONT, Pt(26 if longest <= 18 else 19 if longest <= 34 else 16)
    style.paragraph_format.tab_stops.add_tab_stop(Mm(170), WD_TAB_ALIGNMENT.RIGHT)


def _drawn(line: Any, svg: bytes) -> None:
    """The drawing before its word, as PNG, which every reader of DOCX shows; decorative, since the word follows."""
    from docx.shared import Mm

    shape = line.add_run().add_picture(io.BytesIO(png_of(svg)), height=Mm(13))
    shape._inline.docPr.set("descr", "")
    line.add_run("   ")


_WRITERS: Mapping[type[Part], Callable[[Any, Any], None]] = {
    Heading: _heading,
    Paragraph: _paragraph,
    Listing: _listing,
    Table: _table,
    Facts: _facts,
    Picture: _picture,
    Blank: _blank,
    BlankTable: _blank_table,
    Box: _box,
    PageBreak: _page_break,
    PracticeItem: _practice,
}


def _without_times(content: bytes) -> bytes:
    """Pack the parts again with one fixed time."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            entry = zipfile.ZipInfo(name, _ZIP_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(name))
    return stream.getvalue()
