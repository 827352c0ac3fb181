"""
statsmodels: studentised residuals of OLSInfluence, on random data; exact algebra 1e-9.

With the standard uncertainties known, readings and design divided by them have the variance one. Then our normalised
residual is statsmodels' externally studentised residual times the standard deviation of the fit that leaves the
reading out, and the internally studentised one times the standard deviation of the whole fit: the studentised ones
estimate what we know.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.outliers_influence import OLSInfluence

from alignment.fitting.lines import fit_line


@pytest.fixture(params=range(8))
def data(request):
    rng = np.random.default_rng(request.param)
    count = int(rng.integers(4, 30))
    return rng.uniform(0, 5000, count), rng.uniform(650, 750, count), rng.uniform(0.2, 2.0, count)


@pytest.fixture
def influence(data):
    x, y, u = data
    return OLSInfluence(sm.OLS(y / u, sm.add_constant(x) / u[:, None]).fit())


def test_normalised_residual_from_externally_studentised(data, influence):
    """W = t_ext s_(i)."""
    lines = fit_line(data[0], data[1], u=data[2])
    expected = influence.resid_studentized_external * np.sqrt(influence.sigma2_not_obsi)
    assert lines.w == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_normalised_residual_from_internally_studentised(data, influence):
    """W = t_int s, with s^2 = chi2 / dof."""
    lines = fit_line(data[0], data[1], u=data[2])
    s = np.sqrt(influence.results.mse_resid)
    assert lines.w == pytest.approx(influence.resid_studentized_internal * s, rel=1e-9, abs=1e-9)
    assert lines.chi2[0] / lines.dof[0] == pytest.approx(s**2, rel=1e-9)


def test_the_two_hang_together(data, influence):
    """t_ext^2 = w^2 (dof - 1) / (chi2 - w^2): what is left of chi-square without the reading is the denominator."""
    lines = fit_line(data[0], data[1], u=data[2])
    expected = lines.w * np.sqrt((lines.dof[0] - 1) / (lines.chi2[0] - lines.w**2))
    assert influence.resid_studentized_external == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_slip_is_the_reading_less_what_the_others_say(data, influence):
    """V / r is the leave-one-out (PRESS) residual, and its standard uncertainty is u / sqrt(r)."""
    x, y, u = data
    lines = fit_line(x, y, u=u)
    assert lines.residual / lines.redundancy == pytest.approx(influence.resid_press * u, rel=1e-9, abs=1e-9)
    for k in range(len(x)):
        others = np.arange(len(x)) != k
        without = sm.WLS(y[others], sm.add_constant(x[others]), weights=u[others] ** -2.0).fit(cov_type="fixed scale")
        said = without.get_prediction([[1.0, x[k]]])
        assert y[k] - said.predicted_mean[0] == pytest.approx(lines.residual[k] / lines.redundancy[k], rel=1e-8)
        assert np.hypot(u[k], said.se_mean[0]) == pytest.approx(u[k] / np.sqrt(lines.redundancy[k]), rel=1e-8)
