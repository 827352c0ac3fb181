"""
W. Baarda, A testing procedure for use in geodetic networks, 1968: constants of data snooping.

As commonly tabled: 3.29, 4.13 and 17.075 for 0.1 % and 80 % (print not seen). Further digits and the other pairs were
recomputed with scipy.stats, which is asked again here.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from alignment.fitting.lines import fit_line
from alignment.quantiles import noncentrality, normal_point
from alignment.train.flags.strays import critical_w


def test_constants_as_tabled():
    """Half a unit of the last digit that is commonly printed."""
    assert normal_point(1 - 0.001 / 2) == pytest.approx(3.29, abs=0.005)
    assert noncentrality() == pytest.approx(4.13, abs=0.005)
    assert noncentrality() ** 2 == pytest.approx(17.075, abs=0.0005)


@pytest.mark.parametrize(
    ("error", "power", "expected"),
    [
        (0.05, 0.8, 2.8015852181),
        (0.05, 0.9, 3.2415155501),
        (0.01, 0.8, 3.4174505371),
        (0.01, 0.9, 3.8573808691),
        (0.001, 0.8, 4.1321479651),
        (0.001, 0.9, 4.5720782970),
    ],
)
def test_noncentrality(error, power, expected):
    assert noncentrality(error, power) == pytest.approx(expected, abs=0.5e-10)


@pytest.mark.parametrize(("error", "power"), [(0.01, 0.8), (0.001, 0.8), (0.001, 0.9)])
def test_power_by_the_noncentral_chi_square(error, power):
    """A slip of that many standard deviations is found with that power, by the exact two-sided distribution."""
    beyond = stats.ncx2.sf(stats.chi2.isf(error, 1), 1, noncentrality(error, power) ** 2)
    assert beyond == pytest.approx(power, abs=1e-4)


def test_slip_of_the_detectable_is_found_in_four_of_five():
    """Simulated: 20,000 lines of five points with one slip of the stated size, each tested at 0.1 %; 4 sigma."""
    rng = np.random.default_rng(17)
    x, u, at = np.array([0.0, 3.0, 4.0, 9.0, 18.0]), 0.5, 3
    slip = fit_line(x, np.zeros(5), u=u).detectable(noncentrality())[at]
    y = rng.normal(0, u, (20_000, 5))
    y[:, at] += slip
    design = np.stack([np.ones(5), x], axis=1)
    # the residuals are one linear map of the readings: w of all surveys at once, by numpy's pseudo-inverse
    residual = y @ (np.eye(5) - design @ np.linalg.pinv(design)).T
    lines = fit_line(x, y[0], u=u)
    assert residual[0] == pytest.approx(lines.residual, abs=1e-9)
    w = residual[:, at] / (u * np.sqrt(lines.redundancy[at]))
    assert np.mean(np.abs(w) > 3.2905) == pytest.approx(0.8, abs=4 * np.sqrt(0.8 * 0.2 / 20_000))


@pytest.mark.parametrize("tests", [1, 2, 21, 300])
def test_bonferroni_point(tests):
    """Over so many independent tests the chance of any false one is a little less than 5 %."""
    one = 2 * stats.norm.sf(critical_w(tests))
    assert one * tests == pytest.approx(0.05, rel=1e-9)


def test_no_test_no_stray():
    assert critical_w(0) == np.inf
