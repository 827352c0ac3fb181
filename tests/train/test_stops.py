"""Stops on the tape's marks and halfway, and levers by rigid-body arithmetic: a straight bar turned about a point."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.lengths import Units
from alignment.machine.layout import Section
from alignment.show.words.stops import stop_words
from alignment.train.moves.stops import best_stop, grid, set_both, swing, watch_place

IN = 25.4
SECTION = Section(name="a", row="r", start=0.0, length=400.0, points=(0.0, 400.0), bolts=(50.0, 350.0))


def test_grid_is_marks_and_halfways_nearest_first():
    stops = grid(18.375 * IN, IN / 16, IN / 16)
    assert stops / (IN / 32) == pytest.approx([588, 587, 589, 586, 590])
    assert best_stop(467.3, 1.0) == pytest.approx(467.5)
    assert best_stop(467.25, 1.0) == pytest.approx(467.0)


@pytest.mark.parametrize(
    ("stop", "mark", "units", "said"),
    [
        (18.375 * IN, IN / 16, Units.inch, "18 3/8"),
        (18.34375 * IN, IN / 16, Units.inch, "halfway between 18 5/16 and 18 3/8"),
        (18.34375 * IN, IN / 32, Units.inch, "18 11/32"),
        (467.0, 1.0, Units.mm, "467"),
        (467.5, 1.0, Units.mm, "halfway between 467 and 468"),
        (467.5, 0.5, Units.mm, "467.5"),
        (467.25, 0.5, Units.mm, "halfway between 467.0 and 467.5"),
    ],
)
def test_words_of_a_stop(stop, mark, units, said):
    assert stop_words(stop, mark, units) == said


def turned(pivot: float, at: float, y_pivot: float, y_at: float, x: float) -> float:
    """Where a straight bar through two points is at a third."""
    return y_pivot + (y_at - y_pivot) * (x - pivot) / (at - pivot)


@pytest.mark.parametrize(("loosen", "pivot", "bolt", "watch"), [(1, 50.0, 350.0, 400.0), (0, 350.0, 50.0, 0.0)])
def test_swing_by_levers(loosen, pivot, bolt, watch):
    before = np.array([1.0, 3.0])
    done = swing(SECTION, before, np.eye(2) * 0.25, loosen, [0.5], u=0.3, creep=0.4)
    held = turned(0.0, 400.0, 1.0, 3.0, pivot)
    assert watch_place(SECTION, loosen) == watch
    assert done.value[0] == pytest.approx([turned(pivot, watch, held, 0.5, x) for x in (0.0, 400.0)])
    moved = turned(0.0, 400.0, 1.0, 3.0, bolt) - turned(pivot, watch, held, 0.5, bolt)
    assert done.move[0, loosen] == pytest.approx(moved)
    assert done.move[0, 1 - loosen] == 0


def test_uncertainty_of_a_swing_against_draws():
    rng = np.random.default_rng(1)
    n = 200_000
    before = rng.multivariate_normal([1.0, 3.0], [[0.25, 0.05], [0.05, 0.16]], size=n)
    held = turned(0.0, 400.0, before[:, 0], before[:, 1], 50.0)
    seen = 0.5 + 0.3 * rng.normal(size=n)
    crept = 0.4 * rng.normal(size=n)
    ends = [
        turned(50.0, 400.0, held, seen, x) + turned(50.0, 350.0, 0.0, crept, x)  # type: ignore[arg-type]
        for x in (0.0, 400.0)
    ]
    done = swing(SECTION, [1.0, 3.0], [[0.25, 0.05], [0.05, 0.16]], 1, [0.5], u=0.3, creep=0.4)
    assert np.cov(ends) == pytest.approx(done.covariance, abs=0.01)


def test_both_ends_are_new():
    done = set_both(SECTION, [9.0, -9.0], [[0.5, -0.5]], u=(0.3, 0.3), creep=0.0)
    assert done.value[0] == pytest.approx([0.5, -0.5])
    assert done.covariance == pytest.approx(np.diag([0.09, 0.09]))
    # by the bar: 9 - 18 x / 400 becomes 0.5 - x / 400
    assert done.move[0] == pytest.approx([9 - 18 / 8 - (0.5 - 1 / 8), 9 - 18 * 7 / 8 - (0.5 - 7 / 8)])


def test_creep_of_both_bolt_ends_by_their_levers():
    done = set_both(SECTION, [0.0, 0.0], [[0.0, 0.0]], u=(0.0, 0.0), creep=1.0)
    # an end of the face 50 beyond a bolt end, 300 between the bolts
    assert done.covariance[0, 0] == pytest.approx((350 / 300) ** 2 + (50 / 300) ** 2)
