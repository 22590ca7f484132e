"""Own percentiles and medians are numpy's to the digit; frames that neighbours share give the noise they gave alone."""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.acoustics import noise_spectra, noise_spectrum
from sibilant.levels.ranks import median, medians, nth_highest, percentile, percentiles
from sibilant.terms import Interval, Recording, Source

SHARES = (0, 5, 8, 10, 25, 40, 50, 75, 90, 95, 97, 100)
NEAR = {np.float64: 0.0, np.float32: 0.0 if np.lib.NumpyVersion(np.__version__) >= "2.4.0" else 5e-5}
"""Up to numpy 2.3 the ranks of float32 are interpolated in float32 there."""


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_ranks_are_numpys_to_the_digit(kind: type) -> None:
    rng = np.random.default_rng(1)
    for n in (*range(1, 40), 100, 333, 1400):
        row = (20 * rng.normal(size=n)).astype(kind).round(int(rng.integers(0, 6)))
        assert median(row) == float(np.median(row))
        shares = [percentile(row, share) for share in SHARES]
        theirs = [float(np.percentile(row, share)) for share in SHARES]
        np.testing.assert_allclose(shares, theirs, rtol=0.0, atol=NEAR[kind])
        row[0] = np.nan
        assert np.isnan(median(row)) and np.isnan(percentile(row, 75))


def test_percentiles_of_columns_are_numpys_to_the_digit() -> None:
    rng = np.random.default_rng(2)
    for n in (1, 2, 7, 50, 333):
        rows = rng.normal(size=(n, 9)).astype(np.float32)
        for share in (8.0, 10.0, 75.0):
            found = percentiles(rows, share)
            np.testing.assert_allclose(found, np.percentile(rows, share, axis=0), rtol=0.0, atol=NEAR[np.float32])
        np.testing.assert_array_equal(medians(rows.T), np.median(rows.T, axis=1))
        for highest in {1, n, n // 4 + 1}:
            np.testing.assert_array_equal(nth_highest(rows, highest), np.sort(rows, axis=0)[-highest])


def test_noise_of_shared_frames_is_that_of_frames_alone() -> None:
    rng = np.random.default_rng(3)
    sound = Recording((0.01 * rng.standard_normal(44_100 * 3)).astype(np.float32), 44_100, Source("noise", ""))
    starts = (0.0, 0.4, 0.9)
    sides = [([Interval(start, start + 0.3)], [Interval(start + 0.8, start + 1.2)]) for start in starts]
    for pair, shared in zip(sides, noise_spectra(sound, sides), strict=True):
        alone = noise_spectrum(sound, *pair)
        assert alone is not None and shared is not None
        np.testing.assert_array_equal(shared.power_density, alone.power_density)
        np.testing.assert_array_equal(shared.drift, alone.drift)
