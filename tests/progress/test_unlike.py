"""The queue of sounds most unlike the rest: planted ones come first, and nothing is called by it.

Invented data – not a person.
"""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.progress import most_unlike


@pytest.mark.parametrize("key", ["centroid_hz", "core_duration_ms", "tonality_db"])
def test_planted_ones_are_in_the_farthest_twentieth(key: str) -> None:
    """Need F40 of the project's table of needs: planted outliers (5 SD off) in the top 5 %; 200 seeded sessions."""
    found = planted = 0
    for seed in range(200):
        rng = np.random.default_rng([seed, len(key)])
        values = {name: rng.normal(0, 1, 100) for name in ("centroid_hz", "core_duration_ms", "tonality_db")}
        odd = rng.choice(100, 3, replace=False)
        values[key][odd] += rng.choice([-5.0, 5.0], 3)
        first = {one.place for one in most_unlike({k: v.tolist() for k, v in values.items()}, most=5)}
        found, planted = found + len(first & set(odd)), planted + 3
    assert found >= 0.95 * planted


def test_median_and_spread_are_those_of_scipy() -> None:
    """Independent library: scipy's median_abs_deviation scaled to the normal distribution."""
    from scipy.stats import median_abs_deviation

    values = np.random.default_rng(3).normal(7000, 400, 31)
    for one in most_unlike({"centroid_hz": values.tolist()}):
        away = abs(values[one.place] - np.median(values)) / median_abs_deviation(values, scale="normal")
        assert one.distance == pytest.approx(away, rel=1e-4)


def test_few_or_equal_or_missing_values_have_no_rest_to_be_unlike() -> None:
    assert most_unlike({"centroid_hz": [7000.0] * 6 + [100.0]}) == ()
    assert most_unlike({"centroid_hz": [7000.0] * 20}) == ()
    assert most_unlike({"centroid_hz": [float("nan")] * 20}) == ()
    some = [7000.0 + 10 * i for i in range(10)] + [float("nan")]
    assert {one.place for one in most_unlike({"centroid_hz": some})} == set(range(10))


def test_the_reason_names_the_measure_and_both_values() -> None:
    one = most_unlike({"peak_hz": [8000.0 + i for i in range(20)], "sd_hz": [900.0 + i for i in range(19)] + [2500.0]})
    assert one[0].reason == "how widely the energy of the hiss is spread: 2500 Hz, the middle of 20 is 910 Hz"
