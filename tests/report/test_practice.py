"""Practice sheets: only words with the sound, other hisses marked, probe words refused, words become treated."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from click.testing import CliRunner

from sibilant import lexicon, store
from sibilant.clinic import practise
from sibilant.errors import ListError, RefusedError, UsageError
from sibilant.terms.clinic import Client
from sibilant.terms.document import Document, Paragraph, PracticeItem
from sibilant.terms.vocabulary import PRACTICE_LEVELS

LISTS = {
    "isolation": "",
    "syllable": "",
    "word": "pool-s-initial",
    "set-of-three": "pool-st",
    "phrase": "core-b",
    "sentence": "",
}


def items(document: Document) -> list[PracticeItem]:
    return [part for part in document.parts if isinstance(part, PracticeItem)]


def letters(item: PracticeItem, kind: str) -> list[str]:
    return [text for text, how in item.runs() if how == kind]


def test_sentences_where_sentences_are_asked_for_and_no_phonetic_signs() -> None:
    """Words asked for as sentences stand in sentences; syllables stand as a family would write them."""
    words = [*lexicon.builtin_list("pool-sn"), *lexicon.builtin_list("core-a")]
    found = practise.items_of("sentence", words)
    for prompt, item in zip(words, found, strict=True):
        assert prompt.text in item.text and item.text[0].isupper() and item.text[-1] in ".?" and item.target
    assert len({item.text for item in found}) == len(found)
    plain = set("abcdefghijklmnopqrstuvwxyz")
    for level, name in (("isolation", "sustained"), ("syllable", "syllables")):
        for item in practise.items_of(level, lexicon.builtin_list(name)):
            assert set(item.text + item.hint) <= plain, item


@pytest.mark.parametrize("level", PRACTICE_LEVELS)
@pytest.mark.parametrize("form", list(practise.FORMS.values()))
def test_every_level_in_every_format(level: str, form: str, tmp_path: Path) -> None:
    path = tmp_path / f"sheet.{form}"
    document = practise.make_sheet(practise.SheetRequest(level, LISTS[level]), path)
    assert path.stat().st_size > 2000
    assert all(letters(item, "target") for item in items(document)), "the sound to practise is marked in each"
    before = path.read_bytes()
    practise.make_sheet(practise.SheetRequest(level, LISTS[level]), path)
    assert path.read_bytes() == before, "same in, same out"
    assert document.large_print


def test_marks_stand_on_the_right_letters() -> None:
    sheet = practise.compose_sheet("sentence", [lexicon.expect("The sheep found a sock and a shoe on the shore.")])
    (item,) = items(sheet)
    assert letters(item, "target") == ["s"] and letters(item, "other") == ["sh", "sh", "sh"]
    (thrice,) = items(practise.compose_sheet("set-of-three", [lexicon.expect("fossil")]))
    assert thrice.text == "fossil – fossil – fossil" and letters(thrice, "target") == ["ss", "ss", "ss"]


def test_ticks_are_never_data() -> None:
    sheet = practise.compose_sheet("word", [lexicon.expect("seal")])
    said = " ".join(part.text for part in sheet.parts if isinstance(part, Paragraph))
    assert "They are not counted and go in no record." in said


def test_a_word_without_the_sound_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ListError, match="without the sound to practise"):
        practise.make_sheet(practise.SheetRequest("word", "foils"), tmp_path / "sheet.pdf")
    assert not list(tmp_path.iterdir())


def test_wrong_questions_are_one_line(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="needs words"):
        practise.SheetRequest("word")
    with pytest.raises(UsageError, match="none of isolation"):
        practise.SheetRequest("paragraph", "core-a")
    with pytest.raises(UsageError, match=r"\.pdf, \.html or \.docx"):
        practise.make_sheet(practise.SheetRequest("word", "core-a"), tmp_path / "sheet.odt")


@pytest.fixture
def caseload(tmp_path: Path) -> store.Caseload:
    one = store.open_caseload(tmp_path / "caseload", who="R1", clock=lambda: dt.datetime(2026, 5, 4, 9, tzinfo=dt.UTC))
    store.add_client(one, Client("C-7QXK", 80, dt.date(2026, 1, 12), invented=True))
    return one


def test_words_become_treated_from_that_day(caseload: store.Caseload, tmp_path: Path) -> None:
    request = practise.SheetRequest("word", "pool-sn", "C-7QXK")
    document = practise.make_sheet(request, tmp_path / "sheet.pdf", caseload=caseload)
    treated = store.get_client(caseload, "C-7QXK").treated
    assert set(treated) == {item.text for item in items(document)}
    assert set(treated.values()) == {dt.date(2026, 5, 4)}
    assert document.mark == "Invented data – not a person"
    again = practise.make_sheet(
        practise.SheetRequest("word", client="C-7QXK"), tmp_path / "again.pdf", caseload=caseload
    )
    assert {item.text for item in items(again)} == set(treated), "a client's own sheet holds its practice words"


def test_a_client_without_practice_words_gets_the_way_out(caseload: store.Caseload, tmp_path: Path) -> None:
    with pytest.raises(ListError, match="name a list with --words"):
        practise.make_sheet(practise.SheetRequest("word", client="C-7QXK"), tmp_path / "sheet.pdf", caseload=caseload)


def test_probe_words_are_refused_unless_told(
    caseload: store.Caseload, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from types import SimpleNamespace

    probed = SimpleNamespace(tokens=(SimpleNamespace(prompt="seal"), SimpleNamespace(prompt="bus")))
    monkeypatch.setattr(store, "read_case", lambda *_: probed)
    request = practise.SheetRequest("word", "core-a", "C-7QXK")
    with pytest.raises(RefusedError, match="seal, bus in its probe list"):
        practise.make_sheet(request, tmp_path / "sheet.pdf", caseload=caseload)
    assert not (tmp_path / "sheet.pdf").exists() and not store.get_client(caseload, "C-7QXK").treated
    told = practise.SheetRequest("word", "core-a", "C-7QXK", probe_words=True)
    practise.make_sheet(told, tmp_path / "sheet.pdf", caseload=caseload)
    assert "seal" in store.get_client(caseload, "C-7QXK").treated


def test_command_line(tmp_path: Path) -> None:
    from sibilant_cli.practice import command

    ran = CliRunner().invoke(command, ["--words", "pool-sn", "--to", str(tmp_path / "sheet.pdf")])
    assert ran.exit_code == 0 and ran.output == "sheet.pdf written\n"
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
