"""Rows without their keys and back to the last bit; the view for reading by hand; damage stays. Invented data."""

from __future__ import annotations

import csv
import datetime as dt
import json
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sibilant import store
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.exchange import import_folder
from sibilant.store.encode import dump, kept_cells, load, measured_text, observed_text, told_cells
from sibilant.store.packing import PLACES, packed_measurement, packed_sound, told_measurement, told_sound
from sibilant.terms import MEASURES

KEPT = Path(__file__).parent / "kept"
MEASURED = "C-M4RT"
NUMBER = st.floats(allow_nan=False, allow_infinity=False)
KEYS = st.sampled_from([*PLACES[:8], *PLACES[-4:], "a_measure_of_an_earlier_program"])
FIGURES = st.dictionaries(KEYS, NUMBER, max_size=6)
FLAGS = st.lists(st.sampled_from(["buried", "weak", "voiced", "short"]), max_size=3)


def unpacked(name: str, to: Path) -> Path:
    """The folder of a kept file, as an earlier program wrote it."""
    with zipfile.ZipFile(KEPT / f"{name}.zip") as kept:
        kept.extractall(to)
    return to / name.partition("_")[2]


@st.composite
def told_measurements(draw: st.DrawFn) -> dict[str, Any]:
    """What one method measured, as exports and kept caseloads of earlier formats hold it."""
    values, low, high = draw(FIGURES), draw(FIGURES), draw(FIGURES)
    three = st.lists(NUMBER, min_size=3, max_size=3)
    uncut = draw(st.dictionaries(KEYS, three, max_size=3))
    uncut |= {key: [values[key], low[key], high[key]] for key in values.keys() & low.keys() & high.keys()}
    sums = draw(st.dictionaries(st.sampled_from(["power", "first", "low", "another"]), NUMBER, max_size=4))
    region = draw(st.none() | st.builds(lambda a, b: {"onset_s": a, "offset_s": b}, NUMBER, NUMBER))
    measures = {
        "values": values, "low": low, "high": high, "boundary": draw(FIGURES), "flags": draw(FLAGS), "region": region,
        "n_frames": draw(st.integers(0, 9)), "band_hz": draw(st.none() | st.just([1.0, 2.0])),
        "sampling_rate_hz": 44100,
        **{name: one for name, one in (("uncut", uncut), ("sums", sums)) if one},
    }  # fmt: skip
    kept = draw(st.none() | st.just(measures))
    return {
        "measures": kept, "snr_db": draw(st.none() | NUMBER), "bandwidth_hz": draw(st.none() | NUMBER),
        "flags": draw(FLAGS),
    }  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(told_measurements())
def test_what_is_told_comes_back_to_the_last_bit(told: dict[str, Any]) -> None:
    kept = json.loads(json.dumps(packed_measurement(told)))
    assert told_measurement(kept) == told
    assert told_measurement(told) == told, "what is told already stays"


def test_rows_of_a_kept_export_come_back_to_the_last_bit(tmp_path: Path) -> None:
    folder = unpacked("format9_measured_export", tmp_path)
    for table, column, packed, told in (
        ("tokens", "observed", packed_sound, told_sound),
        ("measurements", "measured", packed_measurement, told_measurement),
    ):
        with (folder / f"{table}.csv").open(newline="", encoding="utf-8") as stream:
            rows = list(csv.DictReader(stream))
        assert rows
        for row in rows:
            text = row[column]
            short = dump(packed(load(text)))
            assert dump(told(load(short))) == text and len(short) < 0.65 * len(text)
            assert told_cells(table, kept_cells(table, row)) == row


def test_every_measure_of_one_sound_has_its_place_for_ever() -> None:
    """The order is what kept caseloads hold: it grows at its end, and nothing in it moves."""
    assert {measure.key for measure in MEASURES.values() if measure.scope in {"token", "take"}} == set(PLACES)
    assert len(set(PLACES)) == len(PLACES)
    assert [PLACES.index(key) for key in ("centroid_hz", "peak_hz", "duration_ms", "n_breaks")] == [0, 11, 23, 39]


def test_a_list_longer_than_there_are_measures_is_no_measurement() -> None:
    with pytest.raises(ValueError, match="at most 42"):
        told_measurement({"values": [1.0] * 43, "n_frames": 1, "sampling_rate_hz": 44100})


def test_the_view_gives_every_figure_its_name(tmp_path: Path) -> None:
    """Read by Python's own sqlite3 beside what this program reads."""
    folder = unpacked("format9_plain", tmp_path)
    with store.open_caseload(folder, create=False) as one:
        case = store.read_case(one, MEASURED)
    with sqlite3.connect(folder / "caseload.sqlite") as database:
        database.row_factory = sqlite3.Row
        rows = database.execute("SELECT * FROM sounds_measured WHERE client = ?", (MEASURED,)).fetchall()
    seen = {(row["session"], row["sound"], row["method"]): row for row in rows}
    assert len(seen) == sum(len(token.measurements) for token in case.tokens) == len(rows)
    for token in case.tokens:
        for label, measured in token.measurements.items():
            row, one = seen[token.session, token.key, label], measured.measures
            assert token.sound.edges is not None
            assert (row["prompt"], row["onset_s"]) == (token.prompt, token.sound.edges.automatic.onset_s)
            assert (row["snr_db"], json.loads(row["flags"])) == (measured.snr_db, list(measured.flags))
            assert row["tonality_db"] == one.values.get("tonality_1_db"), "as it is kept: an earlier program's name"
            for key in (key for key in PLACES if not key.startswith("tonality_")):
                assert row[key] == one.values.get(key) and row[f"{key}_low"] == one.low.get(key)
                assert row[f"{key}_high"] == one.high.get(key) and row[f"{key}_boundary"] == one.boundary.get(key)


def test_a_row_damaged_before_it_was_brought_up_is_still_named(tmp_path: Path) -> None:
    folder = unpacked("format9_plain", tmp_path)
    with sqlite3.connect(folder / "caseload.sqlite") as database:
        (text,) = database.execute("SELECT measured FROM measurements WHERE id = 1").fetchone()
        database.execute("UPDATE measurements SET measured = ? WHERE id = 1", (text.replace("6000", "6001", 1),))
    with store.open_caseload(folder, create=False) as one:
        assert store.look_at_rows(one).damaged == ("measurements row 1: changed since it was kept",)


def test_a_sound_takes_less_than_four_kilobytes(tmp_path: Path) -> None:
    """Observed and measured under three methods; a row's other cells and its indexes take about 300 bytes more."""
    folder = unpacked("format9_measured_export", tmp_path)
    import_folder(CaseloadHandle(tmp_path / "case"), folder, day_zero=dt.date(2026, 1, 12))
    with store.open_caseload(tmp_path / "case", create=False) as one:
        tokens = store.read_case(one, MEASURED).tokens
    assert len(tokens) == 4 and all(len(token.measurements) == 3 for token in tokens)
    for token in tokens:
        texts = [observed_text(token.sound), *map(measured_text, token.measurements.values())]
        assert sum(map(len, texts)) < 3700
