"""Odd stretches, rates and sounds: values, or absence with a reason; never an exception or a warning."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sibilant.acoustics import measure, sustained, timings
from sibilant.methods import HOUSE_15K, get_method, matched, method_names
from sibilant.terms import MEASURES, Edge, Interval, Measures, Recording, SibilantInterval, Source

REASONS = {"short", "band_too_wide", "outside", "silent"}


def sound(onset_s: float, length_s: float) -> SibilantInterval:
    stretch = Interval(onset_s, onset_s + length_s)
    edges = Edge(stretch.onset_s, "silence", 2.0, 1.0), Edge(stretch.offset_s, "silence", 2.0, 1.0)
    return SibilantInterval(None, stretch, stretch, *edges, 1.0)


def made(kind: str, rate_hz: int, seed: int) -> Recording:
    rng = np.random.default_rng(seed)
    n = rate_hz // 2
    samples = {
        "noise": rng.standard_normal(n) * 0.1,
        "silence": np.zeros(n),
        "constant": np.full(n, 0.5),
        "clipped": np.clip(rng.standard_normal(n) * 5, -1, 1),
        "tone": 0.5 * np.sin(2 * np.pi * 3000 * np.arange(n) / rate_hz),
        "click": np.eye(1, n, n // 2)[0],
        "faint": rng.standard_normal(n) * 1e-7,
    }[kind]
    return Recording(samples.astype(np.float32), rate_hz, Source("buffer", ""))


def sane(found: Measures) -> None:
    for part in (found.values, found.low, found.high, found.boundary):
        assert all(math.isfinite(value) and key in MEASURES for key, value in part.items())
    assert set(found.low) == set(found.high) <= set(found.values)
    assert set(found.boundary) <= set(found.values)
    assert "centroid_hz" in found.values or REASONS & set(found.flags)
    assert 0.0 <= found.values.get("voiced_share", 0.0) <= 1.0


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(
    kind=st.sampled_from(["noise", "silence", "constant", "clipped", "tone", "click", "faint"]),
    rate_hz=st.sampled_from([8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000]),
    onset_s=st.floats(0.0, 0.49),
    length_s=st.floats(0.0, 0.5),
    name=st.sampled_from(method_names()),
    seed=st.integers(0, 5),
)
def test_anything_measured_is_sane(
    kind: str, rate_hz: int, onset_s: float, length_s: float, name: str, seed: int
) -> None:
    recording = made(kind, rate_hz, seed)
    method = get_method(name)
    sounds = [sound(onset_s, length_s)]
    sane(measure(recording, sounds, method, timed=timings(recording, sounds, words=[Interval(0.0, 0.5)]))[0])
    narrow = matched(HOUSE_15K, rate_hz / 2)
    sane(measure(recording, [sound(onset_s, length_s)], narrow)[0])


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.sampled_from(["noise", "silence", "constant", "click"]), st.floats(0.0, 0.4), st.floats(0.0, 0.5))
def test_any_take_is_sane(kind: str, onset_s: float, length_s: float) -> None:
    found = sustained(made(kind, 44100, 1), Interval(onset_s, onset_s + length_s))
    assert all(math.isfinite(value) for value in found.values.values())


@pytest.mark.parametrize("name", method_names())
def test_noise_in_the_middle_always_has_a_value(name: str) -> None:
    """The tests above would also pass with everything withheld: ordinary sound is measured, and silence is not."""
    stretch = [sound(0.1, 0.3)]
    assert "centroid_hz" in measure(made("noise", 96000, 3), stretch, get_method(name))[0].values
    silent = measure(made("silence", 96000, 3), stretch, get_method(name))[0]
    assert "centroid_hz" not in silent.values and "silent" in silent.flags


def test_a_take_of_noise_has_values() -> None:
    assert sustained(made("noise", 44100, 1), Interval(0.0, 0.45)).values


def test_no_sounds_no_measures() -> None:
    assert measure(made("noise", 44100, 1), [], HOUSE_15K) == []


@pytest.mark.parametrize("rate_hz", [32000, 44100, 48000, 96000, 192000])
def test_any_rate_gives_the_same_band(rate_hz: int) -> None:
    # Paper: white noise is flat in the band at every rate: mean 8000 Hz, SD 14000 / sqrt(12) = 4041 Hz.
    found = measure(made("noise", rate_hz, 2), [sound(0.05, 0.4)], HOUSE_15K)[0].values
    assert found["centroid_hz"] == pytest.approx(8000, abs=300)
    assert found["sd_hz"] == pytest.approx(4041, abs=150)
