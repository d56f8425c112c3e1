"""Own quantiles against scipy's."""

from __future__ import annotations

import pytest
import scipy.stats
from scipy import special

from engine.measure.quantiles import (
    beta_share,
    chi2_quantile,
    chi2_share,
    gamma_share,
    normal_quantile,
    t_quantile,
    t_share,
)

SHARES = (0.001, 0.025, 0.05, 0.3, 0.5, 0.9, 0.975, 0.999)
FREEDOMS = (1, 2, 3.5, 7, 30, 400, 5000)


@pytest.mark.parametrize("df", FREEDOMS)
@pytest.mark.parametrize("p", SHARES)
def test_quantiles_agree_with_scipy(p, df):
    assert t_quantile(p, df) == pytest.approx(scipy.stats.t.ppf(p, df), rel=1e-9, abs=1e-9)
    assert chi2_quantile(p, df) == pytest.approx(scipy.stats.chi2.ppf(p, df), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("x", [-8.0, -1.0, 0.0, 0.3, 2.0, 30.0])
@pytest.mark.parametrize("df", FREEDOMS)
def test_shares_agree_with_scipy(x, df):
    assert t_share(x, df) == pytest.approx(scipy.stats.t.cdf(x, df), rel=1e-8, abs=1e-14)
    assert chi2_share(x, df) == pytest.approx(scipy.stats.chi2.cdf(x, df), rel=1e-9, abs=1e-14)


@pytest.mark.parametrize("x", [0.0, 0.02, 0.5, 0.97, 1.0])
def test_incomplete_functions_agree_with_scipy(x):
    assert beta_share(2.5, 7.0, x) == pytest.approx(special.betainc(2.5, 7.0, x), rel=1e-10)
    assert gamma_share(2.5, 7 * x) == pytest.approx(special.gammainc(2.5, 7 * x), rel=1e-10)


def test_very_many_degrees_are_normal():
    assert t_quantile(0.975, 1e9) == normal_quantile(0.975)
    assert normal_quantile(0.975) == pytest.approx(scipy.stats.norm.ppf(0.975), rel=1e-12)
