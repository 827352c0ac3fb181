"""
Drift over time against NIST's Norris (certified) and scipy's linregress.

With standard uncertainties far too small the values scatter beyond them, and the slope's u is that of ordinary
regression. Exact algebra: agreement to nine digits.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress

from alignment.change.history import MONTH, drift
from tests.validation.test_nist_norris import SLOPE, U_SLOPE, X, Y


def test_norris():
    """Certified slope and its standard deviation, per mean month."""
    per_month, u, significant, straight = drift(X, Y, np.full(len(X), 1e-3))
    assert per_month == pytest.approx(SLOPE * MONTH, rel=1e-9)
    assert u == pytest.approx(U_SLOPE * MONTH, rel=1e-9)
    assert significant
    assert not straight


def test_significance_is_that_of_linregress():
    """Random walks: a drift is called significant exactly where scipy's two-sided p is below the error."""
    rng = np.random.default_rng(8)
    called = []
    for _ in range(200):
        days = np.sort(rng.uniform(0, 400, 12))
        values = rng.normal(0, 1, 12) + 0.002 * days
        per_month, u, significant, _ = drift(days, values, np.full(12, 1e-3), error=0.05)
        theirs = linregress(days, values)
        assert per_month == pytest.approx(theirs.slope * MONTH, rel=1e-9)
        assert u == pytest.approx(theirs.stderr * MONTH, rel=1e-9)
        assert significant == (theirs.pvalue < 0.05)
        called.append(significant)
    assert 20 < sum(called) < 180


def test_false_drifts_with_known_u():
    """Where the u is right and nothing drifts, as many are called as the error says: 5 % of 4,000, 4 sigma."""
    rng = np.random.default_rng(9)
    called = 0
    for _ in range(4000):
        days = np.sort(rng.uniform(0, 400, 9))
        called += drift(days, rng.normal(0, 0.5, 9), np.full(9, 0.5), error=0.05)[2]
    # those of the 5 % whose scatter is beyond chi-square are judged by Student's t, which calls fewer
    assert called <= 4000 * 0.05 + 4 * np.sqrt(4000 * 0.05 * 0.95)
    assert called >= 4000 * 0.04 - 4 * np.sqrt(4000 * 0.05 * 0.95)
