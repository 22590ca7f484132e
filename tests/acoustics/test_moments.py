"""Moments and peaks against paper, and against two independent libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sibilant.acoustics import moments, spectrum
from sibilant.acoustics.moments import quadrature
from sibilant.errors import MethodError
from sibilant.methods import HOUSE_10K, HOUSE_15K
from sibilant.terms import Interval, Spectrum

BAND = (1000.0, 15000.0)


def exact(frequency_hz: np.ndarray, power: np.ndarray) -> Spectrum:
    return Spectrum(frequency_hz, power, "exact")


@pytest.mark.parametrize("step_hz", [50.0, 43.07, 333.3])
def test_flat_band_is_exact_on_any_grid(step_hz: float) -> None:
    # Paper: mean of a uniform density (low + high) / 2, SD (high - low) / sqrt(12), skewness 0, excess kurtosis -6/5.
    grid = np.arange(0.0, 22050.0, step_hz)
    found = moments(exact(grid, np.full(grid.size, 3e-7)), BAND)
    assert found["centroid_hz"] == pytest.approx(8000.0, rel=1e-9)
    assert found["sd_hz"] == pytest.approx(14000.0 / math.sqrt(12), rel=1e-9)
    assert found["skewness"] == pytest.approx(0.0, abs=1e-9)
    assert found["excess_kurtosis"] == pytest.approx(-1.2, rel=1e-9)


def test_straight_ramp_is_exact() -> None:
    # Paper: density proportional to f - low: mean low + 2/3 w, SD w / sqrt(18), skewness -2 sqrt(2) / 5, kurtosis -3/5.
    grid = np.arange(0.0, 22050.0, 50.0)
    found = moments(exact(grid, np.maximum(grid - 1000.0, 0.0)), BAND)
    assert found["centroid_hz"] == pytest.approx(1000 + 14000 * 2 / 3, rel=1e-9)
    assert found["sd_hz"] == pytest.approx(14000 / math.sqrt(18), rel=1e-9)
    assert found["skewness"] == pytest.approx(-2 * math.sqrt(2) / 5, rel=1e-9)
    assert found["excess_kurtosis"] == pytest.approx(-0.6, rel=1e-9)


def test_gaussian_humps_to_one_in_a_million() -> None:
    # Paper: a normal density; a mixture of two, by its central moments.
    grid = np.arange(0.0, 22050.0, 1.0)
    one = moments(exact(grid, np.exp(-0.5 * ((grid - 7000) / 600) ** 2)), BAND)
    assert one["centroid_hz"] == pytest.approx(7000.0, rel=1e-6)
    assert one["sd_hz"] == pytest.approx(600.0, rel=1e-6)
    assert one["skewness"] == pytest.approx(0.0, abs=1e-6)
    assert one["excess_kurtosis"] == pytest.approx(0.0, abs=1e-5)
    first, second, share, width = 5000.0, 9000.0, 0.25, 500.0
    two = np.exp(-0.5 * ((grid - first) / width) ** 2) * share
    two += np.exp(-0.5 * ((grid - second) / width) ** 2) * (1 - share)
    found = moments(exact(grid, two), BAND)
    mean = share * first + (1 - share) * second
    variance = width**2 + share * (1 - share) * (second - first) ** 2
    third = share * (1 - share) * (2 * share - 1) * (first - second) ** 3 * -1
    assert found["centroid_hz"] == pytest.approx(mean, rel=1e-6)
    assert found["sd_hz"] == pytest.approx(math.sqrt(variance), rel=1e-6)
    assert found["skewness"] == pytest.approx(third / variance**1.5, rel=1e-5)


def test_amplitude_weighting_takes_the_root() -> None:
    grid = np.arange(0.0, 22050.0, 1.0)
    power = np.exp(-0.5 * ((grid - 7000) / 600) ** 2)
    found = moments(exact(grid, power), BAND, "amplitude")
    assert found["sd_hz"] == pytest.approx(600 * math.sqrt(2), rel=1e-6)


def test_band_between_bins_and_outside() -> None:
    grid = np.arange(0.0, 11026.0, 50.0)
    assert float(np.sum(quadrature(grid, (1010.0, 1020.0))[0])) == pytest.approx(10.0)
    with pytest.raises(MethodError, match="reaches outside the spectrum"):
        moments(exact(grid, np.ones(grid.size)), BAND)


def test_no_power_gives_no_moments() -> None:
    grid = np.arange(0.0, 22050.0, 50.0)
    assert all(math.isnan(v) for v in moments(exact(grid, np.zeros(grid.size)), BAND).values())


@pytest.mark.parametrize("top_hz", [22050.0, 11000.0])
@pytest.mark.parametrize("seed", range(5))
def test_against_parselmouths_moments(seed: int, top_hz: float, noise_like, paper) -> None:
    # Independent library: parselmouth's spectral moments (power 2) on the same 46 ms slice and band, to 0.1 % of mean,
    # SD, kurtosis, and of the unit of skewness. Both see the slice padded with zeros to eight times its length, so
    # that a plain sum and a line integral mean the same.
    import parselmouth

    slice_ = np.concatenate([noise_like(paper["two humps"], 2048, np.random.default_rng(seed)), np.zeros(7 * 2048)])
    theirs = parselmouth.Sound(slice_, 44100).to_spectrum()
    frequency_hz = np.fft.rfftfreq(slice_.size, 1 / 44100)
    low, high = (float(frequency_hz[np.argmin(np.abs(frequency_hz - edge))]) for edge in (1000.0, top_hz))
    theirs.values[:, (frequency_hz < low) | (frequency_hz > high)] = 0.0
    ours = moments(exact(frequency_hz, np.abs(np.fft.rfft(slice_)) ** 2), (low, high))
    assert ours["centroid_hz"] == pytest.approx(theirs.get_centre_of_gravity(2.0), rel=1e-3)
    assert ours["sd_hz"] == pytest.approx(theirs.get_standard_deviation(2.0), rel=1e-3)
    assert ours["skewness"] == pytest.approx(theirs.get_skewness(2.0), abs=1e-3)
    assert ours["excess_kurtosis"] + 3 == pytest.approx(theirs.get_kurtosis(2.0) + 3, rel=1e-3)


@pytest.mark.filterwarnings("ignore")
def test_against_librosas_centroid_with_its_magnitude_weighting(noise_like, paper) -> None:
    # Independent library: librosa.feature.spectral_centroid weighs by magnitude, asked for here by name.
    import librosa

    slice_ = noise_like(paper["two humps"], 2048, np.random.default_rng(3))
    magnitude = np.abs(np.fft.rfft(slice_))
    grid = np.fft.rfftfreq(2048, 1 / 44100)
    theirs = librosa.feature.spectral_centroid(S=magnitude[:, np.newaxis], sr=44100, freq=grid)[0, 0]
    ours = moments(exact(grid, magnitude**2), (0.0, 22050.0), "amplitude")["centroid_hz"]
    assert ours == pytest.approx(theirs, rel=1e-3)


def test_spectrum_holds_the_power(recorded) -> None:
    # Paper (Parseval): white noise of variance v has density 2 v / rate.
    noise = np.random.default_rng(1).standard_normal(44100)
    recording = recorded(noise)
    found = spectrum(recording, Interval(0.1, 0.9), HOUSE_15K)
    expected = 2 * np.var(recording.samples) / 44100
    assert np.mean(found.power_density[20:-20]) == pytest.approx(expected, rel=0.02)
    assert found.frequency_hz[1] == 50.0
    assert found.dof > 100


def test_spectrum_says_what_it_lacks(recorded) -> None:
    recording = recorded(np.random.default_rng(1).standard_normal(4410))
    with pytest.raises(MethodError, match=r"the recording lasts 0\.100 s"):
        spectrum(recording, Interval(0.09, 0.19), HOUSE_10K)
