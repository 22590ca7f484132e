"""What `measure` gives, and what it leaves out with a reason."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from sibilant.acoustics import measure, spectrum, timings
from sibilant.errors import MethodError
from sibilant.methods import HOUSE_7K, HOUSE_10K, HOUSE_15K, OPEN_ADULT, get_method, matched, published_names
from sibilant.terms import MEASURES, Interval, MicrophoneResponse, Review


@pytest.fixture
def hiss(recorded, noise_like, paper):
    return recorded(noise_like(paper["hump"], 44100, np.random.default_rng(2)))


def in_word(recording, sounds, words):
    return measure(recording, sounds, HOUSE_15K, timed=timings(recording, sounds, words=words))


def test_every_value_is_declared_with_scope_token(hiss, bounded) -> None:
    found = in_word(hiss, [bounded(0.3, 0.45)], [Interval(0.1, 0.8)])[0]
    assert all(MEASURES[key].scope == "token" for key in found.values)
    assert set(found.low) == set(found.high) == {key for key in found.values if MEASURES[key].interval}
    for key in found.low:
        assert found.low[key] <= found.values[key] <= found.high[key], key


def test_house_method_gives_every_token_measure(hiss, bounded) -> None:
    found = in_word(hiss, [bounded(0.3, 0.45)], [Interval(0.1, 0.8)])[0]
    declared = {key for key, measure_ in MEASURES.items() if measure_.scope == "token"}
    assert declared - set(found.values) == {"tonality_1_db", "tonality_width_hz"}, "those are version 1's"


def test_known_spectrum_known_values(hiss, bounded) -> None:
    # Paper: a hump at 7000 Hz with SD 1500 Hz over a floor 30 dB down: centre 7 kHz, 7.0 kHz is 29.7 ERB number.
    found = measure(hiss, [bounded(0.2, 0.8)], HOUSE_15K)[0].values
    assert found["centroid_hz"] == pytest.approx(7040, abs=90)
    assert found["peak_hz"] == pytest.approx(7000, abs=700)
    # The middle half of a bell holds 1.349 SD, nine tenths 3.290 SD.
    assert found["spread_50_hz"] == pytest.approx(1.349 * 1500, rel=0.08)
    assert found["spread_90_hz"] == pytest.approx(3.290 * 1500, rel=0.08)
    assert found["slope_below_db_khz"] > 3.0 > -3.0 > found["slope_above_db_khz"]
    assert abs(found["centroid_slope_hz_ms"]) < 0.5
    assert found["centroid_course_0_hz"] == pytest.approx(found["centroid_hz"], rel=0.02)
    assert found["voiced_share"] < 0.2


def test_slopes_of_a_straight_roof(recorded, noise_like, grid_hz, bounded) -> None:
    # Paper: up 5 dB a kHz to 6 kHz, down 3 dB a kHz after.
    roof_db = np.where(grid_hz < 6000, 5 * (grid_hz - 6000) / 1000, -3 * (grid_hz - 6000) / 1000)
    recording = recorded(noise_like(10 ** (roof_db / 10), 88200, np.random.default_rng(8)))
    found = measure(recording, [bounded(0.2, 1.8)], HOUSE_15K)[0].values
    assert found["slope_below_db_khz"] == pytest.approx(5.0, abs=0.4)
    assert found["slope_above_db_khz"] == pytest.approx(-3.0, abs=0.2)


def test_amplitude_difference_of_a_known_drop(hiss, bounded, paper, grid_hz) -> None:
    # Paper: the hump's top over the lowest point of 0.55 to 3 kHz. The estimate's own minimum lies a little lower.
    low = (grid_hz >= 550) & (grid_hz <= 3000)
    drop_db = 10 * np.log10(np.max(paper["hump"]) / np.min(paper["hump"][low]))
    found = measure(hiss, [bounded(0.1, 0.9)], HOUSE_15K)[0].values
    assert found["amplitude_difference_db"] == pytest.approx(drop_db, abs=2.0)


def test_short_ones_have_a_duration_only(hiss, bounded) -> None:
    short, one, two = measure(hiss, [bounded(0.3, 0.335), bounded(0.3, 0.355), bounded(0.3, 0.365)], HOUSE_15K)
    assert (
        "short" in short.flags
        and "centroid_hz" not in short.values
        and short.values["duration_ms"] == pytest.approx(35)
    )
    assert (one.n_frames, two.n_frames) == (1, 2)
    assert one.region is not None and one.region.duration_ms == pytest.approx(20.0)


def test_frames_lie_inside_the_middle_half(hiss, bounded) -> None:
    for length in (0.07, 0.1, 0.123, 0.2):
        found = measure(hiss, [bounded(0.3, 0.3 + length)], HOUSE_15K)[0]
        assert found.region is not None
        assert found.region.onset_s >= 0.3 + length / 4 - 1e-9
        assert found.region.offset_s <= 0.3 + 3 * length / 4 + 1e-9


def test_band_too_wide_by_rate_and_by_bandwidth(bounded, recorded, hiss) -> None:
    phone = recorded(np.random.default_rng(1).standard_normal(16000), 16000)
    found = measure(phone, [bounded(0.3, 0.45)], HOUSE_10K)[0]
    assert "band_too_wide" in found.flags and "centroid_hz" not in found.values
    assert "centroid_hz" in measure(phone, [bounded(0.3, 0.45)], HOUSE_7K)[0].values
    narrow, unknown = measure(hiss, [bounded(0.3, 0.45)] * 2, HOUSE_15K, bandwidth_hz=[12000.0])
    assert "band_too_wide" in narrow.flags and "centroid_hz" in unknown.values


def test_peak_at_the_band_edge_is_no_value(bounded, recorded, noise_like, grid_hz) -> None:
    falling = recorded(noise_like(10 ** (-grid_hz / 1000), 44100, np.random.default_rng(1)))
    found = measure(falling, [bounded(0.3, 0.6)], HOUSE_15K)[0]
    assert "peak_at_edge" in found.flags
    assert "peak_hz" not in found.values and "peak_hz" not in found.low and "mid_peak_hz" not in found.values


def test_silence_and_the_recordings_end(bounded, recorded) -> None:
    silent = recorded(np.zeros(44100))
    assert "silent" in measure(silent, [bounded(0.3, 0.45)], HOUSE_15K)[0].flags
    noise = recorded(np.random.default_rng(1).standard_normal(4410))
    assert "outside" in measure(noise, [bounded(0.0, 0.1)], get_method("jongman-2000"))[0].flags
    assert "centroid_hz" in measure(noise, [bounded(0.0, 0.1)], HOUSE_15K)[0].values


def test_reviewed_stretch_counts(hiss, bounded) -> None:
    sound = dataclasses.replace(bounded(0.3, 0.45), review=Review(Interval(0.3, 0.5), "rater-1"))
    found = measure(hiss, [sound], HOUSE_15K)[0]
    assert found.values["duration_ms"] == pytest.approx(200.0)
    assert found.values["core_duration_ms"] == pytest.approx(150.0)


def test_level_and_length_against_the_word(bounded, recorded, noise_like, hump) -> None:
    # Paper: a "vowel" 20 dB above the hiss; the hiss 150 ms in a word of 450 ms is half as long as the rest.
    rng = np.random.default_rng(4)
    vowel = noise_like(hump(800, 200), 13230, rng)
    hiss = noise_like(hump(7000, 1500), 6615, rng)
    samples = np.concatenate([hiss / np.std(hiss), 10 * vowel / np.std(vowel), np.zeros(8820)])
    found = in_word(recorded(samples), [bounded(0.0, 0.15)], [Interval(0.0, 0.45)])[0].values
    assert found["level_re_vowel_db"] == pytest.approx(-20.0, abs=2.0)
    assert found["relative_duration"] == pytest.approx(0.5)
    assert "relative_duration" not in measure(recorded(samples), [bounded(0.0, 0.15)], HOUSE_15K)[0].values


def test_rise_time_of_a_known_ramp(bounded, recorded) -> None:
    # Paper: amplitude rises in a straight line over 60 ms; 3 dB below the plateau is at 0.708 of it, 42 ms.
    noise = np.random.default_rng(3).standard_normal(44100)
    gain = np.clip((np.arange(44100) / 44100 - 0.3) / 0.06, 0, 1)
    found = measure(recorded(noise * gain), [bounded(0.3, 0.6)], HOUSE_15K)[0].values
    assert found["rise_ms"] == pytest.approx(42.0, abs=8.0)


def test_climbing_hiss_has_a_positive_slope(bounded, recorded, noise_like, hump) -> None:
    # Paper: the hump climbs from 5 to 8 kHz in 300 ms: 10 Hz a ms.
    rng = np.random.default_rng(6)
    steps = [noise_like(hump(5000 + 10 * (k * 5 + 2.5), 600) + 1e-3, 221, rng) for k in range(60)]
    found = measure(recorded(np.concatenate(steps)), [bounded(0.0, 0.3)], HOUSE_15K)[0].values
    assert found["centroid_slope_hz_ms"] == pytest.approx(10.0, abs=2.0)
    assert found["centroid_course_1_hz"] < -500


@pytest.mark.parametrize("name", ["open-adult", *published_names()])
def test_protocols_measure_a_plain_token(name: str, hiss, bounded) -> None:
    method = get_method(name)
    found = measure(hiss, [bounded(0.3, 0.5)], method)[0]
    assert found.n_frames == (3 if name == "forrest-1988" else 4 if name == "jongman-2000" else 1)
    lift = 600 if method.pre_emphasis else 250
    assert found.values["centroid_hz"] == pytest.approx(7050, abs=lift)


def test_response_is_divided_out(recorded, noise_like, paper, grid_hz, bounded) -> None:
    # Paper: what a microphone of known gain adds is taken away again.
    gain_db = np.interp(grid_hz, [0, 5000, 15000, 22050], [0, 0, -10, -17])
    heard = recorded(noise_like(paper["hump"] * 10 ** (gain_db / 10), 44100, np.random.default_rng(2)))
    true = recorded(noise_like(paper["hump"], 44100, np.random.default_rng(2)))
    points = (500.0, 5000.0, *np.arange(5500.0, 16000.0, 500.0))
    response = MicrophoneResponse("desk-1", points, tuple(float(np.interp(f, grid_hz, gain_db)) for f in points))
    sound = [bounded(0.2, 0.8)]
    kept = measure(true, sound, HOUSE_15K)[0].values["centroid_hz"]
    lost = measure(heard, sound, HOUSE_15K)[0].values["centroid_hz"]
    restored = measure(heard, sound, HOUSE_15K, response=response)[0].values["centroid_hz"]
    assert lost < kept - 150
    assert restored == pytest.approx(kept, rel=0.002)
    with pytest.raises(MethodError, match="give a response that covers the band"):
        measure(heard, sound, HOUSE_15K, response=MicrophoneResponse("short", (500.0, 8000.0), (0.0, 0.0)))


def test_matched_bands_agree_between_rates(recorded, noise_like, paper, bounded) -> None:
    # Issue: of one clip at 44.1 and 22.05 kHz, bandwidth-matched measures agree within 2 %.
    from scipy.signal import resample_poly

    for seed, shape in enumerate(("hump", "two humps", "narrow hump")):
        full = recorded(noise_like(paper[shape], 44100, np.random.default_rng(seed)))
        half = recorded(resample_poly(full.samples.astype(float), 1, 2), 22050)
        method = matched(HOUSE_15K, 22050.0, 11025.0)
        one, other = (measure(r, [bounded(0.3, 0.47)], method)[0].values for r in (full, half))
        for key in ("centroid_hz", "sd_hz", "peak_hz", "mid_peak_hz", "spread_50_hz", "spread_90_hz"):
            assert one[key] == pytest.approx(other[key], rel=0.02), key
        for key in ("low_mid_db", "mid_high_db"):
            assert one[key] == pytest.approx(other[key], abs=0.3), key
        for key in ("skewness", "excess_kurtosis"):
            assert one[key] == pytest.approx(other[key], abs=0.02 * (3 + abs(other[key]))), key


def test_unmatched_bands_would_not_agree(recorded, noise_like, paper, bounded) -> None:
    full = recorded(noise_like(paper["flat band"], 44100, np.random.default_rng(1)))
    wide = measure(full, [bounded(0.3, 0.47)], HOUSE_15K)[0].values["centroid_hz"]
    narrow = measure(full, [bounded(0.3, 0.47)], matched(HOUSE_15K, 11025.0))[0].values["centroid_hz"]
    assert wide > 1.2 * narrow


def test_open_adult_is_one_window_over_the_middle_half(hiss) -> None:
    found = spectrum(hiss, Interval(0.3, 0.5), OPEN_ADULT)
    assert found.estimator == "8 dpss tapers (NW 4) in 1 window of 100 ms"
