"""Stops on the tape's marks and halfway, and levers by rigid-body arithmetic: a straight bar turned about a point."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from alignment.lengths import Units
from alignment.machine.layout import Section
from alignment.show.words.stops import stop_words
from alignment.train.moves.options import step_between
from alignment.train.moves.stops import BOTH, Ways, best_stop, grid, levers, watch_place, ways

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


ENTRY, EXIT = 1, 2


def loosened(*, u: float, creep: float) -> Ways:
    """The ways of the one section, its readings at stops worth u."""
    watch = np.array([[watch_place(SECTION, end) for end in (0, 1)]])
    return ways([SECTION], watch, np.full((1, 2), u), np.full((1, 2), u), creep)


def after(by: Ways, kind: int, before: tuple[float, float], stop: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Deviations at both ends and moves of both bolt ends after one move."""
    value, move = by.after(np.array([0]), np.array([kind]), np.array([before]), np.array([stop]))
    return value[0], move[0]


@pytest.mark.parametrize(("loosen", "pivot", "bolt", "watch"), [(1, 50.0, 350.0, 400.0), (0, 350.0, 50.0, 0.0)])
def test_swing_by_levers(loosen, pivot, bolt, watch):
    value, move = after(
        loosened(u=0.3, creep=0.4), (ENTRY, EXIT)[loosen], (1.0, 3.0), (0.0, 0.5) if loosen else (0.5, 0.0)
    )
    held = turned(0.0, 400.0, 1.0, 3.0, pivot)
    assert watch_place(SECTION, loosen) == watch
    assert value == pytest.approx([turned(pivot, watch, held, 0.5, x) for x in (0.0, 400.0)])
    moved = turned(0.0, 400.0, 1.0, 3.0, bolt) - turned(pivot, watch, held, 0.5, bolt)
    assert move[loosen] == pytest.approx(moved)
    assert move[1 - loosen] == 0


def test_uncertainty_of_a_swing_against_draws():
    rng = np.random.default_rng(1)
    n = 200_000
    known = np.array([[0.25, 0.05], [0.05, 0.16]])
    before = rng.multivariate_normal([1.0, 3.0], known, size=n)
    held = turned(0.0, 400.0, before[:, 0], before[:, 1], 50.0)
    seen = 0.5 + 0.3 * rng.normal(size=n)
    crept = 0.4 * rng.normal(size=n)
    ends = [
        turned(50.0, 400.0, held, seen, x) + turned(50.0, 350.0, 0.0, crept, x)  # type: ignore[arg-type]
        for x in (0.0, 400.0)
    ]
    by = loosened(u=0.3, creep=0.4)
    kept = by.kept[0, EXIT]
    assert np.cov(ends) == pytest.approx(kept @ known @ kept.T + by.fresh[0, EXIT], abs=0.01)


def test_both_ends_are_new():
    by = loosened(u=0.3, creep=0.0)
    value, move = after(by, BOTH, (9.0, -9.0), (0.5, -0.5))
    assert value == pytest.approx([0.5, -0.5])
    assert not by.kept[0, BOTH].any()
    assert by.fresh[0, BOTH] == pytest.approx(np.diag([0.09, 0.09]))
    # by the bar: 9 - 18 x / 400 becomes 0.5 - x / 400
    assert move == pytest.approx([9 - 18 / 8 - (0.5 - 1 / 8), 9 - 18 * 7 / 8 - (0.5 - 7 / 8)])


def test_creep_of_both_bolt_ends_by_their_levers():
    by = loosened(u=0.0, creep=1.0)
    # an end of the face 50 beyond a bolt end, 300 between the bolts
    assert by.fresh[0, BOTH, 0, 0] == pytest.approx((350 / 300) ** 2 + (50 / 300) ** 2)


@pytest.mark.parametrize(
    ("mark", "tolerance", "step"),
    [(1.0, 1.6, 0.5), (1.0, 3.2, 0.5), (1.0, 3.3, 1.0), (1.0, 4.1, 1.0), (1.0, 6.5, 1.0), (0.1, 1.6, 0.4)],
)
def test_stops_tried_within_a_tolerance(mark, tolerance, step):
    """Halves of marks below four of them, and never more than thirteen: else every second, fourth or eighth mark."""
    assert step_between(mark, tolerance) == pytest.approx(step)


SKEWED = replace(SECTION, length=1500.0, points=(0.0, 700.0, 1500.0), bolts=(200.0, 1000.0))
"""Its bolt ends lie unlike far from its ends, and a point is read between them."""


@pytest.mark.parametrize(("watch", "told"), [(1500.0, (-200 / 1300, 1)), (700.0, (-0.4, 2.6)), (None, (-0.4, 2.6))])
def test_what_the_watched_point_tells_of_both_ends(watch, told):
    """The face turns about 200; left to itself the point nearest to the bolt end at 1000 is watched, 700."""
    at_pivot, kept, found, crept = levers(SKEWED, 1, watch)
    assert found == pytest.approx(told)
    assert at_pivot == pytest.approx([1300 / 1500, 200 / 1500])
    assert kept == pytest.approx(1 - np.array(told))
    assert crept == pytest.approx([-200 / 800, 1300 / 800])


def test_both_bolt_ends_of_a_section_that_is_not_alike_at_its_ends():
    """
    By hand: from bolts at 200 and 1000 the ends at 0 and 1500 are 5/4 and -1/4, and -5/8 and 13/8 of them.

    From points at 100 and 1300 they are 13/12 and -1/12, and -1/6 and 7/6.
    """
    section = replace(SKEWED, points=(100.0, 700.0, 1300.0))
    by = ways([section], np.array([[100.0, 1300.0]]), np.full((1, 2), 0.3), np.array([[0.3, 0.5]]), 0.4)
    read = np.array([[13 / 12, -1 / 12], [-1 / 6, 7 / 6]])
    assert by.told[0, BOTH] == pytest.approx(read)
    creep = 0.4 * np.array([[5 / 4, -1 / 4], [-5 / 8, 13 / 8]])
    assert by.fresh[0, BOTH] == pytest.approx(read @ np.diag([0.09, 0.25]) @ read.T + creep @ creep.T)
