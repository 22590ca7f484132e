"""Pictures for children who do not read: in practice and on sheets; in a probe only where every word has one."""

from __future__ import annotations

import io
import re
import zipfile

import pikepdf
import pytest

from sibilant import lexicon, report
from sibilant.clinic import practise
from sibilant.lexicon.dictionary import DATA

OFF = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False}


def test_only_words_of_our_lists_with_the_licence_beside_them() -> None:
    ours = {prompt.text for name in lexicon.list_names() for prompt in lexicon.builtin_list(name)}
    assert lexicon.drawn_words() <= ours
    assert {prompt.text for prompt in lexicon.builtin_list("pictured")} <= lexicon.drawn_words()
    for word in lexicon.drawn_words():
        svg = lexicon.drawing_of(word).decode()
        assert "script" not in svg and not re.search(r"href=\"(?!#)", svg) and "<text" not in svg, word
    assert "Apache License" in (DATA / "drawings" / "LICENSE.txt").read_text(encoding="utf-8")


def test_the_form_by_pictures_is_balanced_as_the_others() -> None:
    """One /s/ each, and every place of the word."""
    prompts = lexicon.builtin_list("pictured")
    assert all(len(one.slots) == 1 and one.slots[0].phone == "S" for one in prompts)
    assert {one.slots[0].position for one in prompts} == {"initial", "medial", "final"}


def test_a_sheet_shows_its_drawings_in_each_form() -> None:
    sheet = practise.compose_sheet("word", [lexicon.expect(word) for word in ("castle", "recycle")])
    assert report.render(sheet, "html").count(b'class="drawn"') == 1
    with zipfile.ZipFile(io.BytesIO(report.render(sheet, "docx"))) as packed:
        assert len([name for name in packed.namelist() if name.startswith("word/media/")]) == 1
    with pikepdf.open(io.BytesIO(report.render(sheet, "pdf"))) as pdf:
        assert pdf.Root.MarkInfo.Marked and len(pdf.pages) == 1


@pytest.mark.parametrize(("words", "answer"), [("core-a", 400), ("pictured", 200)])
def test_a_probe_by_pictures_has_one_for_every_word_or_none(served, words: str, answer: int) -> None:
    asked = {"words": words, "pictures": True, "rate": 44_100, "microphone": OFF}
    status, told = served.told("/do/take/begin?client=C-7QXK", asked)
    assert status == answer
    assert told["pictures"] if answer == 200 else "no drawing" in told["error"]


def test_a_child_sees_pictures_and_no_phonetic_signs(browse, served) -> None:
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/capture?client=C-7QXK")
    assert page.is_hidden("#by-picture")
    page.select_option("#words", "pictured")
    page.check("#pictures")
    page.check("#agreed")
    page.click("#listen")
    page.click("#start:not([disabled])")
    page.wait_for_function("() => document.querySelector('#drawing').naturalWidth > 0")
    assert page.is_hidden("#word") and page.inner_text("#stage-place") == "1 of 20 · sun"
    page.keyboard.press("Escape")
    page.click("#away")
    page.click("#erase")
    page.wait_for_selector("#setup:not([hidden])")
    page.goto(f"{served.base}/practise?client=C-7QXK")
    for level, shown in (("syllable", "see"), ("set-of-three", "box – box – box")):
        page.select_option("#level", level)
        page.select_option("#run-form #words", "pool-ks-final" if level == "set-of-three" else "")
        page.click("text=Begin the run")
        page.wait_for_selector("#run:not([hidden])")
        assert page.inner_text("#run-word") == shown
        page.keyboard.press("Escape")
        page.wait_for_selector("#over:not([hidden])")
        page.click("text=Practise on")
    assert page.wrong == []
