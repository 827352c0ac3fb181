"""statsmodels: weighted least squares with known uncertainties, and hat values, on random data; exact algebra 1e-9."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.outliers_influence import OLSInfluence

from alignment.fitting.lines import fit_lines

GROUPS = 25


@pytest.fixture(scope="module")
def data():
    rng = np.random.default_rng(7)
    group = np.concatenate([np.arange(GROUPS).repeat(2), rng.integers(0, GROUPS, 150)])
    x = rng.uniform(-2000, 9000, len(group))
    y = rng.uniform(300, 900, len(group))
    u = rng.uniform(0.1, 3.0, len(group))
    return group, x, y, u


def test_parameters_and_their_uncertainties(data):
    """Parameters, and standard errors with the scale fixed at one, of every group."""
    group, x, y, u = data
    lines = fit_lines(group, x, y, u)
    for g in range(GROUPS):
        own = group == g
        model = sm.WLS(y[own], sm.add_constant(x[own], has_constant="add"), weights=u[own] ** -2.0)
        fit = model.fit(cov_type="fixed scale")
        assert lines.count[g] == own.sum()
        assert lines.at(0.0)[g] == pytest.approx(fit.params[0], rel=1e-9)
        assert lines.slope[g] == pytest.approx(fit.params[1], rel=1e-9, abs=1e-12)
        assert lines.u_at(0.0)[g] == pytest.approx(fit.bse[0], rel=1e-9)
        assert np.sqrt(lines.slope_var[g]) == pytest.approx(fit.bse[1], rel=1e-9)
        assert lines.residual[own] == pytest.approx(fit.resid, rel=1e-9, abs=1e-9)
        assert lines.chi2[g] == pytest.approx(np.sum((fit.resid / u[own]) ** 2), rel=1e-9, abs=1e-12)


def test_prediction_anywhere(data):
    """Value and standard error of the mean at places off the readings."""
    group, x, y, u = data
    lines = fit_lines(group, x, y, u)
    for place in (-5000.0, 0.0, 3333.3, 20000.0):
        for g in range(0, GROUPS, 5):
            own = group == g
            fit = sm.WLS(y[own], sm.add_constant(x[own]), weights=u[own] ** -2.0).fit(cov_type="fixed scale")
            said = fit.get_prediction([[1.0, place]])
            assert lines.at(place)[g] == pytest.approx(said.predicted_mean[0], rel=1e-9)
            assert lines.u_at(place)[g] == pytest.approx(said.se_mean[0], rel=1e-9)


def test_hat_values(data):
    """Leverage by statsmodels' influence of the least-squares fit of the weighted data."""
    group, x, y, u = data
    lines = fit_lines(group, x, y, u)
    for g in range(GROUPS):
        own = group == g
        weighted = sm.add_constant(x[own], has_constant="add") / u[own][:, None]
        hat = OLSInfluence(sm.OLS(y[own] / u[own], weighted).fit()).hat_matrix_diag
        assert lines.hat[own] == pytest.approx(hat, rel=1e-9)
        assert lines.redundancy[own] == pytest.approx(1 - hat, rel=1e-9, abs=1e-9)
