"""Leave a section, read it again, or move it: which, at which end, and where to stop."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.machine.survey_text import parse_survey
from alignment.train.work.deciding import Rules
from alignment.train.work.next_act import Act, next_act
from alignment.train.work.trying import families, seen
from tests.tools.machines import machine

IN = 25.4
LENGTH = 15 * IN
TAPE = "mark = '1/16'\nset = '1/64'\ntilt = 0\nzero = '1/64'"
HEAD = "section,point,reading,kind\n"


def told(rows, *, target: str = "18 3/8", limit: str = "1/16", **how: object):
    """Next act of one section, whose bolt ends lie 2 in. from its ends, from readings at its ends."""
    section = {"name": "a-1", "row": "a", "start": "0", "length": "15", "bolts": ["2", "13"]}
    limits = f"square = '{limit}'\noffset = '{limit}'\nstep = '{limit}'"
    layout = machine([section], units="in", tape=TAPE, tolerance=limits, rows={"a": f"target = '{target}'"}, **how)
    text = "# strong_shy: true\n" + HEAD + "".join(f"a-1,{end},{value}\n" for end, value in rows)
    return next_act(layout, parse_survey(text, layout, begun=True))


def test_what_a_further_reading_counts_with():
    """Readings that share nothing are worth the same, however many there were; else each less than the last."""
    apart = [np.inf, *(0.5 / np.sqrt(np.arange(1, 5)))]
    rules = {"bolt": 0.06, "reading": 0.01, "most": 3, "mark": 1.0, "creep": 0.4, "lead": 0.0, "travel": None}
    free = Rules(mean_u=tuple(apart), **rules)
    assert [free.next_variance(count) for count in range(4)] == pytest.approx([0.25] * 4)
    shared = Rules(mean_u=tuple(np.hypot(apart, 0.2)), **rules)
    worth = [shared.next_variance(count) for count in range(4)]
    assert worth[0] == pytest.approx(0.25 + 0.04)
    # weighed together with it, the readings before come to what all of them are worth
    assert 1 / (1 / (0.125 + 0.04) + 1 / worth[2]) == pytest.approx(0.25 / 3 + 0.04)
    assert worth == sorted(worth)


OFF = [([("entry", "18 3/8"), ("exit", value)] * 2, "1/16") for value in ("18 9/16", "18 1/8")]
DOUBTED = [([*[("entry", "18 3/8")] * count, ("exit", "18 1/2")], "1/8") for count in (1, 3)]
BOTH_DOUBTED = [([("entry", "18 3/8"), ("exit", "18 13/32")], "1/16")]


@pytest.mark.parametrize(("rows", "limit"), [*OFF, *DOUBTED, *BOTH_DOUBTED])
def test_a_section_told_from_its_other_end_is_answered_at_its_other_end(rows, limit):
    """Its bolt ends lie as far from both: entry and exit take each other's place, and nothing else changes."""
    this = told(rows, limit=limit)
    other = told([({"entry": "exit", "exit": "entry"}[end], value) for end, value in rows], limit=limit)
    assert this.act is other.act
    assert this.points == pytest.approx([LENGTH - place for place in reversed(other.points)])
    assert [(s.end, s.reading) for s in this.stops] == [(1 - s.end, pytest.approx(s.reading)) for s in other.stops]
    one, two = (found.sections[0].decision for found in (this, other))
    assert one.chance == pytest.approx(two.chance)
    assert one.move == pytest.approx(two.move[::-1])


@pytest.mark.parametrize(("rows", "limit"), DOUBTED)
def test_the_end_that_lies_at_its_limit_is_read_again(rows, limit):
    found = told(rows, limit=limit)
    assert (found.act, found.points) == (Act.read, pytest.approx((LENGTH,)))


@pytest.mark.parametrize(("rows", "limit"), OFF)
def test_the_end_that_is_off_is_moved(rows, limit):
    """By its bolt end, 11 in. from the other one, which shows as 13 at its end; toward the string positive."""
    found = told(rows, limit=limit)
    ((stop,), decision) = found.stops, found.sections[0].decision
    assert (found.act, stop.end, stop.place) == (Act.move, 1, pytest.approx(LENGTH))
    assert decision.move[0] == 0
    read = {"18 9/16": 18.5625, "18 1/8": 18.125}[rows[1][1]] * IN
    assert decision.move[1] == pytest.approx((read - stop.reading) * 11 / 13, abs=IN / 200)


def test_a_stop_is_a_mark_where_that_is_as_good():
    """Wanted is halfway between two marks, within a quarter inch: 18 3/8 or 18 7/16 do as well as 18 13/32."""
    found = told([("entry", "18 13/32"), ("exit", "18 7/8")] * 2, target="18 13/32", limit="1/4")
    (stop,) = found.stops
    assert stop.reading / (IN / 16) == pytest.approx(round(stop.reading / (IN / 16)))
    assert abs(stop.reading - 18.40625 * IN) == pytest.approx(IN / 32)


@pytest.mark.parametrize("ends", [(0,), (1,), (0, 1)])
def test_what_may_be_known_after_reading(ends):
    """Weighed together (information adds up), and what comes out scatters by what is lost in variance."""
    covariance, value = np.array([[0.5, -0.1], [-0.1, 0.3]]), np.array([0.2, -0.4])
    rows, variances = [np.eye(2)[end] for end in ends], [0.2, 0.35][: len(ends)]
    values, weight, left = seen(value, covariance, rows, variances)
    h = np.array(rows)
    assert left == pytest.approx(np.linalg.inv(np.linalg.inv(covariance) + h.T @ np.diag(1 / np.array(variances)) @ h))
    assert weight.sum() == pytest.approx(1)
    assert weight @ values == pytest.approx(value)
    off = values - value
    assert (weight * off.T) @ off == pytest.approx(covariance - left)


def test_noise_of_moves():
    """Bolt ends 2 from both ends of 15: creep c of one shows as 13/11 c beyond it and as -2/11 c at the other end."""
    layout = machine([{"name": "a", "row": "a", "start": "0", "length": "1500", "bolts": ["200", "1300"]}])
    entry, exit_, both = families(layout.sections[0], (467.0, 467.0), mark=1.0, within=2.0, u=0.3, creep=0.5)
    one, other = np.array([13, -2]) / 11 * 0.5, np.array([-2, 13]) / 11 * 0.5
    assert both.noise == pytest.approx(0.09 * np.eye(2) + np.outer(one, one) + np.outer(other, other))
    # the one that stays tight is the pivot: a stop read at 15, 13 from it, is 2/13 the other way at the end behind it
    read = np.array([-2 / 13, 1]) * 0.3
    assert exit_.noise == pytest.approx(np.outer(read, read) + np.outer(other, other))
    assert entry.noise == pytest.approx(exit_.noise[::-1, ::-1])
