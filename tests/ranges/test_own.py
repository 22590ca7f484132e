"""Ranges that a user enters."""

from __future__ import annotations

from pathlib import Path

import pytest

from sibilant.clinic.caseload import OWN_RANGES, CaseloadHandle
from sibilant.clinic.compare import add_ranges, own_ranges
from sibilant.errors import OutputError, RangeError
from sibilant.ranges import Question, TokenValue, compare, find, own_ranges_csv, read_own_ranges

HEAD = "measure,phone,mean,sd,n_speakers,age_low_y,age_high_y,sex,population,position,cue,method,citation"
GOOD = "centroid_hz,s,7000,500,24,7,8,both,Invented data – not a person,initial,any,house-15k,Invented source (2020)"


def written(folder: Path, *lines: str, name: str = "mine.csv") -> Path:
    path = folder / name
    path.write_text("\n".join((HEAD, *lines)) + "\n", encoding="utf-8")
    return path


def test_an_own_range_is_marked_and_can_be_compared_for_a_child(tmp_path: Path) -> None:
    (row,) = read_own_ranges(written(tmp_path, GOOD))
    assert row.basis.obtained == "yours" and "entered by the user" in row.basis.label
    asked = Question("centroid_hz", age_months=88, group="f", position="initial", cue="spontaneous", level="word")
    tokens = [TokenValue(6900.0 + i, "S", "initial", "", "word", "spontaneous", "house-15k/1") for i in range(6)]
    made = compare(tokens, asked, own=[row])
    assert made.placement == "within" and "entered by the user" in made.statement
    # By hand: t(23) = 2.069 (printed table, from memory); 2.069 x 500 x sqrt(1 + 1/24) = 1056
    assert made.band == pytest.approx((5944, 8056), abs=1)
    assert find(asked).none_fits


def test_an_own_adult_range_is_not_set_beside_a_minor(tmp_path: Path) -> None:
    (row,) = read_own_ranges(written(tmp_path, GOOD.replace(",7,8,", ",20,40,")))
    assert find(Question("centroid_hz", age_months=88, position="initial", n_tokens=9), own=[row]).none_fits


WRONG = [
    ("centroid_hz", "sharpness", "not known"),
    (",s,", ",f,", "phone"),
    ("7000", "seven", "not a number"),
    ("7000", "7000,5", "is not f, m or both|not a number|ages"),
    ("7000", "", "empty"),
    (",500,", ",0,", "above 0"),
    (",24,", ",1,", "from 2 up"),
    (",24,", ",2.5,", "from 2 up"),
    (",7,8,", ",8,7,", "not a range"),
    (",7,8,", ",16,30,", "mix minors"),
    ("both", "boys", "sex"),
    ("initial", "front", "position"),
    ("house-15k", "", "needs its method"),
    ("house-15k", "house-99k", "no method is called"),
    ("7000", "700", "outside the band"),
    ("Invented source (2020)", "", "empty"),
    ("Invented data – not a person", "", "empty"),
]


@pytest.mark.parametrize(("old", "new", "match"), WRONG)
def test_what_is_incomplete_or_contradicts_itself_is_one_line(tmp_path: Path, old: str, new: str, match: str) -> None:
    path = written(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(RangeError, match=match) as caught:
        read_own_ranges(path)
    assert "\n" not in str(caught.value) and str(caught.value).startswith("mine.csv, row 2")
    with pytest.raises(RangeError):
        add_ranges(path, CaseloadHandle(tmp_path / "kept"))
    assert not (tmp_path / "kept" / OWN_RANGES).exists()


NO_TABLES = [b"", b"\xff\xfe\x00", b"measure,phone\nx,s\n", f"{HEAD}\n".encode(), f"{HEAD},colour\n".encode()]


@pytest.mark.parametrize("content", NO_TABLES)
def test_files_that_are_no_table_of_ranges(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(RangeError, match=r"^bad\.csv"):
        read_own_ranges(path)
    with pytest.raises(RangeError, match=r"^nowhere\.csv"):
        read_own_ranges(tmp_path / "nowhere.csv")


def test_kept_after_those_already_there_and_only_once(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    assert own_ranges(CaseloadHandle(kept)) == ()
    assert len(add_ranges(written(tmp_path, GOOD, GOOD), CaseloadHandle(kept))) == 1
    assert add_ranges(written(tmp_path, GOOD), CaseloadHandle(kept)) == ()
    second = GOOD.replace("house-15k", "house-10k").replace("Invented source", "Second, invented source")
    assert (
        len(
            add_ranges(
                written(tmp_path, second.replace("Second, invented", '"Second, invented') + '"'), CaseloadHandle(kept)
            )
        )
        == 1
    )
    assert [row.method for row in own_ranges(CaseloadHandle(kept))] == ["house-15k", "house-10k"]
    assert [path.name for path in kept.iterdir()] == [OWN_RANGES]


def test_round_trip_and_semicolons(tmp_path: Path) -> None:
    rows = read_own_ranges(written(tmp_path, GOOD, GOOD.replace("7000", "7000.25").replace("both", "f")))
    path = tmp_path / "again.csv"
    path.write_text("\ufeff" + own_ranges_csv(rows), encoding="utf-8")
    assert read_own_ranges(path) == rows
    path.write_text(HEAD.replace(",", ";") + "\n" + GOOD.replace(",", ";") + "\n", encoding="utf-8")
    assert read_own_ranges(path) == rows[:1]


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "kept").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError):
        add_ranges(written(tmp_path, GOOD), CaseloadHandle(tmp_path / "kept"))
