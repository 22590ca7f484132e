"""Own quantiles and the normal law against scipy's."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy
from scipy import special

from sibilant.ranges.quantiles import chi_square_quantile, normal_cdf, t_quantile

NEAR = 2e-12 if tuple(map(int, scipy.__version__.split(".")[:2])) >= (1, 16) else 1e-10
"""Up to scipy 1.15 its own t quantiles err by up to 1e-10."""


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
def test_t(level: float) -> None:
    """scipy.special.stdtrit, whole degrees of freedom and Welch's broken ones."""
    for df in (1, 1.5, 2, 2.3, 3, 4, 5, 9.5, 19, 50, 77.7, 200, 1000):
        assert t_quantile(df, level) == pytest.approx(special.stdtrit(df, 0.5 + level / 2), rel=NEAR)
    # One degree of freedom is Cauchy's distribution (handbook formula).
    assert t_quantile(1.0, level) == pytest.approx(math.tan(math.pi * level / 2), rel=2e-12)
    assert t_quantile(1e5, level) == pytest.approx(special.stdtrit(1e5, 0.5 + level / 2), rel=1e-9)
    assert t_quantile(math.inf, level) == pytest.approx(special.ndtri(0.5 + level / 2), rel=1e-12)


def test_t_without_degrees_of_freedom() -> None:
    assert math.isnan(t_quantile(0)) and math.isnan(t_quantile(math.nan))


def test_chi_square() -> None:
    """scipy.special.chdtri."""
    for df in (1, 2, 3, 4, 10, 19, 50, 200, 1000):
        for tail in (0.0001, 0.025, 0.5, 0.975, 0.999):
            assert chi_square_quantile(df, tail) == pytest.approx(special.chdtri(df, tail), rel=1e-12)


def test_normal() -> None:
    """scipy.special.ndtr, over all that is not lost to zero, and at the joints of the three ranges."""
    x = np.concatenate([np.linspace(-37, 9, 5001), math.sqrt(2) * np.array([-4, -0.46875, 0.46875, 4])])
    np.testing.assert_allclose(normal_cdf(x), special.ndtr(x), rtol=1e-12)
    assert normal_cdf([np.inf, -np.inf, 1e3, -1e3]).tolist() == [1, 0, 1, 0] and np.isnan(normal_cdf(np.nan))
