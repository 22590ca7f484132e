"""Tapers and the auditory scale against published formulas and scipy."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from sibilant.acoustics.auditory import erb_hz, erb_number, frequency_of_erb_number, gammatone_power
from sibilant.acoustics.tapers import dpss, effective_samples, taper_set
from sibilant.errors import MethodError


@pytest.mark.parametrize(
    ("n_samples", "half", "n_tapers"), [(882, 4.0, 7), (882, 4.0, 5), (441, 4.0, 8), (1764, 2.5, 4)]
)
def test_dpss_against_scipy(n_samples: int, half: float, n_tapers: int) -> None:
    theirs = scipy.signal.windows.dpss(n_samples, half, n_tapers)
    assert np.max(np.abs(dpss(n_samples, half, n_tapers) - theirs)) < 1e-6


def test_dpss_is_orthonormal() -> None:
    tapers = dpss(500, 4.0, 7)
    assert np.max(np.abs(tapers @ tapers.T - np.eye(7))) < 1e-9


def test_cosine_tapers_against_scipy() -> None:
    for kind in ("hamming", "hann"):
        theirs = scipy.signal.get_window(kind, 400, fftbins=False)
        theirs = theirs / np.sqrt(np.sum(theirs**2))
        assert np.max(np.abs(taper_set(kind, 400, 1, 1.0)[0] - theirs)) < 1e-6


def test_unknown_taper_and_too_many() -> None:
    with pytest.raises(MethodError, match="known tapers"):
        taper_set("kaiser", 100, 1, 1.0)
    with pytest.raises(MethodError, match="need a longer window"):
        dpss(4, 4.0, 7)


def test_effective_length_of_one_rectangle_and_two() -> None:
    key = ("rectangular", 100, 1, 1.0)
    assert effective_samples(key, (0,)) == pytest.approx(100.0, rel=1e-5)
    assert effective_samples(key, (0, 100)) == pytest.approx(200.0, rel=1e-5)
    assert effective_samples(key, (0, 0)) == pytest.approx(100.0, rel=1e-5)


@pytest.mark.parametrize("frequency_hz", [100.0, 500.0, 1000.0, 4000.0, 8000.0, 15000.0])
def test_erb_scale_against_the_published_formula(frequency_hz: float) -> None:
    # Glasberg & Moore (1990), formulas from memory: 21.4 lg(4.37 F + 1), 24.7 (4.37 F + 1), F in kHz.
    khz = frequency_hz / 1000
    assert float(erb_number(frequency_hz)) == pytest.approx(21.4 * np.log10(4.37 * khz + 1), rel=1e-6)
    assert float(erb_hz(frequency_hz)) == pytest.approx(24.7 * (4.37 * khz + 1), rel=1e-6)
    assert float(frequency_of_erb_number(erb_number(frequency_hz))) == pytest.approx(frequency_hz, rel=1e-9)


def test_erb_scale_at_one_kilohertz() -> None:
    # Often quoted (from memory): about 15.6 Cam and 133 Hz at 1 kHz.
    assert float(erb_number(1000.0)) == pytest.approx(15.6, abs=0.05)
    assert float(erb_hz(1000.0)) == pytest.approx(133.0, abs=0.5)


def test_gammatone_gain_against_the_formula_and_its_bandwidth() -> None:
    # Patterson et al. (1992), from memory: order 4, b = 1.019 ERB, chosen so that the filter's own ERB is the ear's.
    grid = np.arange(0.0, 20000.0, 1.0)
    gain = gammatone_power(grid, 5000.0)
    by_hand = (1 + ((grid - 5000.0) / (1.019 * 24.7 * (4.37 * 5 + 1))) ** 2) ** -4.0
    assert np.max(np.abs(gain - by_hand)) < 1e-6
    assert float(np.sum(gain)) == pytest.approx(float(erb_hz(5000.0)), rel=0.002)


def test_gammatone_shape_against_scipys_filter() -> None:
    # scipy.signal.gammatone (FIR, order 4) has the same magnitude near its centre, within 0.1 dB over 40 dB.
    rate = 44100
    taps = scipy.signal.gammatone(4000.0, "fir", order=4, numtaps=4096, fs=rate)[0]
    frequency_hz, response = scipy.signal.freqz(taps, worN=np.arange(3000.0, 5200.0, 50.0), fs=rate)
    theirs = np.abs(response) ** 2 / np.max(np.abs(response) ** 2)
    ours = gammatone_power(frequency_hz, 4000.0)
    assert np.max(np.abs(10 * np.log10(theirs / ours))) < 0.3
