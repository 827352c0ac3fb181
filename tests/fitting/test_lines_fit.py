"""The batch fit by itself: order, blocks, what it refuses. Its values are tested in tests/validation."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.errors import NotEnoughReadingsError
from alignment.fitting import lines as leastsq
from alignment.fitting.lines import fit_line, fit_lines


def test_readings_in_any_order_and_lines_in_blocks(monkeypatch):
    """Shuffled, and two lines at a time: to rounding what each line alone gives."""
    rng = np.random.default_rng(4)
    group = np.repeat(np.arange(7), [2, 3, 4, 2, 5, 2, 3])
    x, y, u = rng.uniform(0, 450, len(group)), rng.normal(600, 2, len(group)), rng.uniform(0.2, 0.6, len(group))
    order = rng.permutation(len(group))
    monkeypatch.setattr(leastsq, "BLOCK", 2)
    found = fit_lines(group[order], x[order], y[order], u[order])
    for k in range(7):
        own = group == k
        slope, at_zero = np.polyfit(x[own], y[own], 1, w=1 / u[own])
        assert found.slope[k] == pytest.approx(slope)
        assert found.at(0.0)[k] == pytest.approx(at_zero)
        if own.sum() > 3:
            covariance = np.polyfit(x[own], y[own], 1, w=1 / u[own], cov="unscaled")[1]
            assert found.slope_var[k] == pytest.approx(covariance[0, 0])
            assert found.u_at(0.0)[k] ** 2 == pytest.approx(covariance[1, 1])
    assert found.count.tolist() == [2, 3, 4, 2, 5, 2, 3]
    assert found.dof.tolist() == [0, 1, 2, 0, 3, 0, 1]
    assert found.group.tolist() == group[order].tolist()


def test_groups_without_readings():
    found = fit_lines([1, 1], [0, 1], [0, 1], [1, 1], groups=4)
    assert found.count.tolist() == [0, 2, 0, 0]
    assert np.isnan(found.slope).tolist() == [True, False, True, True]
    assert len(fit_lines([], [], [], []).count) == 0


@pytest.mark.parametrize(("places", "measured"), [((700, 700), False), ((700, 700.00001), True), ((0, 0), False)])
def test_places_that_differ_by_rounding_alone_are_one(places, measured):
    x = np.array(places) + np.array([0, 1e-10])
    assert bool(np.isfinite(fit_lines([0, 0], x, [1.0, 2.0], [0.1, 0.1]).slope[0])) is measured


@pytest.mark.parametrize("u", [0.0, -0.1, np.nan, np.inf])
def test_uncertainty_that_is_none(u):
    with pytest.raises(ValueError, match="positive and finite"):
        fit_lines([0, 0], [0, 1], [0, 1], [0.1, u])


@pytest.mark.parametrize("shape", [([0], [0, 1], [0, 1], [1, 1]), ([[0, 0]], [[0, 1]], [[0, 1]], [[1, 1]])])
def test_arrays_that_do_not_match(shape):
    with pytest.raises(ValueError, match="one-dimensional and of one length"):
        fit_lines(*shape)


def test_one_line_needs_two_places():
    with pytest.raises(NotEnoughReadingsError, match="two distinct places"):
        fit_line([3, 3, 3], [1, 2, 3], u=0.1)
    assert fit_line([0, 2], [1, 5], u=0.1).slope[0] == pytest.approx(2)


def test_what_nothing_checks_has_no_residual_to_test():
    """Two readings: no redundancy. The third at the same place checks the first, and not the other end."""
    two, three = fit_line([0, 450], [600, 601], u=0.4), fit_line([0, 0, 450], [600, 601, 605], u=0.4)
    assert np.isnan(two.w).all()
    assert np.isinf(two.detectable(4.13)).all()
    assert three.checked.tolist() == [True, True, False]
    # the first reading less the second has the variance 2 u2; half of it shows in each residual
    assert three.w[:2] == pytest.approx([-1 / (0.4 * 2**0.5), 1 / (0.4 * 2**0.5)])
    assert three.detectable(4.13)[:2] == pytest.approx([4.13 * 0.4 * 2**0.5] * 2)
    assert np.isinf(three.detectable(4.13)[2])
