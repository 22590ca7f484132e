"""The files that people get: tagged PDF, DOCX with its headings, HTML that a screen reader can follow."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import docx
import pikepdf
import pytest

from sibilant import report
from sibilant.report import practice
from sibilant.terms.document import Document, Picture, PracticeItem, Table

CHROMIUM = Path("/usr/bin/chromium")
QUIET = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def sheet() -> Document:
    items = [
        PracticeItem("The sheep found a sock.", ((18, 19),), ((4, 6),), 3),
        PracticeItem("A silly seal.", ((2, 3), (8, 9))),
    ]
    return practice.practice_sheet("sentence", items, subject="C-7QXK", mark="Invented data – not a person")


@pytest.fixture(scope="module")
def documents(invented: ModuleType, settings: report.ReportSettings) -> dict[str, Document]:
    view = invented.case(1, shift_hz=1800.0, missing=2)
    return {kind: report.compose(kind, view, settings) for kind in report.KINDS} | {"practice": sheet()}


ALL = (*report.KINDS, "practice")


def walk(node: Any) -> Iterator[pikepdf.Dictionary]:
    """Structure elements below a node of the tag tree, in reading order."""
    if isinstance(node, pikepdf.Array):
        for child in node:
            yield from walk(child)
    elif isinstance(node, pikepdf.Dictionary):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from walk(node["/K"])


def tags(pdf: pikepdf.Pdf) -> list[str]:
    return [str(node["/S"]) for node in walk(pdf.Root["/StructTreeRoot"]["/K"])]


@pytest.mark.parametrize("kind", ALL)
def test_pdf_is_tagged_titled_and_in_shipped_fonts(kind: str, documents: dict[str, Document]) -> None:
    document = documents[kind]
    with pikepdf.open(io.BytesIO(report.render(document, "pdf"))) as pdf:
        assert bool(pdf.Root["/MarkInfo"]["/Marked"])
        assert str(pdf.Root["/Lang"]).lower().startswith("en")
        assert bool(pdf.Root["/ViewerPreferences"]["/DisplayDocTitle"])
        with pdf.open_metadata() as meta:
            assert meta["dc:title"] == document.title
            assert meta["pdfuaid:part"] == "1"
            assert "xmp:CreateDate" not in meta
        assert "/CreationDate" not in pdf.docinfo
        fonts = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"]
        assert fonts
        for font in fonts:
            assert any(key in font for key in ("/FontFile", "/FontFile2", "/FontFile3")), "embedded"
            assert "Sibilant" in str(font["/FontName"]), "shipped fonts only"


@pytest.mark.parametrize("kind", ALL)
def test_pdf_structure_follows_the_parts(kind: str, documents: dict[str, Document]) -> None:
    document = documents[kind]
    with pikepdf.open(io.BytesIO(report.render(document, "pdf"))) as pdf:
        found = tags(pdf)
        nodes = list(walk(pdf.Root["/StructTreeRoot"]["/K"]))
        assert found.count("/H1") == 1
        n_tables = sum(type(part).__name__ in ("Table", "BlankTable") for part in document.parts)
        assert found.count("/Table") == n_tables
        if n_tables:
            assert found.count("/TH") >= n_tables and "/TD" in found
        pictures = [part for part in document.parts if isinstance(part, Picture)]
        alts = [str(node["/Alt"]) for node in nodes if str(node["/S"]) == "/Figure" and "/Alt" in node]
        assert alts == [picture.alt for picture in pictures]


def test_pdf_text_can_be_read_back(documents: dict[str, Document], tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (Debian: poppler-utils) is not installed")
    for kind, document in documents.items():
        path = tmp_path / f"{kind}.pdf"
        path.write_bytes(report.render(document, "pdf"))
        text = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout
        assert text.count("Invented data – not a person") >= text.count("\f"), "marked on every page"
        for part in document.parts:
            if isinstance(part, Table):
                assert part.rows[0][0].split()[0] in text


@pytest.mark.parametrize("kind", ALL)
def test_docx_has_headings_alt_texts_and_table_headers(kind: str, documents: dict[str, Document]) -> None:
    document = documents[kind]
    content = report.render(document, "docx")
    paper = docx.Document(io.BytesIO(content))
    styles = [p.style.name for p in paper.paragraphs if p.style is not None]
    assert styles.count("Heading 1") == 1
    headings = sum(type(part).__name__ in ("Heading", "Box") for part in document.parts)
    assert sum(name in ("Heading 2", "Heading 3") for name in styles) == headings
    n_tables = sum(type(part).__name__ in ("Table", "BlankTable", "Facts") for part in document.parts)
    assert len(paper.tables) == n_tables
    for table in paper.tables:
        assert table.rows[0]._tr.trPr is not None and table.rows[0]._tr.trPr.xpath("w:tblHeader")
    alts = [shape._inline.docPr.get("descr") for shape in paper.inline_shapes]
    assert alts == [part.alt for part in document.parts if isinstance(part, Picture)]
    assert paper.core_properties.title == document.title and paper.core_properties.author == ""
    assert paper.sections[0].header.paragraphs[0].text == document.mark


def test_docx_has_no_clock_in_it(documents: dict[str, Document]) -> None:
    import zipfile

    with zipfile.ZipFile(io.BytesIO(report.render(documents["monthly"], "docx"))) as packed:
        assert {entry.date_time for entry in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}


@pytest.mark.parametrize("kind", ALL)
def test_html_stands_alone(kind: str, documents: dict[str, Document]) -> None:
    html = report.render(documents[kind], "html").decode()
    assert html.startswith("<!DOCTYPE html>") and '<html lang="en">' in html
    assert not re.search(r'(?:src|href)="(?!data:)', html), "nothing is fetched"
    assert "<script" not in html
    assert len(re.findall(r"<th[ >]", html)) == html.count('<th scope="col"') + html.count('<th scope="row"')
    assert html.count("<h1>") == 1
    assert html.count("Invented data – not a person") >= 2


def test_what_people_type_is_text_and_never_markup(settings: report.ReportSettings, invented: ModuleType) -> None:
    import dataclasses
    import datetime as dt

    from sibilant.terms.clinic import Event

    nasty = '<script>alert(1)</script> #strong[x] $x$ \\ "quoted" & *stars*'
    view = dataclasses.replace(invented.case(1), events=(Event(dt.date(2026, 4, 1), nasty),))
    document = report.compose("quarterly", view, dataclasses.replace(settings, picture_forms=()))
    assert b"<script" not in report.render(document, "html")
    assert report.render(document, "pdf").startswith(b"%PDF")
    assert nasty in "\n".join(p.text for p in docx.Document(io.BytesIO(report.render(document, "docx"))).paragraphs)


def test_html_has_no_serious_accessibility_issue(axe: str, documents: dict[str, Document], tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), chromium_sandbox=False, args=QUIET)
        page = browser.new_page()
        for kind, document in documents.items():
            path = tmp_path / f"{kind}.html"
            path.write_bytes(report.render(document, "html"))
            page.goto(path.as_uri())
            page.evaluate(axe)
            found = page.evaluate("async () => (await axe.run()).violations")
            grave = [
                f"{v['id']}: {json.dumps(v['nodes'][0]['target'])}"
                for v in found
                if v["impact"] in ("serious", "critical")
            ]
            assert not grave, f"{kind}: {grave}"
        browser.close()


def test_docx_keeps_the_box_with_the_fields_to_sign(documents: dict[str, Document]) -> None:
    """No signature, and no last line of a box, is parted from what stands before it."""
    for kind in ("monthly", "quarterly", "discharge"):
        paper = docx.Document(io.BytesIO(report.render(documents[kind], "docx")))
        first = [paragraph.text for paragraph in paper.paragraphs].index("How this was measured")
        closing = paper.paragraphs[first:]
        held = [paragraph.paragraph_format.keep_with_next for paragraph in closing]
        assert closing[-1].text.startswith("Signature and date") and all(held[:-1]) and not held[-1], kind
