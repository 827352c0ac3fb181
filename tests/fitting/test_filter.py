"""The filter by itself: against least squares, and with directions of which nothing is known."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.fitting.filter import Known


def test_nothing_is_known_at_first():
    known = Known.nothing(2)
    assert not known.complete
    assert np.isnan(known.mean).all()
    assert np.isnan(known.covariance).all()


def test_one_observation_of_two_numbers_leaves_the_other_unknown():
    known = Known.nothing(2).observed([1, 0], 3.0, 0.25)
    assert not known.complete
    known = known.observed([0.5, 0.5], 5.0, 1.0)
    assert known.mean == pytest.approx([3.0, 7.0])
    assert known.covariance == pytest.approx(np.array([[0.25, -0.25], [-0.25, 4.25]]))


def test_a_change_carries_mean_and_covariance():
    """F P F' + Q."""
    turn, noise = np.array([[1.0, 0.3], [0.0, 0.8]]), np.diag([0.1, 0.2])
    covariance = np.array([[1.0, 0.2], [0.2, 0.5]])
    after = Known.of([1.0, 2.0], covariance).changed(turn, [0.5, 0.0], noise)
    assert after.mean == pytest.approx(turn @ [1.0, 2.0] + [0.5, 0.0])
    assert after.covariance == pytest.approx(turn @ covariance @ turn.T + noise)


def test_what_a_change_does_not_carry_over_is_forgotten():
    after = Known.of([1.0, 2.0], np.eye(2)).changed(np.zeros((2, 2)), [7.0, 8.0], np.diag([0.1, 0.2]))
    assert after.mean == pytest.approx([7.0, 8.0])
    assert after.covariance == pytest.approx(np.diag([0.1, 0.2]))


def test_a_direction_that_is_not_known_stays_so_where_it_is_taken():
    """Of x and y only x is known; x + y and y change about: nothing is known of either, and of x still all."""
    known = Known.nothing(2).observed([1, 0], 3.0, 0.25)
    after = known.changed([[1, 1], [0, 1]], [0, 0], np.diag([1e-12, 1e-12]))
    assert not after.complete
    told = after.observed([0, 1], 10.0, 1e-9)
    assert told.mean == pytest.approx([13.0, 10.0])
    assert told.covariance[0, 0] == pytest.approx(0.25, rel=1e-6)


def test_an_unknown_direction_that_is_forgotten_does_no_harm():
    known = Known.nothing(2).observed([1, 0], 3.0, 0.25)
    after = known.changed([[1, 0], [0, 0]], [0, 5.0], np.diag([1e-9, 0.04]))
    assert after.mean == pytest.approx([3.0, 5.0])
    assert after.covariance == pytest.approx(np.diag([0.25, 0.04]), abs=1e-8)
