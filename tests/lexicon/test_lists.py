"""The built-in lists against the word material they were made from."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sibilant.errors import ListError
from sibilant.lexicon import builtin_list, list_names, list_note

SHARED = Path(__file__).parents[3] / "shared" / "words"
# Part G1 of the word material, as printed there.
LISTS = {
    "core-a": "seal sand sun sock soap side castle messy recycle muscle goose bus rice purse spark star skate snow sled"
    " swim",
    "core-b": "seed saddle summer soccer soda sign bison icing dinosaur fossil moose kiss dice grass speed stamp scarf"
    " smoke slide swing",
    "three-a": "splinter spray straw screw squid",
    "three-b": "split spring string scrape square",
    "sh-a": "sheep shadow shovel shark shoe fish brush",
    "sh-b": "sheet shell ship shop shower dish leash",
    "foils": "tar led wing mall nap leap tone car lip ball apple moon leg egg pillow window monkey rabbit yellow"
    " potato",
}


@pytest.mark.parametrize("name", LISTS)
def test_lists_are_the_word_material(name: str) -> None:
    assert [p.text for p in builtin_list(name)] == LISTS[name].split()


@pytest.mark.parametrize("name", list_names())
def test_every_list_can_be_read(name: str) -> None:
    prompts = builtin_list(name)
    assert prompts and list_note(name)
    if name.startswith(("core", "three", "sh-", "pool-")):
        assert all(sum(s.phone == p.target for s in p.slots) == 1 for p in prompts)


def test_forms_share_no_word_and_hold_no_other_sibilant() -> None:
    a, b = builtin_list("core-a"), builtin_list("core-b")
    assert not {p.text for p in a} & {p.text for p in b}
    assert all(len(p.slots) == 1 for p in (*a, *b))
    assert [p.slots[0].position for p in a].count("initial") == 12


def test_pools_and_pairs_hold_every_word_of_the_material() -> None:
    if not SHARED.exists():
        pytest.skip("the word material lies beside the checkout, and is not there")
    with (SHARED / "words.csv").open(encoding="utf-8", newline="") as stream:
        words = {row["word"] for row in csv.DictReader(stream)}
    held = {p.text for name in list_names() if not name.startswith("pairs") for p in builtin_list(name)}
    assert words <= held
    with (SHARED / "pairs.csv").open(encoding="utf-8", newline="") as stream:
        pairs = [(row["word_with_s"], row["partner"]) for row in csv.DictReader(stream)]
    kept = [builtin_list(name) for name in list_names() if name.startswith("pairs")]
    assert {(a.text, b.text) for prompts in kept for a, b in zip(prompts[::2], prompts[1::2], strict=True)} == set(
        pairs
    )


def test_pairs_differ_by_one_phone() -> None:
    for name in list_names():
        if name.startswith("pairs-s-"):
            for with_s, partner in zip(builtin_list(name)[::2], builtin_list(name)[1::2], strict=True):
                one, other = with_s.phones, partner.phones
                if len(one) == len(other):
                    assert sum(a != b for a, b in zip(one, other, strict=True)) == 1
                else:
                    assert len(one) == len(other) + 1


def test_unknown_list_names_the_ones_there_are() -> None:
    with pytest.raises(ListError, match="core-a"):
        builtin_list("nonsense")
