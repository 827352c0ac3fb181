"""
Repeats that share part of their error, against generalised least squares of statsmodels with the whole covariance.

Each place's readings share one error besides their own. Values, covariance, chi-square, and the slip of one reading as
a parameter more (mean shift model) are exact algebra: agreement to 1e-7.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from alignment.fitting.lines import fit_lines


@pytest.fixture(scope="module", params=[1, 2, 3])
def case(request):
    """Two sections, readings in no order, one to four at a place, each with its own u."""
    rng = np.random.default_rng(request.param)
    group, x, shared = [], [], []
    for g in range(2):
        for place in rng.uniform(0, 500, 3 + g):
            count = int(rng.integers(1, 5))
            group += [g] * count
            x += [place] * count
            shared += [0.3 * (count > 1)] * count
    order = rng.permutation(len(x))
    u = rng.uniform(0.2, 0.5, len(x))
    y = 600 + rng.normal(0, 0.5, len(x))
    group, x, shared = (np.array(a)[order] for a in (group, x, shared))
    return group, x, y, u, shared, fit_lines(group, x, y, u, shared=shared)


def reference(case, g: int):
    group, x, y, u, shared, _ = case
    own = group == g
    together = (x[own][:, None] == x[own]) * np.outer(shared[own], shared[own])
    return sm.GLS(y[own], sm.add_constant(x[own]), sigma=np.diag(u[own] ** 2) + together)


@pytest.mark.parametrize("g", [0, 1])
def test_line_and_chi_square(case, g):
    found, model = case[-1], reference(case, g)
    fit = model.fit(cov_type="fixed scale")
    assert found.at(0.0)[g] == pytest.approx(fit.params[0], rel=1e-10)
    assert found.slope[g] == pytest.approx(fit.params[1], rel=1e-8)
    assert found.u_at(0.0)[g] == pytest.approx(fit.bse[0], rel=1e-8)
    assert found.slope_var[g] == pytest.approx(fit.bse[1] ** 2, rel=1e-8)
    assert found.chi2[g] == pytest.approx(np.sum(fit.wresid**2), rel=1e-8)
    assert found.dof[g] == fit.df_resid


@pytest.mark.parametrize("g", [0, 1])
def test_slip_of_each_reading(case, g):
    """One parameter more for the reading looked at: what it comes to, and its standard uncertainty."""
    group, *_, found = case
    model = reference(case, g)
    for k, at in enumerate(np.flatnonzero(group == g)):
        shifted = np.column_stack([model.exog, np.eye(len(model.endog))[k]])
        fit = sm.GLS(model.endog, shifted, sigma=model.sigma).fit(cov_type="fixed scale")
        assert found.slip[at] == pytest.approx(fit.params[2], rel=1e-7)
        assert found.slip_u[at] == pytest.approx(fit.bse[2], rel=1e-7)
        assert found.w[at] == pytest.approx(fit.tvalues[2], rel=1e-7)
    assert found.redundancy[group == g].sum() == pytest.approx(len(model.endog) - 2)
