"""Powers of many frames at once, held to scipy's own spectra, and few sounds looked at where nothing is cut."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from sibilant.suitability.cut import Levels, _falls_of_sounds, _mean_power
from sibilant.suitability.framing import powers, starts_in
from sibilant.suitability.spectra import grid_size, window_size
from sibilant.terms import Interval, Recording, Source


def recorded(samples: np.ndarray, rate: int) -> Recording:
    return Recording(samples.astype(np.float32), rate, Source("invented", ""))


@pytest.mark.parametrize("rate", [16_000, 44_100, 48_000])
def test_mean_power_is_welchs(rate: int) -> None:
    """Transforms half as long as the grid give scipy's ``welch`` of the whole grid, 90 dB down as well."""
    rng = np.random.default_rng(rate)
    low = signal.sosfilt(signal.cheby2(12, 90, 0.4 * rate / 2, output="sos", fs=rate), rng.standard_normal(rate))
    sound, size, n_fft = recorded(0.1 * low, rate), window_size(rate), grid_size(rate)
    found = _mean_power(sound, starts_in(sound, [Interval(0.0, 1.0)], size))
    _, density = signal.welch(
        sound.samples.astype(np.float64), rate, "blackman", size, size // 2, n_fft, detrend=False, scaling="spectrum"
    )
    expected = density * np.sum(signal.get_window("blackman", size)) ** 2
    expected[1:-1] /= 2  # welch counts both sides
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-15 * expected.max())


def test_powers_come_in_order_however_many_there_are() -> None:
    rng = np.random.default_rng(2)
    sound, size = recorded(rng.standard_normal(22_050), 22_050), 100
    stretches = [Interval(0.1, 0.3), Interval(0.5, 0.501), Interval(0.6, 0.95)]
    starts = starts_in(sound, stretches, size)
    window = np.hanning(size)
    found = np.concatenate(list(powers(sound, starts, window, size)))
    firsts = [first for each in starts for first in each]
    alone = [np.abs(np.fft.rfft(sound.samples[first : first + size] * window)) ** 2 for first in firsts]
    assert [len(each) for each in starts] == [87, 0, 153]
    np.testing.assert_allclose(found, alone, rtol=1e-9)


def test_a_recording_that_nothing_cut_has_few_sounds_looked_at() -> None:
    """More than a quarter of 20 sounds without an edge are 6; the others are left as they are."""
    rng = np.random.default_rng(3)
    sound = recorded(0.1 * rng.standard_normal(5 * 44_100), 44_100)
    stretches = [Interval(0.2 * n, 0.2 * n + 0.15) for n in range(20)]
    levels = Levels(sound, starts_in(sound, stretches, window_size(44_100)))
    assert _falls_of_sounds(levels, 44_100 / grid_size(44_100), 75.0, 20.0) is None
    assert len(levels.made) == 6
