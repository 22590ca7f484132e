"""Held sounds, and one speaker's two sounds against each other."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from sibilant.acoustics import sustained
from sibilant.methods import HOUSE_15K
from sibilant.progress.separation import overlap_of_normals, separation
from sibilant.synthetic import shape_of
from sibilant.synthetic import sustained as held
from sibilant.terms import MEASURES, Interval, Recording, Source, measures_of


def take_of(truth) -> tuple[Recording, Interval]:
    recording = Recording(np.asarray(truth.samples, np.float32), truth.sampling_rate_hz, Source("buffer", ""))
    return recording, Interval(truth.onset_s, truth.offset_s)


def test_held_sound_with_a_known_drift() -> None:
    # Truth from the formula: how far the shape's exact mean over the band moves while the shape moves by 600 Hz.
    truth = held(shape_of("typical"), 4.0, 5, drift_hz_per_s=150.0)
    found = sustained(*take_of(truth))
    ends = [shape_of("typical").moved(150.0 * at).moments(HOUSE_15K.band_hz).centroid_hz for at in (-2.0, 2.0)]
    assert found.duration_s == pytest.approx(4.0, abs=0.02)
    assert found.n_breaks == 0
    assert found.drift_hz_per_s == pytest.approx((ends[1] - ends[0]) / 4.0, abs=30.0)
    assert found.steadiness_db is not None and found.steadiness_db < 1.2
    assert set(found.values) == {measure.key for measure in measures_of("take")}


def test_steady_sound_does_not_drift() -> None:
    drifts = [sustained(*take_of(held(shape_of("typical"), 3.0, seed))).drift_hz_per_s for seed in range(5)]
    assert np.max(np.abs(np.array(drifts, float))) < 40.0


def test_wavering_level_is_seen(recorded) -> None:
    # Paper: a sine of 2 dB amplitude has a standard deviation of 1.41 dB; noise itself adds about 0.3 dB.
    time = np.arange(3 * 44100) / 44100
    noise = np.random.default_rng(2).standard_normal(time.size) * 10 ** (2 * np.sin(2 * np.pi * 2 * time) / 20)
    found = sustained(recorded(noise), Interval(0.0, 3.0))
    assert found.steadiness_db == pytest.approx(1.45, abs=0.15)


def test_breaks_longer_than_fifty_milliseconds() -> None:
    truth = held(shape_of("typical"), 4.0, 6, gaps_s=((1.0, 1.12), (2.0, 2.03), (3.0, 3.2)))
    found = sustained(*take_of(truth))
    assert found.n_breaks == 2 and "breaks" in found.flags
    assert [round(gap.onset_s - truth.onset_s, 1) for gap in found.breaks] == [1.0, 3.0]


def test_short_take_and_narrow_recording(recorded) -> None:
    noise = np.random.default_rng(2).standard_normal(16000)
    assert "short" in sustained(recorded(noise), Interval(0.0, 0.3)).flags
    narrow = sustained(recorded(noise, 16000), Interval(0.0, 1.0))
    assert narrow.drift_hz_per_s is None and "band_too_wide" in narrow.flags
    assert set(narrow.values) <= set(MEASURES)


def test_separation_against_scipy() -> None:
    # Independent library: scipy's Mann-Whitney U / (n1 n2) is the area; ttest_ind (Welch) gives the interval.
    rng = np.random.default_rng(4)
    s, sh = rng.normal(7500, 700, 18), rng.normal(6500, 600, 22)
    found = separation(s, sh)
    assert found.auc == pytest.approx(stats.mannwhitneyu(s, sh).statistic / (18 * 22))
    welch = stats.ttest_ind(s, sh, equal_var=False).confidence_interval(0.95)
    assert found.difference_interval == pytest.approx((welch.low, welch.high))
    assert found.auc_interval is not None and found.auc_interval[0] < found.auc < found.auc_interval[1]
    assert found.overlap_interval is not None and found.overlap_interval[0] < found.overlap < found.overlap_interval[1]


def test_area_under_the_curve_worked_by_hand() -> None:
    # By hand: 10 pairs of equals and the rest in order.
    same = [float(v) for v in range(10)]
    assert separation(same, same).auc == pytest.approx(0.5)
    apart = separation([v + 100 for v in same], same)
    assert apart.auc == 1.0 and apart.auc_interval is not None and apart.auc_interval[1] == 1.0
    mirrored = separation(same, [v + 100 for v in same]).auc_interval
    assert mirrored is not None and mirrored[0] == 0.0 and mirrored[1] < 1e-4


@pytest.mark.parametrize(("shift", "ratio"), [(0.0, 1.0), (1.0, 1.0), (2.0, 1.5), (0.0, 2.0), (5.0, 1.0)])
def test_overlap_against_numerical_integration(shift: float, ratio: float) -> None:
    grid = np.linspace(-40, 40, 400001)
    common = np.minimum(stats.norm.pdf(grid), stats.norm.pdf(grid, shift, ratio))
    one = np.ones(1)
    ours = overlap_of_normals(0 * one, one, shift * one, ratio * one)[0]
    assert ours == pytest.approx(float(np.trapezoid(common, grid)), abs=1e-5)


def test_area_interval_covers(recorded) -> None:
    # Two normals one SD apart: area = Phi(1 / sqrt 2) = 0.760. 300 groups of 15.
    rng = np.random.default_rng(8)
    truth = float(stats.norm.cdf(1 / np.sqrt(2)))
    inside = []
    for _ in range(300):
        low, high = separation(rng.normal(1, 1, 15), rng.normal(0, 1, 15)).auc_interval or (0, 0)
        inside.append(low <= truth <= high)
    assert 0.90 <= np.mean(inside) <= 0.99


def test_too_few_tokens_cannot_be_judged() -> None:
    found = separation([1.0] * 30, [2.0] * 6 + [float("nan")])
    assert not found.judged and found.auc is None and "cannot be judged" in found.why
