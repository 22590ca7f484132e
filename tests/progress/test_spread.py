"""A client's SD combined with other clients': by hand, by an independent integration, and at its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from sibilant.progress.change import limit_factor
from sibilant.progress.spread import ClinicSpread, clinic_level, clinic_limit, fit_spread, sd_known, too_few_clients


def test_two_sds_combined_by_hand() -> None:
    """Precisions of log SD add: others 1/0.5^2 = 4 at log 200; own 50 degrees of freedom 2 x 50 = 100 at log 100.

    (4 log 200 + 100 log 100) / 104 = log 100 + 4/104 log 2 = log 102.7; the SD of log s is 1/sqrt(2 df) (textbook,
    from memory), good to 1 % at 50 degrees of freedom.
    """
    assert float(sd_known(100.0, 51, ClinicSpread(200.0, 0.5, 20))) == pytest.approx(102.7, rel=0.02)


@pytest.mark.parametrize(("s", "k", "floor"), [(60.0, 3, 0.0), (200.0, 3, 0.0), (700.0, 4, 0.0), (60.0, 5, 120.0)])
def test_limit_is_the_quantile_of_the_mixture(s: float, k: int, floor: float) -> None:
    """Against scipy's adaptive quadrature and root finder over scipy's own chi and normal densities."""
    clinic = ClinicSpread(200.0, 0.6, 20)

    def weight(log_sigma: float) -> float:
        sigma = math.exp(log_sigma)
        own = stats.chi.pdf(s / sigma * math.sqrt(k - 1), k - 1) / sigma
        return float(stats.norm.pdf(log_sigma, math.log(200.0), 0.6) * own)

    start = math.log(floor) if floor else math.log(200.0) - 3.0

    def past(limit: float) -> float:
        def tail(x: float) -> float:
            return weight(x) * 2 * stats.norm.sf(limit / (math.exp(x) * math.sqrt(1 + 1 / k)))

        whole = integrate.quad(weight, start, 8.3, epsabs=1e-14, limit=200)[0]
        return integrate.quad(tail, start, 8.3, epsabs=1e-14, limit=200)[0] / whole - 0.05

    expected = optimize.brentq(past, 10.0, 20000.0)
    found = float(clinic_limit(s, k, clinic, floor or math.nan, level=0.05))
    assert found == pytest.approx(expected, rel=0.02 if floor else 2e-3)


def test_far_apart_others_give_the_plain_rule_back() -> None:
    """With a spread so wide that others say nothing, the posterior is the usual one: t(k - 1) (textbook, from memory).

    A flat prior of log sigma is what makes t exact; a normal one of spread 3 comes within 2 %.
    """
    found = float(clinic_limit(100.0, 5, ClinicSpread(100.0, 3.0, 20), level=0.05))
    assert found == pytest.approx(limit_factor(5) * 100.0, rel=0.02)


def test_the_floor_holds() -> None:
    clinic = ClinicSpread(50.0, 0.5, 20)
    floor = 400.0
    least = -stats.norm.ppf(clinic_level(3) / 2) * floor * math.sqrt(1 + 1 / 3)
    assert float(clinic_limit(10.0, 3, clinic, floor)) >= 0.999 * least
    assert float(clinic_limit(0.0, 3, clinic, 1e6)) == pytest.approx(least / floor * 1e6, rel=1e-3)
    assert float(sd_known(10.0, 3, clinic, floor)) >= floor


def test_a_quiet_baseline_gets_a_wider_limit_and_a_loud_one_a_narrower() -> None:
    clinic = ClinicSpread(200.0, 0.6, 20)
    limits = clinic_limit([40.0, 200.0, 500.0], 3, clinic)
    plain = limit_factor(3) * np.asarray([40.0, 200.0, 500.0])
    assert limits[0] > plain[0]
    assert limits[1] < plain[1]
    assert limits[2] < plain[2]
    assert np.all(np.diff(limits) > 0)


@pytest.mark.parametrize("k", [3, 5])
def test_fit_finds_planted_numbers(k: int) -> None:
    """400 clients, log SD 0.7 about 250: the sampling of s, as large as that spread at k = 3, is taken out."""
    random = np.random.default_rng(k)
    sigma = 250.0 * np.exp(random.normal(0, 0.7, 400))
    s = sigma * np.sqrt(random.chisquare(k - 1, 400) / (k - 1))
    found = fit_spread(s, np.full(400, k - 1))
    assert found is not None
    assert found.typical == pytest.approx(250.0, rel=0.12)
    assert found.spread == pytest.approx(0.7, abs=0.1)
    assert np.log(s).std() > 0.85 or k == 5


def test_alike_clients_are_not_taken_to_be_more_alike_than_half() -> None:
    found = fit_spread(np.full(100, 200.0), np.full(100, 30))
    assert found is not None
    assert 0.5 <= found.spread < 0.52


def test_few_clients_are_told_by_their_uncertainty_and_fewer_than_twelve_refused() -> None:
    sds = [120.0, 160.0, 200.0, 250.0, 330.0, 410.0] * 10
    few, many = fit_spread(sds[:12], [2] * 12), fit_spread(sds, [2] * 60)
    assert few is not None
    assert many is not None
    assert few.spread > many.spread
    assert fit_spread(sds[:11], [2] * 11) is None
    assert "11 other clients" in too_few_clients(11)
    assert too_few_clients(12) == ""


def test_zero_and_missing_sds_do_not_count() -> None:
    assert fit_spread([200.0] * 11 + [0.0, math.nan], [2] * 13) is None


def test_any_scale_gives_the_same_limit() -> None:
    """Hertz or kilohertz: limits scale with the unit."""
    hz = clinic_limit(150.0, 3, ClinicSpread(200.0, 0.6, 20), 80.0)
    khz = clinic_limit(0.15, 3, ClinicSpread(0.2, 0.6, 20), 0.08)
    assert float(hz) == pytest.approx(1000 * float(khz), rel=1e-9)
