"""Known-answer sounds: what is measured against what the registry says of each file."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sibilant.acoustics import measure, sustained, timings
from sibilant.audio import read_recording
from sibilant.methods import HOUSE_15K, matched
from sibilant.terms import MEASURES, Edge, Interval, Measures, Recording, SibilantInterval, Source, measures_of

FOLDER = Path(__file__).parents[2] / "reference_audio"


def registry() -> dict[str, dict[str, str]]:
    with (FOLDER / "registry.csv").open(encoding="utf-8", newline="") as stream:
        return {row["file"]: row for row in csv.DictReader(stream)}


REGISTRY = registry()


def stretch(name: str) -> Interval:
    return Interval(float(REGISTRY[name]["onset_s"]), float(REGISTRY[name]["offset_s"]))


def measured(name: str, word: Interval | None = None) -> Measures:
    interval, recording = stretch(name), read_recording(FOLDER / name)
    edges = Edge(interval.onset_s, "silence", 2.0, 1.0), Edge(interval.offset_s, "silence", 2.0, 1.0)
    sound = SibilantInterval(None, interval, interval, *edges, 1.0)
    return measure(recording, [sound], HOUSE_15K, timed=timings(recording, [sound], words=[word]))[0]


@pytest.mark.parametrize(("name", "widened"), [
    ("flat-band.flac", 1.01), ("hump.flac", 1.03), ("two-humps.flac", 1.01), ("skewed.flac", 1.01),
])  # fmt: skip
def test_moments_of_a_long_noise(name: str, widened: float) -> None:
    # Truth: the formula's exact moments. The estimator blurs by 200 Hz, so a narrow spectrum reads a little wide.
    truth = {key: float(REGISTRY[name][key]) for key in ("centroid_hz", "sd_hz", "skewness", "excess_kurtosis")}
    found = measured(name).values
    assert found["centroid_hz"] == pytest.approx(truth["centroid_hz"], rel=0.01)
    assert found["sd_hz"] == pytest.approx(truth["sd_hz"], rel=0.05 + widened - 1)
    assert found["skewness"] == pytest.approx(truth["skewness"], abs=0.15)
    assert found["excess_kurtosis"] == pytest.approx(truth["excess_kurtosis"], abs=0.35)


def test_peaks() -> None:
    found = measured("hump.flac").values
    for key in ("peak_hz", "mid_peak_hz"):
        assert found[key] == pytest.approx(float(REGISTRY["hump.flac"]["peak_hz"]), abs=250)
    # Paper: 21.4 lg(1 + 0.00437 * 6000) = 30.7 ERB number.
    assert found["peak_erb"] == pytest.approx(21.4 * np.log10(1 + 0.00437 * 6000), abs=0.4)


def test_whistle_is_tonal_and_the_others_are_not() -> None:
    assert "tonal" in measured("whistled.flac").flags
    for name in ("flat-band.flac", "skewed.flac", "level.flac", "voiced.flac", "weak.flac"):
        assert "tonal" not in measured(name).flags, name


def test_level_against_the_vowel() -> None:
    # Truth: the /s/ is made 10 dB below its vowel; the strongest 30 ms of a vowel lie a little above its mean.
    assert measured("level.flac").values["level_re_vowel_db"] == pytest.approx(-10.0, abs=3.0)
    assert measured("weak.flac").values["level_re_vowel_db"] == pytest.approx(-20.0, abs=4.0)


def test_voiced_share() -> None:
    assert measured("voiced.flac").values["voiced_share"] > 0.8 and "voiced" in measured("voiced.flac").flags
    assert measured("level.flac").values["voiced_share"] < 0.2


def test_held_sounds() -> None:
    long = sustained(read_recording(FOLDER / "sustained-5s.flac"), stretch("sustained-5s.flac"))
    assert long.duration_s == pytest.approx(5.0) and long.n_breaks == 0
    assert long.drift_hz_per_s == pytest.approx(float(REGISTRY["sustained-5s.flac"]["drift_hz_per_s"]), abs=20.0)
    broken = sustained(read_recording(FOLDER / "sustained-break.flac"), stretch("sustained-break.flac"))
    assert broken.n_breaks == 1
    assert broken.breaks[0].onset_s == pytest.approx(1.7, abs=0.02)
    assert broken.breaks[0].duration_s == pytest.approx(0.2, abs=0.03)


def test_together_they_cover_every_measure_of_a_sound_and_a_take() -> None:
    found = set(measured("level.flac", Interval(0.1, 0.7)).values) | set(measured("hump.flac").values)
    take = sustained(read_recording(FOLDER / "sustained-5s.flac"), stretch("sustained-5s.flac"))
    wanted = {measure_.key for scope in ("token", "take") for measure_ in measures_of(scope)}  # type: ignore[arg-type]
    assert wanted - found - set(take.values) == {"tonality_1_db", "tonality_width_hz"}, "those are version 1's"
    assert {m.key for m in measures_of("speaker")} == {key for key in MEASURES if key.startswith("separation")}


def test_real_clips_at_two_rates_agree_when_matched() -> None:
    # Issue: of one clip at 44.1 and 22.05 kHz, bandwidth-matched measures agree within 2 %. Real adults' clips with
    # edges marked by eye; the lower rate by soxr, flat to the matched top (a short polyphase filter is not).
    import soxr

    method = matched(HOUSE_15K, 22050.0, 11025.0)
    with (FOLDER / "sibilants.csv").open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["file"].endswith(".ogg")]
    assert len(rows) == 8
    for row in rows:
        full = read_recording(FOLDER / row["file"], channel=1)
        half = soxr.resample(full.samples, 44100, 22050, "VHQ")
        edges = Edge(float(row["onset_s"]), "silence", 2.0, 1.0), Edge(float(row["offset_s"]), "silence", 2.0, 1.0)
        interval = Interval(edges[0].time_s, edges[1].time_s)
        sound = [SibilantInterval(None, interval, interval, *edges, 1.0)]
        lower = Recording(half, 22050, Source("buffer", ""))
        one, other = (measure(recording, sound, method)[0].values for recording in (full, lower))
        for key in ("centroid_hz", "sd_hz", "peak_hz", "spread_50_hz", "spread_90_hz", "peak_erb"):
            assert one.get(key, 0.0) == pytest.approx(other.get(key, 0.0), rel=0.02), (row["file"], key)
