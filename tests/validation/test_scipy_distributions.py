"""scipy.stats: the distributions behind the flags and the probability of being in tolerance."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from alignment.change.comparison import SURE
from alignment.quantiles import chi_square_point, f_point, range_point, student_point
from alignment.uncertainty import conformance_probability


@pytest.mark.parametrize("count", [2, 3, 4, 6, 10, 30])
@pytest.mark.parametrize("probability", [0.5, 0.95, 0.99])
def test_range_of_repeats(count, probability):
    """Studentized range with the standard deviation known (infinite degrees of freedom)."""
    expected = stats.studentized_range.ppf(probability, count, math.inf)
    assert range_point(count, probability) == pytest.approx(expected, rel=1e-6)


def test_range_of_three_as_tabled():
    """95 % point of the studentized range for 3 and infinite degrees of freedom: 3.31 (any table)."""
    assert range_point(3) == pytest.approx(3.31, abs=0.005)


@pytest.mark.parametrize("dof", [1, 2, 4, 34, 1000])
def test_chi_square_point(dof):
    """Percentage points of chi-square."""
    assert float(chi_square_point(dof, 0.95)) == pytest.approx(stats.chi2.ppf(0.95, dof), rel=1e-9)


@pytest.mark.parametrize("value", [-40.0, -3.1, -1.0, 0.0, 0.2, 2.9])
@pytest.mark.parametrize("u", [0.05, 1.0, 7.0])
def test_conformance_probability(value, u):
    """Normal probability between two limits."""
    expected = stats.norm.cdf(1.5, value, u) - stats.norm.cdf(-1.0, value, u)
    assert conformance_probability(value, u, lower=-1.0, upper=1.5) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("dof", [1, 2, 4, 10, 300])
@pytest.mark.parametrize("probability", [0.975, 0.995, 0.99975])
def test_student_point(dof, probability):
    """Percentage points of Student's t, as far out as drifts of a string are tested."""
    assert student_point(probability, dof) == pytest.approx(stats.t.ppf(probability, dof), rel=1e-8)


@pytest.mark.parametrize(("between", "within"), [(2, 2), (2, 8), (6, 20), (30, 300)])
def test_f_point(between, within):
    """Percentage points of Fisher's F."""
    assert f_point(0.995, between, within) == pytest.approx(stats.f.ppf(0.995, between, within), rel=1e-8)


def test_sure_is_a_normal_point():
    """Two-sided 99 %."""
    assert pytest.approx(stats.norm.ppf(0.995), abs=5e-5) == SURE
