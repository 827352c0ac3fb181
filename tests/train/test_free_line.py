"""What a free line is laid through: the sections of a string that may count, their joints and what is to be least."""

from __future__ import annotations

import highspy
import numpy as np
import pytest

from alignment.choices import Aim, Line
from alignment.train.moves import free_line
from alignment.train.moves.plan import plan_moves
from alignment.train.moves.programme import lay_line
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

JOINTS = "[[joint]]\nsections = ['a', 'b']\nstep = '0.75'\n[[joint]]\nsections = ['b', 'c']\n"


@pytest.fixture
def laid(monkeypatch):
    """Faces and aims that lines are laid through."""
    found = []

    def noted(faces, *, fewest, **how):
        found.append((faces, fewest))
        return lay_line(faces, fewest=fewest, **how)

    monkeypatch.setattr(free_line, "lay_line", noted)
    return found


def train():
    """Three sections of 400 with joints, the second 0.5 farther off than the first by its drawing."""
    parts = [{"name": name, "row": "r", "start": 400 * k, "length": 400} for k, name in enumerate("abc")]
    parts[1]["setback"] = "0.5"
    layout = machine(parts, rows={"r": "target = '600'"}, joints=JOINTS)
    read = [(name, end, 600 + k) for k, name in enumerate("abc") for end in ("entry", "exit")]
    return fit_train(layout, readings(layout, read), line=Line.free)


@pytest.mark.parametrize(("aim", "fewest"), [(Aim.fewest, True), (Aim.least, False), (Aim.true, True)])
def test_what_is_to_be_least(laid, aim, fewest):
    plan_moves(train(), aim=aim)
    assert [given for _, given in laid] == [fewest]


def test_joints_and_their_steps_by_the_drawing(laid):
    """A step of 0.75 where setbacks make 0.5 is one of 0.25 in deviations, which are less the setback; else none."""
    plan_moves(train(), aim=Aim.fewest)
    ((faces, _),) = laid
    assert faces.deviation == pytest.approx(np.array([[0.0, 0.0], [0.5, 0.5], [2.0, 2.0]]))
    assert faces.joints.tolist() == [[0, 1], [1, 2]]
    assert faces.nominal == pytest.approx([0.25, 0.0])


def test_a_doubted_section_takes_its_joints_with_it(laid):
    """What was misread is read again: the line is laid through the others, and no joint of theirs is left."""
    plan_moves(train(), aim=Aim.fewest, doubted={"b": ("exit",)})
    ((faces, _),) = laid
    assert faces.deviation[:, 0] == pytest.approx([0.0, 2.0])
    assert faces.joints.tolist() == []


def test_the_solver_is_granted_the_time_it_is_given(monkeypatch):
    """Otherwise a line of many sections would be told as not proved; and Ctrl-C ends it."""
    solvers, granted = [], []
    sound = highspy.Highs.setOptionValue, highspy.Highs.startSolve

    def noted(solver, option, value):
        granted.extend([value] if option == "time_limit" else [])
        return sound[0](solver, option, value)

    def started(solver):
        solvers.append(solver)
        return sound[1](solver)

    monkeypatch.setattr(highspy.Highs, "setOptionValue", noted)
    monkeypatch.setattr(highspy.Highs, "startSolve", started)
    plan_moves(train(), aim=Aim.fewest, seconds=40.0)
    assert all(1 < seconds <= 40 for seconds in granted)
    assert solvers
    assert all(solver.HandleUserInterrupt for solver in solvers)
