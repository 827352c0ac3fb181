"""Why something is still beyond its tolerance after the moves."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from alignment.train.moves.answers import Answer
from alignment.train.moves.missed import Cause, find_missed
from alignment.train.state import Measurand, judge
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings


def causes(joints, *, slot_ends=(False, False), answers=(Answer.leave, Answer.leave), done=(), hold=False):
    """Of two sections, the first out of square by 3 and, where they have a joint, out of step with the second by 4."""
    parts = [{"name": name, "row": "r", "start": 400 * k, "length": 400, "hold": hold} for k, name in enumerate("ab")]
    how = {"rows": {"r": "target = '600'"}, "tolerance": "offset = '9'\nsquare = '2'\nstep = '1'", "joints": joints}
    layout = machine(parts, **how)
    read = [("a", "entry", 600), ("a", "exit", 605), ("b", "entry", 600), ("b", "exit", 600)]
    train = fit_train(layout, readings(layout, read))
    choice = SimpleNamespace(slot_ends=slot_ends, answers=answers)
    return [(m.names, m.what, m.cause) for m in find_missed(train, judge(train), choice, frozenset(done), set())]


SQUARE, STEP = (("a",), Measurand.square), (("a", "b"), Measurand.step)


def test_stops_alone_are_in_the_way_where_nothing_else_is():
    assert causes([]) == [(*SQUARE, Cause.stops)]


def test_a_joint_is_in_the_way_of_its_sections_and_its_step():
    assert causes([("a", "b")]) == [(*SQUARE, Cause.joint), (*STEP, Cause.joint)]


@pytest.mark.parametrize(
    ("how", "cause"),
    [
        ({"slot_ends": (True, False)}, Cause.travel),
        ({"answers": (Answer.stuck, Answer.leave)}, Cause.tape),
        ({"done": ("a", "b")}, Cause.done),
        ({"hold": True, "done": ("a", "b")}, Cause.hold),
        ({"slot_ends": (True, False), "answers": (Answer.stuck, Answer.leave)}, Cause.travel),
    ],
)
def test_what_is_in_the_way_before_a_joint(how, cause):
    assert causes([("a", "b")], **how) == [(*SQUARE, cause), (*STEP, cause)]


def test_one_section_that_may_not_be_moved_is_not_in_the_way_of_a_step():
    assert causes([("a", "b")], done=("a",)) == [(*SQUARE, Cause.done), (*STEP, Cause.joint)]
