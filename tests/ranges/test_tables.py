"""The shipped tables: by their schema, and against the reference files they were copied from."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from sibilant.ranges import all_ranges
from sibilant.ranges.tables import check_values, read_sources, read_values
from sibilant.terms import MEASURES

SHARED = Path(__file__).parents[3] / "shared" / "reference"


def test_the_schema_holds() -> None:
    assert check_values(read_values(), read_sources()) == []


FAULTS = {
    "value": "n/a",
    "obtained": "guessed",
    "citation_key": "nobody",
    "sex": "x",
    "use": "x",
    "statistic": "x",
    "n_speakers": "ten",
    "key": "",
}
COPIED = (
    "value",
    "measure",
    "phoneme",
    "age_low_y",
    "age_high_y",
    "citation_key",
    "band_low_hz",
    "band_high_hz",
    "confidence",
)


@pytest.mark.parametrize(("name", "cell"), FAULTS.items())
def test_the_schema_can_fail(name: str, cell: str) -> None:
    rows = [dict(row) for row in read_values()[:1]]
    rows[0][name] = cell
    assert len(check_values(rows, read_sources())) == 1
    assert check_values([rows[0] | {name: read_values()[0][name]}] * 2, read_sources()) == ["c001: the id is taken"]


def test_every_number_is_the_one_in_the_reference_files() -> None:
    if not SHARED.exists():
        pytest.skip("the reference files lie beside the checkout, and are not there")
    theirs: dict[str, dict[str, str]] = {}
    for name in ("published.csv", "computed_adult.csv", "child.csv"):
        with (SHARED / name).open(encoding="utf-8", newline="") as stream:
            theirs.update({row["id"]: row for row in csv.DictReader(stream)})
    ours = {row["id"]: row for row in read_values()}
    assert ours.keys() == theirs.keys()
    for key, row in ours.items():
        original = theirs[key]
        for name in COPIED:
            assert row[name] == original[name], (key, name)
        assert row["n_speakers"] == original["n_speakers"].replace("not stated", "")
        expected = {"read": {"read", "second-hand"}}.get(original["provenance"], {original["provenance"]})
        assert row["obtained"] in expected, key


def test_every_source_is_cited_in_full_and_says_how_it_was_had() -> None:
    for row in read_sources().values():
        assert row["citation"] and row["how_had"], row


def test_values_of_this_project_are_labelled_so() -> None:
    computed = [row for row in all_ranges() if row.basis.citation_key == "phoneigen_data"]
    assert computed
    assert all(row.basis.label == "measured by this project from open recordings, 16 speakers" for row in computed)
    children = [row for row in all_ranges() if row.use == "orientation"]
    assert children and all("never a norm for English-speaking children" in row.basis.label for row in children)
    assert all(row.method == "open-adult-7k" and row.band_hz == (1000.0, 7500.0) for row in children)


def test_no_child_range_is_shipped_that_could_be_placed() -> None:
    assert all(row.population.adult for row in all_ranges() if row.use == "value")


def test_measures_and_methods_are_known_ones() -> None:
    from sibilant.methods import get_method

    for row in all_ranges():
        if row.use in ("value", "orientation"):
            assert row.measure in MEASURES, row
            assert MEASURES[row.measure].unit == row.unit, row
        if row.method:
            assert get_method(row.method).band_hz == row.band_hz, row


PLACE_ON_A_MACHINE = re.compile(r"(?<![\w/.])(/\w[\w.-]*){2,}|[A-Z]:\\\\?\w|~/|\b[a-z]+_[a-z]+\(")


def test_a_source_is_told_by_what_anyone_can_look_up() -> None:
    """No path of a machine and no call of a program stands in the tables; addresses of the web may."""
    for told in ("read in /some/folder/notes.csv", "C:\\notes", "~/notes", "some_call(x)"):
        assert PLACE_ON_A_MACHINE.search(told), told
    rows = [" ".join(row.values()) for row in (*read_values(), *read_sources().values())]
    assert len(rows) > 800
    for text in rows:
        assert not PLACE_ON_A_MACHINE.search(re.sub(r"https?://\S+", "", text)), text


def test_both_acquisition_norms_are_there_with_their_notes() -> None:
    """Crowe & McLeod 2020: /s/ 4;0-4;11; Smit et al. 1990: 7;0-9;0 (the trade's own figures, as in the files)."""
    from sibilant.ranges import acquisition
    from sibilant.ranges.wording import ACQUISITION_NOTE, band_words

    words = {row.basis.citation_key: set() for row in acquisition("S")}
    for row in acquisition("S"):
        words[row.basis.citation_key].add(band_words(row))
    assert words["crowe2020"] == {"4;0 to 4;11"} and "7;0 to 9;0" in words["smit1990"]
    assert "treated /s z/ specially" in ACQUISITION_NOTE and "lateral or palatal" in ACQUISITION_NOTE
