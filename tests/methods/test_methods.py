"""Methods as data: names, limits, unknowns, matching."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sibilant.errors import MethodError
from sibilant.methods import (
    HOUSE_7K,
    HOUSE_10K,
    HOUSE_15K,
    OPEN_ADULT,
    get_method,
    matched,
    method_names,
    published_names,
    supports,
    with_response,
)
from sibilant.terms import MicrophoneResponse

SHARED = Path(__file__).parents[2].parent / "shared"


def test_names_and_labels() -> None:
    assert method_names()[:4] == ("house-15k", "house-10k", "house-7k", "open-adult")
    assert {"forrest-1988", "jongman-2000", "koenig-2013", "holliday-2015", "shadle-2023", "wong-munson-2025",
            "haley-2010"} <= set(published_names())  # fmt: skip
    assert get_method("house-10k/2") is HOUSE_10K is get_method("house-10k")
    assert (get_method("house-10k/1").version, get_method("house-10k/1").noise) == (1, "observed")
    for name in method_names():
        assert get_method(name).label == f"{name}/{get_method(name).version}"


def test_unknown_names_say_the_way_out() -> None:
    with pytest.raises(MethodError, match="known methods: house-15k"):
        get_method("house-20k")
    with pytest.raises(MethodError, match="ask for house-15k/2"):
        get_method("house-15k/9")


def test_published_ones_say_what_is_not_known() -> None:
    for name in published_names():
        method = get_method(name)
        assert method.unknown and method.citation and method.published
    assert not HOUSE_15K.unknown and not HOUSE_15K.published


@pytest.mark.parametrize(("method", "rate_hz", "bandwidth_hz", "able"), [
    (HOUSE_15K, 44100, None, True), (HOUSE_15K, 32000, None, True), (HOUSE_15K, 22050, None, False),
    (HOUSE_10K, 22050, None, True), (HOUSE_7K, 16000, None, True), (HOUSE_7K, 11025, None, False),
    (HOUSE_15K, 44100, 15700.0, False), (HOUSE_15K, 44100, 15800.0, True), (HOUSE_10K, 48000, 8000.0, False),
])  # fmt: skip
def test_top_at_most_095_of_the_bandwidth(method, rate_hz: float, bandwidth_hz: float | None, able: bool) -> None:
    # methods.md section 2: a method is used only where its top is at most 0.95 times the effective bandwidth.
    assert supports(method, rate_hz, bandwidth_hz) is able


def test_matched_is_named_so() -> None:
    narrow = matched(HOUSE_15K, 22050.0, 8000.0)
    assert narrow.name == "house-15k-to-7600" and narrow.band_hz == (1000.0, 7600.0)
    assert matched(HOUSE_10K, 22050.0, 24000.0) is HOUSE_10K
    assert supports(narrow, 16000)
    with pytest.raises(MethodError, match="compare durations"):
        matched(HOUSE_15K, 1500.0)


def test_response_is_named() -> None:
    response = MicrophoneResponse("desk-1", (100.0, 20000.0), (0.0, -3.0))
    assert with_response(HOUSE_15K, response).response == "desk-1"
    assert with_response(HOUSE_15K, None) is HOUSE_15K
    with pytest.raises(MethodError, match="choose a narrower method"):
        with_response(HOUSE_15K, MicrophoneResponse("phone", (100.0, 8000.0), (0.0, 0.0)))
    for bad in (
        ((1.0,), (0.0,)),
        ((2.0, 1.0), (0.0, 0.0)),
        ((1.0, 2.0), (0.0, float("nan"))),
        ((0.0, 1.0), (0.0, 0.0)),
    ):
        with pytest.raises(ValueError, match="microphone response"):
            MicrophoneResponse("bad", *bad)


def test_protocols_agree_with_the_reference_tables() -> None:
    # Source: the shared published values (columns window, window_ms, band, rate), where a source gave them.
    path = SHARED / "reference" / "published.csv"
    if not path.exists():
        pytest.skip("the shared reference tables do not lie beside this checkout")
    with path.open(encoding="utf-8", newline="") as stream:
        rows = {row["citation_key"]: row for row in csv.DictReader(stream)}
    jongman, shadle = rows["jongman2000"], rows["shadle2023b"]
    method = get_method("jongman-2000")
    assert method.rate_hz == float(jongman["sampling_rate_hz"])
    assert method.band_hz == (float(jongman["band_low_hz"]), float(jongman["band_high_hz"]))
    assert {w.length_ms for w in method.windows} == {float(jongman["window_ms"])} and method.taper == "hamming"
    assert get_method("shadle-2023").n_tapers == 3 and shadle["window"].startswith("3 DPSS")
    assert get_method("shadle-2023").band_hz[1] == float(shadle["band_high_hz"])


def test_open_adult_is_the_method_of_the_computed_values() -> None:
    path = SHARED / "reference" / "computed_adult.csv"
    if not path.exists():
        pytest.skip("the shared reference tables do not lie beside this checkout")
    with path.open(encoding="utf-8", newline="") as stream:
        row = next(csv.DictReader(stream))
    assert (OPEN_ADULT.n_tapers, OPEN_ADULT.time_bandwidth) == (8, 4.0) and row["window"].startswith(
        "8 DPSS tapers, NW=4"
    )
    assert OPEN_ADULT.band_hz == (float(row["band_low_hz"]), float(row["band_high_hz"]))
    assert OPEN_ADULT.windows[0].share == 0.5 and row["placement"] == "middle 50%"
