"""The door for notebooks: tables that say what they mean, short views, and one line where a call can't be."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import welch

import sibilant as sib
from sibilant.errors import OutputError, RecordingError, SibilantError, UsageError
from sibilant.tables import as_frame, described, few, token_columns
from sibilant.tables.columns import FEW

CLIP = sib.reference_sounds() / "ktuberling-stick.ogg"


@pytest.fixture(scope="module")
def found() -> sib.Measured:
    return sib.measure(CLIP, say="stick, bus", method=["house-15k", "house-7k"])


def test_the_table_is_the_files_table_typed_and_told(found: sib.Measured, tmp_path: Path) -> None:
    """Cell by cell what ``sibilant measure --to`` writes, read by pandas alone."""
    command = [sys.executable, "-m", "sibilant_cli", "measure", str(CLIP), "--say", "stick, bus", "--to", "t.csv"]
    subprocess.run([*command, "--method", "house-15k", "--method", "house-7k"], cwd=tmp_path, check=True,
                   capture_output=True)  # fmt: skip
    written = pd.read_csv(tmp_path / "t.csv", dtype=str, keep_default_na=False)
    assert list(written) == list(found.table) == [column.name for column in token_columns()]
    for column in token_columns():
        for cell, value in zip(written[column.name], found.table[column.name], strict=True):
            if column.datatype == "string":
                assert cell == ("" if pd.isna(value) else value)
            else:
                assert (cell == "") == pd.isna(value) and (cell == "" or float(cell) == pytest.approx(value))
    assert found.table.attrs["units"]["centroid_hz"] == "Hz" and "ms" in found.table.attrs["units"].values()
    assert set(found.table.attrs["meanings"]) == set(found.table)
    kinds = {name: str(kind) for name, kind in found.table.dtypes.items()}
    assert (kinds["finding"], kinds["slot"], kinds["centroid_hz"], kinds["prompt"]) == (
        "category", "Int64", "float64", "object",
    )  # fmt: skip
    assert list(found.table["position"].cat.categories) == ["initial", "medial", "final"]


def test_a_word_outside_its_set_keeps_its_column_text() -> None:
    frame = as_frame([{"phone": "S", "level": "wrod"}])
    assert str(frame["phone"].dtype) == "category" and frame["level"].tolist() == ["wrod"]
    again = described(pd.DataFrame({"finding": ["found", ""], "own": [1, 2]}))
    assert again["finding"].isna().tolist() == [False, True] and again["own"].tolist() == [1, 2]


def test_a_first_look_is_short_and_the_whole_is_kept(found: sib.Measured) -> None:
    look = found.first_look()
    assert set(look) <= set(FEW) and 15 <= look.shape[1] <= 20 < found.table.shape[1]
    assert "\n" not in repr(found) and len(repr(found)) < 200 and "measured 1 of 2 expected" in repr(found)
    html = found._repr_html_()
    assert html.count("<th>") == look.shape[1] and "centroid_hz" in html and "centroid_hz_low" not in html
    assert few([{"prompt": "", "onset_s": None, "level_db": 1.0}]) == ()


def test_one_sound_has_one_measurement_a_method(found: sib.Measured) -> None:
    assert [sound.finding for sound in found.sounds] == ["found", "prompt_missing"]
    assert [one.method.name for one in found.measurements] == ["house-15k", "house-7k"]
    assert len(found.suitability.tokens) == 1


def test_a_file_its_recording_and_its_samples_give_the_same_figures() -> None:
    recording = sib.read_recording(CLIP)
    same = [
        sib.measure(CLIP, say="stick"),
        sib.measure(recording, say="stick"),
        sib.measure(recording.samples, say="stick", sampling_rate_hz=recording.sampling_rate_hz),
    ]
    for other in same[1:]:
        left = other.table.drop(columns=["recording", "sha256"])
        pd.testing.assert_frame_equal(left, same[0].table.drop(columns=["recording", "sha256"]))
    scaled = np.round(np.clip(recording.samples, -1, 1) * 32767).astype(np.int16)
    coarse = sib.measure(scaled, say="stick", sampling_rate_hz=recording.sampling_rate_hz)
    assert coarse.table["centroid_hz"][0] == pytest.approx(same[0].table["centroid_hz"][0], rel=0.01)


def test_given_edges_are_measured_as_they_are(tmp_path: Path) -> None:
    pairs = sib.measure(CLIP, intervals=[(0.09, 0.25)])
    (tmp_path / "edges.csv").write_text("onset_s,offset_s\n0.09,0.25\n")
    listed = sib.measure(CLIP, intervals=tmp_path / "edges.csv")
    pd.testing.assert_frame_equal(pairs.table, listed.table)
    assert pairs.table[["onset_s", "offset_s", "boundary"]].values.tolist() == [[0.09, 0.25, "reviewed"]]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"say": "stick", "words": "core-a"}, "give one"),
        ({"intervals": [0.1, 0.2]}, "pairs of onset and offset"),
        ({"intervals": [(0.1, 99.0)]}, "ends at 99"),
        ({"sampling_rate_hz": 44100}, "goes with an array only"),
        ({"method": "house-99k"}, "house-99k"),
        ({"words": "no-such-list"}, "no-such-list"),
    ],
)
def test_what_can_not_be_is_told_in_one_line(asked: dict[str, object], said: str) -> None:
    with pytest.raises(SibilantError, match=said) as refused:
        sib.measure(CLIP, **asked)  # type: ignore[arg-type]
    assert "\n" not in str(refused.value)


def test_samples_need_their_rate_and_one_channel() -> None:
    with pytest.raises(UsageError, match="sampling_rate_hz"):
        sib.measure(np.zeros(4410))
    with pytest.raises(RecordingError, match="one channel"):
        sib.measure(np.zeros((4410, 2)), sampling_rate_hz=44100)
    with pytest.raises(UsageError, match="int32"):
        sib.measure(np.zeros(4410, dtype=np.int32), sampling_rate_hz=44100)


def test_a_picture_is_shown_and_saved(found: sib.Measured, tmp_path: Path) -> None:
    picture = found.plot()
    assert picture._repr_png_().startswith(b"\x89PNG") and "stick" in picture.words
    assert picture.save(tmp_path / "strips.svg").read_text().lstrip().startswith("<?xml")
    with pytest.raises(OutputError, match="ends in"):
        picture.save(tmp_path / "strips.bmp")
    with pytest.raises(UsageError, match="nothing to draw"):
        sib.measure(np.zeros(44100), sampling_rate_hz=44100).plot()


def test_a_spectrum_agrees_with_an_independent_library() -> None:
    """scipy's Welch estimate of the same stretch, in bands of 1 kHz, within 1 dB: different windows, same density."""
    noise = np.convolve(np.random.default_rng(3).standard_normal(44100), [1.0, -0.6], "same") / 10
    ours = sib.spectrum(noise, 0.1, 0.9, method="house-15k", sampling_rate_hz=44100)
    frequency_hz, density = welch(noise[4410:39690], 44100, nperseg=512)
    for low in range(2000, 14000, 1000):
        mine = ours.power_density[(ours.frequency_hz >= low) & (ours.frequency_hz < low + 1000)].mean()
        theirs = density[(frequency_hz >= low) & (frequency_hz < low + 1000)].mean()
        assert 10 * np.log10(mine / theirs) == pytest.approx(0, abs=1)
    for onset_s, offset_s in ((0.5, 0.4), (-0.1, 0.2), (0.9, 1.2)):
        with pytest.raises(UsageError, match="no stretch"):
            sib.spectrum(noise, onset_s, offset_s, sampling_rate_hz=44100)


def test_a_tone_stands_where_it_is_in_a_spectrogram() -> None:
    tone = np.sin(2 * np.pi * 6000 * np.arange(44100) / 44100) * 0.5
    shown = sib.spectrogram(tone, 0.2, 0.4, sampling_rate_hz=44100)
    assert shown.level_db.shape == (shown.time_s.size, shown.frequency_hz.size)
    assert abs(shown.frequency_hz[shown.level_db.mean(axis=0).argmax()] - 6000) < 150
    assert 0.19 < shown.time_s[0] < 0.22 and "Hz" in repr(shown)


def test_what_there_is_to_choose_from_can_be_used() -> None:
    methods = sib.list_methods()
    assert [sib.get_method(name).label for name in methods["name"]] == methods["method"].tolist()
    lists = sib.word_lists()
    assert lists["prompt_index"].min() == 1 and not lists["prompt"].eq("").any()
    child = sib.find_ranges("centroid_hz", age="7y4m", group="f")
    assert len(child) and set(child["fits"]) == {"no"} and child.loc[child["mean"].notna(), "why_not"].ne("").all()
    adult = sib.find_ranges("centroid_hz", age="21y", group="f", position="initial", level="word", cue="model",
                            method="open-adult")  # fmt: skip
    assert adult["fits"].tolist()[0] == "yes" and adult["source"][0]
    with pytest.raises(UsageError, match="not known"):
        sib.find_ranges("loudness")


def test_a_table_at_hand_is_compared_like_its_file(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    rows = [
        {"speaker": f"P{s}", "kind": kind, "prompt": f"w{w}", "phone": "S", "finding": "found", "voice": "client",
         "counts": "yes", "method": "house-15k/1", "centroid_hz": 6000 + 900 * (kind == "b") + rng.normal(0, 300)}
        for s in range(6) for kind in "ab" for w in range(5)
    ]  # fmt: skip
    frame = described(pd.DataFrame(rows))
    frame.to_csv(tmp_path / "table.csv", index=False)
    at_hand, read = sib.compare_groups(frame, "kind"), sib.compare_groups(tmp_path / "table.csv", "kind")
    pd.testing.assert_frame_equal(at_hand.table, read.table)
    assert at_hand.summary == read.summary and "60 tokens of 6 speakers" in repr(read)
    assert 500 < at_hand.table["estimate"][0] < 1300 and str(frame["phone"].dtype) == "category"
