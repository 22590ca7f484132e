"""Tables: round trips, the contract's columns, refusals; CSVW checked by an independent library."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sibilant.errors import ListError, OutputError
from sibilant.tables import (
    guarded,
    json_rows,
    read_intervals,
    read_judgements,
    read_list,
    read_response,
    read_reviews,
    token_columns,
    unguarded,
    write_table,
)
from sibilant.terms import measures_of

CONTRACT = (
    "recording sha256 speaker session level cue device prompt_index prompt attempt voice slot phone position cluster"
    " word word_index slot_probability reader place_onset_s place_offset_s"
    " stress vowel_before vowel_after rounded previous_phone next_phone finding word_onset_s word_offset_s onset_s"
    " offset_s duration_ms core_duration_ms boundary reviewed_by region_onset_s region_offset_s n_frames band_low_hz"
    " band_high_hz sampling_rate_hz centroid_hz sd_hz skewness excess_kurtosis peak_hz rise_ms voiced_share"
    " centroid_hz_low centroid_hz_high centroid_hz_boundary snr_db bandwidth_hz method flags"
).split()


def test_every_column_of_the_contract_is_there_once() -> None:
    names = [column.name for column in token_columns()]
    assert len(names) == len(set(names))
    assert set(CONTRACT) <= set(names)
    for measure in measures_of("token"):
        assert {measure.key, f"{measure.key}_low", f"{measure.key}_high", f"{measure.key}_boundary"} <= set(names)


@given(st.text())
def test_guard_can_be_undone_and_never_leaves_a_formula(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))


def test_written_cells_read_back(tmp_path: Path) -> None:
    rows = [
        {
            "recording": "=a.wav",
            "prompt": 'so, "it" is',
            "centroid_hz": 8123.4567,
            "skewness": -0.314,
            "onset_s": 0.12345,
        },
        {"recording": "b.wav", "centroid_hz": float("nan"), "finding": "no_frication"},
    ]
    path = tmp_path / "table.csv"
    write_table(path, rows)
    content = path.read_bytes()
    assert not content.startswith(b"\xef\xbb\xbf")
    with path.open(encoding="utf-8", newline="") as stream:
        first, second = csv.DictReader(stream)
    assert first["recording"] == "'=a.wav" and first["prompt"] == 'so, "it" is'
    assert first["centroid_hz"] == "8123" and first["skewness"] == "-0.31"
    assert second["centroid_hz"] == ""
    assert json_rows(rows)[1]["centroid_hz"] is None


def test_description_fits_the_table_by_frictionless(tmp_path: Path) -> None:
    """Independent library: frictionless reads every described column with its datatype."""
    frictionless = pytest.importorskip("frictionless")
    path = tmp_path / "table.csv"
    write_table(path, [{"recording": "a.wav", "centroid_hz": 8123.0, "prompt_index": 1}])
    described = json.loads((tmp_path / "table.csv-metadata.json").read_text(encoding="utf-8"))
    columns = described["tableSchema"]["columns"]
    schema = frictionless.Schema.from_descriptor(
        {"fields": [{"name": c["name"], "type": c["datatype"]} for c in columns]}
    )
    report = frictionless.validate(frictionless.Resource(path=path.name, basepath=str(tmp_path), schema=schema))
    assert report.valid, report.flatten(["note"])


def test_a_table_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no such"):
        write_table(tmp_path / "nowhere" / "table.csv", [])
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(OutputError, match=r"folder\.csv"):
        write_table(tmp_path / "folder.csv", [])
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder.csv"]


def test_lists_are_read_with_commas_semicolons_and_a_mark(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    for content in ("word,phones\nseal,\n\nfossil,/fɑsəl/\n", "\ufeffword;phones\nseal;\nfossil;/fɑsəl/\n"):
        path.write_text(content, encoding="utf-8")
        assert [(row.word, row.phones) for row in read_list(path)] == [("seal", ""), ("fossil", "/fɑsəl/")]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"wort\nseal\n", "no column word"),
        (b"word\n", "no prompts"),
        (b"word\n\xff\xfeseal\n", "not UTF-8"),
        (b"word,word\nseal,seal\n", "twice"),
        (b"word,phones\n,S IY L\n", "no word"),
        (b"word\nseal,sun,sock\n", "cells"),
        (b"word\nse\0al\n", "not a text file"),
        (b'word\n"seal\n', "not a CSV table"),
        (b"word,treated\nseal,perhaps\n", "yes, no or empty"),
    ],
)
def test_bad_lists_are_refused_in_one_line(tmp_path: Path, content: bytes, says: str) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(content)
    with pytest.raises(ListError, match=says) as caught:
        read_list(path)
    assert str(caught.value).startswith("list.csv: ") and "\n" not in str(caught.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(ListError, match="no such file"):
        read_list(tmp_path / "none.csv")
    with pytest.raises(ListError, match="a folder"):
        read_list(tmp_path)


def test_judgements_reviews_intervals_and_response(tmp_path: Path) -> None:
    path = tmp_path / "file.csv"
    path.write_text("prompt_index,attempt,slot,accuracy,type\n1,1,1,distorted,lateral\n", encoding="utf-8")
    assert read_judgements(path)[0].type == "lateral"
    path.write_text("prompt_index,attempt,slot,accuracy\n1,1,1,fine\n", encoding="utf-8")
    with pytest.raises(ListError, match="none of correct"):
        read_judgements(path)
    path.write_text("prompt_index,attempt,slot,onset_s,offset_s\n2,1,1,0.5,0.4\n", encoding="utf-8")
    with pytest.raises(ListError, match="onset first"):
        read_reviews(path)
    path.write_text("onset_s;offset_s;label\n0.5;0.7;s\n", encoding="utf-8")
    assert read_intervals(path)[0].label == "s"
    path.write_text("frequency_hz,level_db\n100,0\n50,1\n", encoding="utf-8")
    with pytest.raises(ListError, match="rising"):
        read_response(path)
