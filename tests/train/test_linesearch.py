"""
Bolt ends that a line asks for, against scipy's linear programming; the search, where the answer is known beforehand.

A section is in where both ends are within the offset's tolerance and their difference within that of square. With one
bolt end loose it turns about the other, the lever as two points of a straight face; whether some move brings it in is a
linear programme of one unknown.
"""

from __future__ import annotations

import time
from dataclasses import replace
from math import inf

import numpy as np
import pytest
from scipy.optimize import linprog

from alignment.train.moves.linesearch import FORBIDDEN, Faces, enclose, fewest_ends, search_line

BOLTS = np.array([60.0, 340.0])
"""From the entry end of sections of 400 mm."""


def faces(deviation, *, x0=None, sign=None, fixed=None, travel=inf, band=0.6, offset=1.6, square=0.8) -> Faces:
    deviation = np.asarray(deviation, dtype=float)
    n = len(deviation)
    start = 500.0 * np.arange(n) if x0 is None else np.asarray(x0)
    return Faces(
        deviation=deviation,
        x=start[:, None] + [0.0, 400.0],
        bolts=start[:, None] + BOLTS,
        fixed=np.zeros(n, dtype=bool) if fixed is None else np.asarray(fixed),
        sign=np.ones(n) if sign is None else np.asarray(sign, dtype=float),
        offset=offset,
        square=square,
        step=inf,
        band=band,
        travel=travel,
        joints=np.zeros((0, 2), dtype=np.int64),
        nominal=np.zeros(0),
    )


def by_programme(f: Faces, line) -> int:
    """Bolt ends for one line, section by section, with no code of ours."""
    first, last = f.x.min(), f.x.max()
    total = 0
    for d, x, bolts, fixed, sign in zip(f.deviation, f.x, f.bolts, f.fixed, f.sign, strict=True):
        left = d - sign * (line[0] + (line[1] - line[0]) * (x - first) / (last - first))
        limits = np.array([f.offset, f.offset, f.square])

        def of(ends):
            return np.array([ends[0], ends[1], ends[1] - ends[0]])

        if (np.abs(of(left)) <= limits).all():
            continue
        ends = 2
        for bolt in (0, 1):
            # what a millimetre toward the string at this bolt, the other one tight, takes off at both ends
            lever = of((x - bolts[1 - bolt]) / (bolts[bolt] - bolts[1 - bolt]))
            above, below = f.band * limits - of(left), f.band * limits + of(left)
            done = linprog(
                [0.0], A_ub=np.concatenate([-lever, lever])[:, None], b_ub=np.concatenate([above, below]),
                bounds=[(-f.travel, f.travel)],
            )  # fmt: skip
            ends = 1 if done.status == 0 else ends
        total += FORBIDDEN if fixed else ends
    return total


@pytest.mark.parametrize("travel", [inf, 3.0])
@pytest.mark.parametrize("seed", range(5))
def test_ends_of_a_line_by_linear_programming(seed, travel):
    rng = np.random.default_rng(seed)
    f = faces(
        rng.normal(0, 2.5, (6, 1)) + rng.normal(0, 0.7, (6, 2)),
        x0=200 + np.array([0, 450, 1000, 0, 500, 1100]),
        sign=[1, 1, 1, -1, -1, -1],
        fixed=rng.random(6) < 0.15,
        travel=travel,
    )
    lines = rng.normal(0, 2, (12, 2))
    assert fewest_ends(f, lines, lines).tolist() == [by_programme(f, line) for line in lines]


@pytest.mark.parametrize("seed", range(4))
def test_a_box_asks_for_no_more_than_any_line_in_it(seed):
    """And for as much, where it is small: a bound that is always nothing would be of no use."""
    rng = np.random.default_rng(seed)
    f = faces(rng.normal(0, 2.5, (5, 1)) + rng.normal(0, 0.7, (5, 2)), sign=[1, -1, 1, -1, 1], travel=4.0)
    low = rng.normal(0, 2, (10, 2))
    for size, tight in ((2.0, 0.0), (1e-4, 0.8)):
        inside = low + size * rng.random((200, 10, 2))
        needs = np.array([fewest_ends(f, lines, lines) for lines in inside]).min(axis=0)
        bound = fewest_ends(f, low, low + size)
        assert (bound <= needs).all()
        assert np.mean(bound == needs) >= tight


def leaning(shifted: bool = True) -> tuple[Faces, np.ndarray]:
    """Six faces on a line that takes 9 off at the first end and -4 at the last; one is turned, one set off."""
    f = faces(np.zeros((6, 2)))
    line = np.array([9.0, -4.0])
    along = (f.x - f.x.min()) / (f.x.max() - f.x.min())
    deviation = line[0] + (line[1] - line[0]) * along
    # about its entry bolt by 5 at its exit bolt: one bolt end brings it back
    deviation[1] += 5 * (np.array([0.0, 400.0]) - BOLTS[0]) / (BOLTS[1] - BOLTS[0])
    if shifted:
        # both of its ends by 6: two bolt ends
        deviation[4] += 6
    return replace(f, deviation=deviation), line


@pytest.mark.parametrize(("shifted", "ends"), [(True, 3), (False, 1)])
def test_the_line_that_was_hidden_is_found(shifted, ends):
    f, line = leaning(shifted)
    lines, least = search_line(f, time.monotonic() + 20)
    assert least == ends
    assert fewest_ends(f, lines[:1], lines[:1])[0] == by_programme(f, lines[0]) == ends
    # five faces, or four, hold the line to their tolerances
    assert lines[0] == pytest.approx(line, abs=2 * 1.6)
    needs = [by_programme(f, one) for one in lines]
    assert needs == sorted(needs)
    # where it hangs, nearly every section would be moved
    assert by_programme(f, (0.0, 0.0)) >= 5


def test_no_time_to_search_gives_the_line_as_it_hangs():
    f, _ = leaning()
    lines, least = search_line(f, time.monotonic() - 1)
    assert lines.tolist() == [[0.0, 0.0]]
    assert least <= 3


def test_every_line_that_asks_for_as_few_lies_in_the_box():
    f, line = leaning()
    low, high = enclose(f, 3)
    assert (low <= line).all()
    assert (line <= high).all()
    rng = np.random.default_rng(1)
    lines = line + rng.uniform(-6, 6, (4000, 2))
    few = lines[fewest_ends(f, lines, lines) <= 3]
    assert len(few) > 10
    assert (few >= low).all()
    assert (few <= high).all()
    # and it is no more than some tolerances wide, where all lines together reach much farther
    assert (high - low < 12).all()
    assert f.reach > 12
    assert f.near == 2 * (np.abs(f.deviation).max() + 1.6)


@pytest.mark.parametrize("deviation", [[[0.0, 2.0], [1.0, 1.0]], [[1.0, 1.0], [2.0, 0.0]]])
def test_how_far_a_line_may_be_from_its_string(deviation):
    """By hand: over 4/9 of the train, the ends of the one section may differ by its 2 mm and the square's 1."""
    found = faces(deviation, offset=1.5, square=1.0).reach
    assert found == pytest.approx(2 + 1.5 + (2 + 1) / (400 / 900))


@pytest.mark.parametrize(
    ("deviation", "ends"), [([0.0, 0.5], 0), ([0.0, 3.0], 1), ([3.0, 0.0], 1), ([3.0, 3.0], 2), ([3.0, -3.0], 2)]
)
def test_bolt_ends_right_at_the_ends_of_a_face(deviation, ends):
    """What turns about one end leaves that end where it is."""
    at_ends = faces([deviation])
    at_ends = replace(at_ends, bolts=at_ends.x)
    assert fewest_ends(at_ends, np.zeros((1, 2)), np.zeros((1, 2))) == [ends]
