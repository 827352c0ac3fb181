"""
The chance of a section, against scipy.stats.multivariate_normal and against drawing.

The region is a polygon in two deviations, so that scipy's distribution function, which knows boxes only, serves where
the square tolerance binds nothing, and its draws everywhere else.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal, norm

from alignment.machine.layout import Tolerance
from alignment.quantiles import normal_below
from alignment.train.chance import Beside, chance, shared, with_steps
from tests.tools.chances import simulate

WIDE = 1000.0
DRAWS = 200_000


def tolerance(offset: float, square: float, step: float = WIDE) -> Tolerance:
    return Tolerance(offset=offset, square=square, step=step, opening=WIDE)


def test_normal_distribution():
    """scipy.special.ndtr, far into both tails."""
    z = np.linspace(-37, 37, 5001)
    assert normal_below(z) == pytest.approx(ndtr(z), rel=1e-8, abs=1e-15)


@pytest.mark.parametrize("seed", range(20))
def test_box_against_scipy(seed):
    """Both ends within the offset, whatever the skew."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(2, 2)) * rng.uniform(0.2, 1)
    value, covariance, limit = rng.normal(size=2), root @ root.T + 1e-4 * np.eye(2), rng.uniform(0.5, 2)
    found = float(chance(value, covariance, tolerance(limit, WIDE)))
    box = multivariate_normal(value, covariance).cdf([limit] * 2, lower_limit=[-limit] * 2)
    assert found == pytest.approx(box, abs=2e-4)


def test_skew_alone_is_one_normal_quantity():
    value, covariance = np.array([0.3, 0.8]), np.array([[0.2, 0.05], [0.05, 0.3]])
    u = np.sqrt(0.2 + 0.3 - 2 * 0.05)
    between = norm.cdf((0.7 - 0.5) / u) - norm.cdf((-0.7 - 0.5) / u)
    assert float(chance(value, covariance, tolerance(50.0, 0.7))) == pytest.approx(between, abs=1e-4)


@pytest.mark.parametrize("neighbours", [0, 1, 2])
@pytest.mark.parametrize("seed", range(8))
def test_everything_against_draws_of_scipy(seed, neighbours):
    rng = np.random.default_rng(100 + seed)
    root = rng.normal(size=(2, 2)) * rng.uniform(0.2, 0.7)
    sides = [Beside(value=float(rng.normal() * 0.5), u=float(rng.uniform(0.05, 0.6))) for _ in range(2)]
    up, down = (side if k < neighbours else None for k, side in enumerate(sides))
    value, covariance = with_steps(rng.normal(size=2) * 0.5, root @ root.T, up=up, down=down)
    covariance = shared(covariance, 0.4)
    limits = tolerance(*rng.uniform(0.5, 2, size=3))
    drawn = multivariate_normal(value, covariance, allow_singular=True).rvs(DRAWS, random_state=seed)
    ok = (abs(drawn[:, :2]) <= limits.offset).all(axis=1) & (abs(drawn[:, 1] - drawn[:, 0]) <= limits.square)
    ok &= (abs(drawn[:, 2:]) <= limits.step).all(axis=1)
    p = ok.mean()
    assert float(chance(value, covariance, limits)) == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / DRAWS) + 3e-4)


@pytest.mark.parametrize("r", [-0.6, -0.3, 0.3, 0.6])
@pytest.mark.parametrize("middle", [(0.0, 0.0), (0.4, -0.3), (0.5, 0.5)])
def test_two_steps_whose_neighbours_share_something(middle, r):
    """A section that is known exactly, between neighbours that are not: a box of two correlated steps, by scipy."""
    covariance = np.zeros((4, 4))
    covariance[:2, :2] = 1e-8 * np.eye(2)
    covariance[2:, 2:] = 0.25 * np.array([[1, r], [r, 1]])
    value = np.array([0.0, 0.0, *middle])
    box = multivariate_normal(middle, covariance[2:, 2:]).cdf([0.6, 0.6], lower_limit=[-0.6, -0.6])
    assert float(chance(value, covariance, tolerance(1.0, 1.0, 0.6))) == pytest.approx(box, abs=2e-3)


def test_step_is_the_difference_of_facing_ends_and_the_shared_error_cancels():
    """Upstream exit drawn, this section drawn, tape's zero drawn for both."""
    rng = np.random.default_rng(5)
    zero = rng.normal(size=DRAWS) * 0.4
    up = 0.5 + 0.3 * rng.normal(size=DRAWS) + zero
    own = rng.multivariate_normal([0.2, -0.3], [[0.1, -0.02], [-0.02, 0.12]], size=DRAWS) + zero[:, None]
    limits = tolerance(1.0, 0.9, 0.7)
    ok = (abs(own) <= 1.0).all(axis=1) & (abs(own[:, 1] - own[:, 0]) <= 0.9) & (abs(own[:, 0] - up) <= 0.7)
    value, covariance = with_steps(
        np.array([0.2, -0.3]), np.array([[0.1, -0.02], [-0.02, 0.12]]), up=Beside(value=0.5, u=0.3)
    )
    assert float(chance(value, shared(covariance, 0.4), limits)) == pytest.approx(ok.mean(), abs=0.005)


def test_many_at_once_are_as_each_alone():
    rng = np.random.default_rng(3)
    value = rng.normal(size=(7, 3))
    covariance = np.eye(3) * 0.3 + 0.1
    limits = tolerance(1.5, 1.2, 1.0)
    assert chance(value, covariance, limits) == pytest.approx([float(chance(v, covariance, limits)) for v in value])


def test_known_exactly_is_in_or_out():
    limits = tolerance(1.0, 1.0)
    known = np.zeros((2, 2))
    assert float(chance([0.5, 0.4], known, limits)) == pytest.approx(1, abs=1e-3)
    assert float(chance([0.5, 1.4], known, limits)) == pytest.approx(0, abs=1e-3)


def test_stated_chances_come_true():
    """A few hundred of the machines of ``python -m tests.tools.chances``: every level within four sigma."""
    plans, parts = simulate(150, 7)
    for level in (*plans, *parts):
        assert level.sigmas < 4
    assert sum(len(level.true) for level in plans) > 100
