"""
Drift over time against NIST's Norris (certified) and scipy's linregress.

With standard uncertainties far too small the values scatter beyond them, and the slope's u is that of ordinary
regression. Exact algebra: agreement to nine digits.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress

from alignment.change.trends import Series, common_trend, find_trends
from tests.validation.test_nist_norris import SLOPE, U_SLOPE, X, Y


def test_norris():
    """
    Certified slope and its standard deviation.

    Of two sections on one string one reads the same each time, to a millionth of what the other is known to: so the
    string is known. Offset and skew of the other are both Norris's y, each for itself, so that the scatter of all is
    that of one.
    """
    n = len(X)
    value = np.zeros((n, 2, 2))
    value[:, 1] = np.asarray(Y)[:, None]
    covariance = np.zeros((n, 2, 2, 2))
    covariance[:, 0] = np.eye(2) * 1e-18
    covariance[:, 1] = np.eye(2) * 1e-6
    line = np.array([[[1.0, -0.25], [0.0, 0.5]], [[1.0, 0.25], [0.0, 0.5]]])
    found = find_trends(
        Series(
            time=np.asarray(X, dtype=float),
            value=value,
            covariance=covariance,
            line=line,
            stretch=np.zeros((n, 2), dtype=np.int64),
        ),
        error=0.01,
    )
    assert found.drift[1] == pytest.approx([SLOPE, SLOPE], rel=1e-9)
    assert found.u[1] == pytest.approx([U_SLOPE, U_SLOPE], rel=1e-6)
    assert found.dof == 2 * (n - 2)


def test_significance_is_that_of_linregress():
    """Random walks: a string's drift is called significant exactly where scipy's two-sided p is below the error."""
    rng = np.random.default_rng(8)
    called = []
    for _ in range(200):
        days = np.sort(rng.uniform(0, 400, 12))
        values = rng.normal(0, 1, 12) + 0.002 * days
        found = common_trend(days, values[:, None], error=0.05)
        theirs = linregress(days, values)
        assert found.value[0] == pytest.approx(theirs.slope, rel=1e-9)
        assert found.u[0] == pytest.approx(theirs.stderr, rel=1e-9)
        assert found.significant == (theirs.pvalue < 0.05)
        called.append(found.significant)
    assert 20 < sum(called) < 180
