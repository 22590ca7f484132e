"""Words in any script: every form of a report is made, and what can't be shown is said in its place."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from sibilant.charts import signs
from sibilant.report import render
from sibilant.report.legible import without
from sibilant.terms.document import Document, Paragraph, Table

TEXTS = {
    "chinese": "speaks 中文 at home",
    "arabic": "speaks العربية at home",
    "hindi": "speaks हिन्दी",
    "cyrillic": "говорит по-русски",
    "emoji": "happy \U0001f642 today \U0001f469‍\U0001f467",
    "polish": "Łódź żółć",
    "ipa": "said /θɪŋ/ ʃ ɬ s̪",
    "mark": "\ufeffpasted\u00adtext\u200b here",
    "control": "pasted\x0bline \x01\ufffe",
    "right to left": "\u202ecba\u2066",
}


def document(text: str) -> Document:
    return Document("note", "A title", (Paragraph(text), Table("a table", ("words",), ((text,),))))


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("form", ["html", "pdf", "docx"])
def test_a_report_comes_out_in_every_form(name: str, form: str) -> None:
    assert len(render(document(TEXTS[name]), form)) > 400  # type: ignore[arg-type]


def shown(made: bytes, folder: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here")
    (folder / "one.pdf").write_bytes(made)
    return subprocess.run(["pdftotext", str(folder / "one.pdf"), "-"], capture_output=True, text=True).stdout


def test_a_sign_without_a_font_is_told_in_its_place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(signs, "system_fonts", lambda wanted: ())
    text = shown(render(document("speaks 中文 at home"), "pdf"), tmp_path)
    assert "speaks [2 signs that this page has no font for] at home" in " ".join(text.split())


def test_a_sign_that_a_font_of_the_system_holds_is_shown(tmp_path: Path) -> None:
    wanted = signs.missing_signs("говорит")
    if wanted and not wanted <= signs.held_by(tuple(path for _, path in signs.system_fonts(wanted))):
        pytest.skip("no font of this system holds Cyrillic")
    assert "говорит по-русски" in shown(render(document("говорит по-русски"), "pdf"), tmp_path)


def test_what_the_shipped_fonts_hold_is_left_as_it_is() -> None:
    assert signs.missing_signs(TEXTS["ipa"] + TEXTS["polish"]) == frozenset()
    assert without(document("seal"), frozenset({0x4E2D})) == document("seal")
