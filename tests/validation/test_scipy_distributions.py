"""scipy.stats: the distributions behind the flags and the probability of being in tolerance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from alignment.change.comparison import SURE
from alignment.quantiles import chi_square_point, f_point, normal_below, student_point
from alignment.uncertainty import conformance_probability, repeats_apart


@pytest.mark.parametrize("count", [2, 3, 6, 10])
@pytest.mark.parametrize("probability", [0.5, 0.95, 0.99])
def test_range_of_repeats_on_fine_marks(count, probability):
    """
    Marks a hundredth of the hand: the studentized range with the standard deviation known, to a mark.

    The range in marks is on the average that of the places, so that a point of it is one mark up or down.
    """
    expected = stats.studentized_range.ppf(probability, count, math.inf)
    found = repeats_apart(500.0, count, probability, mark=0.01, set_u=1.0, tilt=0.0)
    assert found == pytest.approx(expected, abs=0.0101)


@pytest.mark.parametrize("count", [2, 3, 5])
@pytest.mark.parametrize(("mark", "hand"), [(0.4, 0.1), (1.6, 0.4), (1.0, 0.4), (1.0, 0.6)])
def test_range_of_repeats_on_coarse_marks(count, mark, hand):
    """Rounding of 100,000 points that lie anywhere, to 4 standard errors: beyond as told, and not by a mark less."""
    rng = np.random.default_rng(count)
    true = 467.0 + rng.uniform(-0.5, 0.5, (100_000, 1)) * mark
    tilt = np.radians(rng.uniform(-2, 2, (100_000, count)))
    apart = np.ptp(np.round((true / np.cos(tilt) + rng.normal(0, hand, tilt.shape)) / mark), axis=1)
    for beyond in (0.05, 0.01, 0.002):
        allowed = round(repeats_apart(467.0, count, 1 - beyond, mark=mark, set_u=hand, tilt=2.0) / mark)
        margin = 4 * math.sqrt(beyond / 100_000)
        assert np.mean(apart > allowed) <= beyond + margin
        assert np.mean(apart >= allowed) > beyond - margin


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


@pytest.mark.parametrize("dof", [1, 1.26, 1.9, 2, 4, 10, 300])
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


def test_normal_distribution_far_out():
    """Both ways in which it is worked out, and where the one gives place to the other, against scipy."""
    z = -np.concatenate([np.linspace(0, 7, 29), [7.07, 7.08], np.linspace(7.5, 37, 30)])
    assert normal_below(z) == pytest.approx(stats.norm.cdf(z), rel=2e-8, abs=0)
    assert normal_below(-z) == pytest.approx(stats.norm.cdf(-z), rel=1e-12, abs=0)


def test_nothing_is_beyond_the_last_point():
    assert chi_square_point(3, 1.0) == math.inf
    assert student_point(1.0, 3) == math.inf
