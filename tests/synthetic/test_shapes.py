"""Shapes: moments against closed forms, noise against its formula."""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.synthetic import (
    SIBILANT_TYPES,
    Hump,
    SibilantShape,
    known_spectrum,
    mixed,
    sh_shape,
    shape_of,
    shaped_noise,
)

BAND = (1000.0, 15000.0)


def test_flat_band_has_the_moments_of_a_uniform_distribution() -> None:
    # Continuous uniform distribution: mean (a + b)/2, variance (b - a)^2/12, skewness 0, excess kurtosis -6/5.
    moments = known_spectrum("flat_band", 4000.0, 8000.0).moments(BAND)
    assert moments.centroid_hz == 6000.0
    assert moments.sd_hz == pytest.approx(4000.0 / 12**0.5, rel=1e-12)
    assert (moments.skewness, moments.excess_kurtosis) == (0.0, -1.2)


def test_flat_band_cut_by_the_band_of_analysis() -> None:
    moments = known_spectrum("flat_band", 4000.0, 8000.0).moments((1000.0, 6000.0))
    assert moments.centroid_hz == 5000.0


def test_hump_has_the_moments_of_a_gaussian() -> None:
    moments = known_spectrum("hump", 4000.0, 8000.0).moments(BAND)
    assert moments.centroid_hz == pytest.approx(6000.0, rel=1e-6)
    assert moments.sd_hz == pytest.approx(500.0, rel=1e-6)
    assert moments.skewness == pytest.approx(0.0, abs=1e-6)
    assert moments.excess_kurtosis == pytest.approx(0.0, abs=1e-6)


def test_two_humps_have_the_moments_of_a_mixture() -> None:
    # Equal mixture of N(m - d, w) and N(m + d, w): variance w^2 + d^2; fourth moment 3 w^4 + 6 w^2 d^2 + d^4.
    low, high = 4500.0, 7500.0
    w, d = (high - low) / 12, (high - low) / 2
    moments = known_spectrum("two_humps", low, high).moments(BAND)
    assert moments.centroid_hz == pytest.approx(6000.0, rel=1e-6)
    assert moments.sd_hz == pytest.approx((w * w + d * d) ** 0.5, rel=1e-6)
    fourth = (3 * w**4 + 6 * w * w * d * d + d**4) / (w * w + d * d) ** 2 - 3
    assert moments.excess_kurtosis == pytest.approx(fourth, abs=1e-6)


def test_unequal_mixture_is_skewed_as_the_formula_says() -> None:
    # Third central moment of a mixture: sum p_i (delta_i^3 + 3 delta_i w_i^2), delta from the mixture's mean.
    shape = SibilantShape((Hump(5000.0, 300.0), Hump(8000.0, 400.0, -6.0)), floor_db=-400.0)
    power = np.array([300.0, 400.0 * 10**-0.6])
    p, centre, w = power / power.sum(), np.array([5000.0, 8000.0]), np.array([300.0, 400.0])
    mean = float(p @ centre)
    delta = centre - mean
    sd = float(p @ (w**2 + delta**2)) ** 0.5
    third = float(p @ (delta**3 + 3 * delta * w**2)) / sd**3
    moments = shape.moments(BAND)
    assert moments.centroid_hz == pytest.approx(mean, rel=1e-6)
    assert moments.sd_hz == pytest.approx(sd, rel=1e-6)
    assert moments.skewness == pytest.approx(third, abs=1e-5)


@pytest.mark.parametrize("kind", SIBILANT_TYPES)
def test_noise_has_the_spectrum_asked_for(kind: str) -> None:
    # 20 s of noise, Welch (scipy), third-octave bands: the level of each band against the formula's.
    from scipy.signal import welch

    rate = 44100
    shape = shape_of(kind)
    noise = shaped_noise(shape.hiss_power, 20 * rate, rate, 5)
    f, power = welch(noise, rate, nperseg=1024)
    truth = shape.hiss_power(f)
    truth = truth / (truth.sum() * (f[1] - f[0]))
    for centre in 1000.0 * 2.0 ** (np.arange(0, 12) / 3):
        inside = (f > centre * 2 ** (-1 / 6)) & (f < centre * 2 ** (1 / 6))
        assert 10 * np.log10(power[inside].sum() / truth[inside].sum()) == pytest.approx(0.0, abs=0.35)


def test_noise_has_the_expected_level_and_is_seeded() -> None:
    first = shaped_noise(sh_shape().power, 44100, 44100, 3)
    assert first.std() == pytest.approx(1.0, abs=0.02)
    assert np.array_equal(first, shaped_noise(sh_shape().power, 44100, 44100, 3))
    assert not np.array_equal(first, shaped_noise(sh_shape().power, 44100, 44100, 4))


def test_centred_gives_the_centroid_asked_for() -> None:
    for target in (4300.0, 6667.0, 8662.0, 10267.0):
        assert shape_of("typical").centred(target).moments(BAND).centroid_hz == pytest.approx(target, abs=0.6)
    with pytest.raises(ValueError, match="no scaling"):
        shape_of("typical").centred(200.0)


def test_mixture_of_types_is_linear_in_power() -> None:
    # M1 of a mixture is the power-weighted mean of the parts' M1.
    a, b = known_shape(4000.0), known_shape(8000.0)
    assert mixed(a, b, 0.25).moments(BAND).centroid_hz == pytest.approx(5000.0, abs=1.0)
    with pytest.raises(ValueError, match="share"):
        mixed(a, b, 1.2)


def known_shape(centre_hz: float) -> SibilantShape:
    return SibilantShape((Hump(centre_hz, 400.0),), floor_db=-300.0)


def test_types_lie_where_their_names_say() -> None:
    # Directions only, in words (job, part D2): lateral energy at 2 to 5 kHz, retracted like /sh/, frontal flat.
    moments = {kind: shape_of(kind).moments(BAND) for kind in SIBILANT_TYPES}
    low, high = shape_of("lateral").band_of(0.6)
    assert low > 2000 and high < 5000
    assert moments["retracted"].centroid_hz == pytest.approx(sh_shape().moments(BAND).centroid_hz, rel=0.1)
    assert moments["frontal"].sd_hz == max(m.sd_hz for m in moments.values())
    assert moments["whistled"].excess_kurtosis == max(m.excess_kurtosis for m in moments.values())


def test_wrong_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="hump"):
        Hump(-1.0, 10.0)
    with pytest.raises(ValueError, match="not known"):
        shape_of("lispy")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="band"):
        shape_of("typical").moments((5000.0, 4000.0))
