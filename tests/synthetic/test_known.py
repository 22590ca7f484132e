"""Known-answer sounds: sustained takes and whistles."""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.synthetic import Hump, SibilantShape, known_spectrum, sustained, whistle


def test_sustained_lasts_as_long_as_asked() -> None:
    take = sustained(SibilantShape((Hump(7000.0, 900.0),)), 5.0, 1)
    assert take.offset_s - take.onset_s == pytest.approx(5.0, abs=1e-9)
    loud = np.flatnonzero(np.abs(take.samples) > 0.005)
    assert loud[0] / 44100 == pytest.approx(take.onset_s, abs=0.01)
    assert loud[-1] / 44100 == pytest.approx(take.offset_s, abs=0.01)


@pytest.mark.parametrize("drift", [-200.0, 0.0, 120.0])
def test_drift_of_the_centroid(drift) -> None:
    # Least squares through the centroids of 250 ms pieces; the shape moves bodily, so its centroid moves as it does.
    take = sustained(SibilantShape((Hump(7000.0, 600.0),), floor_db=-200.0), 5.0, 2, drift_hz_per_s=drift)
    n = 11025
    first = round(take.onset_s * 44100)
    f = np.fft.rfftfreq(n, 1 / 44100)
    means = []
    for k in range(20):
        power = np.abs(np.fft.rfft(take.samples[first + k * n : first + (k + 1) * n].astype(float))) ** 2
        means.append((f * power).sum() / power.sum())
    slope = np.polyfit(np.arange(20) * 0.25, means, 1)[0]
    assert slope == pytest.approx(drift, abs=10.0)


def test_gaps_are_silent() -> None:
    take = sustained(SibilantShape((Hump(7000.0, 600.0),)), 3.0, 2, gaps_s=((1.0, 1.2),))
    start, end = take.gaps_s[0]
    assert np.abs(take.samples[round((start + 0.011) * 44100) : round((end - 0.011) * 44100)]).max() < 1e-9


def test_whistle_glides_and_is_as_narrow_as_asked() -> None:
    x = whistle((6000.0, 6000.0), 200.0, 4.0, 3)
    power = np.abs(np.fft.rfft(x)) ** 2
    f = np.fft.rfftfreq(x.size, 1 / 44100)
    mean = (f * power).sum() / power.sum()
    sd = ((f - mean) ** 2 * power).sum() / power.sum()
    assert mean == pytest.approx(6000.0, abs=10.0)
    assert sd**0.5 * 2.3548 == pytest.approx(200.0, rel=0.08)
    x = whistle((5000.0, 7000.0), 200.0, 2.0, 3)
    ends = []
    for part in (x[:4410], x[-4410:]):
        power = np.abs(np.fft.rfft(part)) ** 2
        ends.append((np.fft.rfftfreq(4410, 1 / 44100) * power).sum() / power.sum())
    assert ends == pytest.approx([5050.0, 6950.0], abs=60.0)


def test_wrong_known_sounds_are_refused() -> None:
    with pytest.raises(ValueError, match="low < high"):
        known_spectrum("hump", 8000.0, 4000.0)
    with pytest.raises(ValueError, match="not known"):
        known_spectrum("triangle")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="more than"):
        sustained(SibilantShape((Hump(7000.0, 600.0),)), 0.05, 1)
