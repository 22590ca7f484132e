"""The band for a new speaker."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sibilant.ranges import new_speaker_band

# Two-sided 95 % quantiles of Student's t from a printed table (from memory).
TABLE = {2: 12.706, 3: 4.303, 5: 2.776, 10: 2.262, 15: 2.145, 20: 2.093, 30: 2.045, 61: 2.000}


@pytest.mark.parametrize(("n_speakers", "quantile"), TABLE.items())
def test_against_printed_quantiles(n_speakers: int, quantile: float) -> None:
    low, high = new_speaker_band(1000.0, 100.0, n_speakers)
    assert (high - low) / 2 == pytest.approx(quantile * 100 * math.sqrt(1 + 1 / n_speakers), rel=3e-4)
    assert (high + low) / 2 == pytest.approx(1000.0)


def test_against_scipy_stats() -> None:
    from scipy import stats

    for n_speakers in range(2, 60):
        reach = stats.t.ppf(0.975, n_speakers - 1) * 713 * math.sqrt(1 + 1 / n_speakers)
        assert new_speaker_band(8662, 713, n_speakers) == pytest.approx((8662 - reach, 8662 + reach), rel=1e-9)


def test_it_holds_95_in_100_new_speakers() -> None:
    random = np.random.default_rng(5)
    n_rounds, n_speakers = 4000, 10
    speakers = random.normal(8662, 713, (n_rounds, n_speakers + 1))
    held = 0
    for row in speakers:
        low, high = new_speaker_band(row[:-1].mean(), row[:-1].std(ddof=1), n_speakers)
        held += low <= row[-1] <= high
    assert held / n_rounds == pytest.approx(0.95, abs=2 * math.sqrt(0.95 * 0.05 / n_rounds))


def test_one_speaker_is_refused() -> None:
    with pytest.raises(ValueError, match="two speakers"):
        new_speaker_band(1.0, 1.0, 1)
