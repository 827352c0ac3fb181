"""Steps measured with straightedge and feeler: how they are read, what they change, and where they cannot be used."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from alignment.choices import Aim
from alignment.errors import InputError
from alignment.machine.layout import Plane
from alignment.machine.survey_text import parse_survey
from alignment.show import door
from alignment.show.pictures.drawing import draw_train, lanes_of, scale_for
from alignment.show.pictures.train import train_sheet
from alignment.show.pictures.windows import whole
from alignment.train.flags import find
from alignment.train.moves.answers import Why
from alignment.train.moves.plan import plan_moves
from alignment.train.solve import solve
from alignment.train.train import Train, fit_train
from tests.tools.machines import machine, readings, said

TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.4'"
U = math.sqrt(1 / 12 + 0.4**2)
"""Independent standard uncertainty of a reading with this tape. [mm]"""
TARGET = {"r": "target = '600'"}
COLUMNS = "section,point,reading,u"


def row_of(count: int, **how):
    """Sections of 400 mm end to end, so that faces meet at their ends."""
    parts = [{"name": f"s{k}", "row": "r", "start": 400 * k, "length": 400} for k in range(count)]
    joints = [(f"s{k}", f"s{k + 1}") for k in range(count - 1)]
    return machine(parts, **({"rows": TARGET, "tape": TAPE, "joints": joints} | how))


def taken(*faces: tuple[float, float], steps=(), u="") -> list[tuple]:
    """Rows of a survey: both ends of each section, and steps by their upstream section."""
    rows = [(f"s{k}", end, r, "") for k, own in enumerate(faces) for end, r in zip(("entry", "exit"), own, strict=True)]
    return rows + [(name, "joint", step, u) for name, step in steps]


def fitted(layout, rows) -> Train:
    return fit_train(layout, readings(layout, rows, header=COLUMNS))


# --- reading them ----------------------------------------------------------------------------------------------


def test_rows_of_a_long_survey():
    layout = row_of(3)
    survey = readings(layout, taken((600, 600), steps=[("s0", "-1.5")]), header=COLUMNS)
    (step,) = survey.steps
    assert (step.upstream, step.downstream, step.value, step.text) == ("s0", "s1", -1.5, "-1.5")
    assert step.u == layout.tape.feeler
    assert len(survey.readings) == 2


def test_column_of_a_wide_survey():
    """In inches, as fractions, of either sign; a blank cell is no step."""
    parts = [{"name": f"s{k}", "row": "r", "start": 20 * k, "length": 18} for k in range(3)]
    layout = machine(parts, units="in", tape="", joints=[("s0", "s1"), ("s1", "s2")])
    text = "section,entry,exit,joint\ns0,18 3/8,18 3/8,-1/32\ns1,18 3/8,18 3/8,+1/64\ns2,18 3/8,18 3/8,\n"
    survey = parse_survey(text, layout)
    assert [(s.upstream, s.value) for s in survey.steps] == [("s0", -25.4 / 32), ("s1", 25.4 / 64)]
    assert survey.steps[0].u == pytest.approx(0.003 * 25.4)


def test_own_u_and_the_layouts_feeler():
    tape = TAPE + "\nfeeler = '0.2'"
    layout = row_of(3, tape=tape)
    rows = [*taken((600, 600), steps=[("s0", "0")]), *taken(steps=[("s1", "0")], u="0.02")]
    assert [s.u for s in readings(layout, rows, header=COLUMNS).steps] == [0.2, 0.02]


def test_what_is_no_step():
    """The last section of a row has no joint, and a step is a length: both told at once."""
    parts = [{"name": f"{row}{k}", "row": row, "start": 400 * k, "length": 400} for row in "ab" for k in range(2)]
    layout = machine(parts)
    rows = [("a1", "joint", "0", ""), ("b0", "joint", "flush", ""), ("b0", "entry", "600", "")]
    with pytest.raises(InputError) as error:
        readings(layout, rows, header=COLUMNS)
    said = str(error.value)
    assert "row 2, reading: a1 is the last section of its row, so it has no joint downstream." in said
    assert "row 3, reading: 'flush' is not a length" in said


# --- what they change ------------------------------------------------------------------------------------------


def test_sign_and_size_of_a_step():
    """
    Positive where the downstream face is farther from the string.

    The tape sees none; a feeler that is far better puts the second face 2 farther than the first where they meet. Each
    section gives way by half of it there; at its far end, which is read by itself, it stays.
    """
    train = fitted(row_of(2), taken((600, 600), (600, 600), steps=[("s0", "2")], u="0.01"))
    assert train.steps.value[0] == pytest.approx(2, abs=1e-3)
    assert train.ends[0].value == pytest.approx([0, 1], abs=1e-3)
    assert train.ends[1].value == pytest.approx([-1, 0], abs=1e-3)


def test_weighted_mean_of_tape_and_feeler():
    """The tape's step has u = sqrt 2 U, the feeler's its own: weights by variance, by hand."""
    feeler = 0.3
    train = fitted(row_of(2), taken((600, 601), (602.3, 602.3), steps=[("s0", "1")], u=feeler))
    tape_weight, feeler_weight = 1 / (2 * U**2), 1 / feeler**2
    mean = (1.3 * tape_weight + 1 * feeler_weight) / (tape_weight + feeler_weight)
    assert train.steps.value[0] == pytest.approx(mean)
    assert train.steps.u[0] == pytest.approx((tape_weight + feeler_weight) ** -0.5)


def test_step_less_its_nominal():
    """The feeler reads the faces as they are; the step that is judged is that less the nominal one."""
    joints = "[[joint]]\nsections = ['s0', 's1']\nstep = '1.5'"
    rows = taken((600, 600), (602, 602), steps=[("s0", "2")], u="0.01")
    assert fitted(row_of(2, joints=joints), rows).steps.value[0] == pytest.approx(0.5)


def test_without_them_each_section_is_a_line_of_its_own():
    """Steps worth nothing leave what the section fits say, to rounding: values and u."""
    faces = ((600.3, 601.1), (602.4, 599.8), (600.0, 600.9))
    alone = fitted(row_of(3), taken(*faces))
    blunt = fitted(row_of(3), taken(*faces, steps=[("s0", 9), ("s1", -9)], u="1000000"))
    assert alone.adjusted.network is None
    assert blunt.adjusted.network is not None
    for what in ("offset", "skew", "steps"):
        one, other = getattr(alone, what), getattr(blunt, what)
        assert other.value == pytest.approx(one.value, abs=1e-9)
        assert other.u == pytest.approx(one.u, rel=1e-9)


def test_they_tie_the_row_together():
    """Flush joints, sure: the row is one straight piece at its joints, and each u shrinks."""
    faces = ((600, 600), (600, 600), (600, 600), (600, 600))
    alone, tied = (
        fitted(row_of(4), taken(*faces)),
        fitted(row_of(4), taken(*faces, steps=[(f"s{k}", 0) for k in range(3)], u="0.01")),
    )
    assert (tied.skew.u < alone.skew.u).all()
    assert (tied.steps.u < 0.0101).all()
    assert tied.skew.u == pytest.approx(tied.skew.u[::-1])


@pytest.mark.parametrize("unread", [0, 1, 3])
def test_section_not_measured_has_no_say(unread):
    """Steps at a section that was not read are left out, and those elsewhere still count."""
    steps = [(f"s{k}", 1.0) for k in range(3)]
    rows = [r for r in taken(*[(600.0, 600.0)] * 4, steps=steps, u="0.1") if r[0] != f"s{unread}" or r[1] == "joint"]
    train = fitted(row_of(4), rows)
    assert train.measured.tolist() == [k != unread for k in range(4)]
    kept = [k for k in range(3) if unread not in (k, k + 1)]
    assert [s.upstream for s in train.adjusted.steps] == [f"s{k}" for k in kept]
    for k in range(3):
        if k in kept:
            assert train.steps.u[k] < 0.1
        else:
            assert np.isnan(train.steps.value[k])
    assert np.isfinite(train.offset.u[train.measured]).all()


def test_only_steps_between_sections_that_were_not_read():
    train = fitted(row_of(4), [*taken((600, 600), (601, 601)), *taken(steps=[("s2", 3)], u="0.1")])
    assert train.adjusted.network is None
    assert train.steps.value[0] == pytest.approx(1)


def test_rows_are_not_tied_to_each_other():
    """The last section of one row and the first of the next follow one another in the layout alone."""
    parts = [{"name": f"{row}{k}", "row": row, "start": 400 * k, "length": 400} for row in "ab" for k in range(2)]
    layout = machine(parts, tape=TAPE, rows=dict.fromkeys("ab", "target = '600'"))
    rows = [(s.name, end, 600, "") for s in layout.sections for end in ("entry", "exit")]
    rows += [("a0", "joint", 0, 0.1), ("b0", "joint", 0, 0.1)]
    train = fitted(layout, rows)
    assert train.adjusted.cross[1] == pytest.approx(np.zeros((2, 2)), abs=1e-12)
    assert np.abs(train.adjusted.cross[[0, 2]]).max(axis=(1, 2)).min() > 1e-6


def test_scatter_grows_the_u_of_its_own_section_only():
    """Repeats that disagree make their section's readings worth less, not the feeler and not the neighbour's tape."""
    calm = fitted(row_of(2), taken((600, 600), (600, 600), steps=[("s0", 0)], u="0.1"))
    rough = [*taken((600, 600), (600, 600), steps=[("s0", 0)], u="0.1"), ("s0", "entry", 606, "")]
    train = fitted(row_of(2), rough)
    assert train.birge[0] > 2
    assert train.birge[1] == 1
    assert train.skew.u[0] > calm.skew.u[0]
    assert train.steps.u[0] < 0.1


# --- in the plan and in the picture ----------------------------------------------------------------------------


def test_feeler_decides_what_the_tape_cannot():
    """The tape alone puts the joint in step; the feeler puts it out, and the plan closes it."""
    how = {"tolerance": "offset = '3'\nsquare = '3'\nstep = '0.5'"}
    faces = ((600, 600), (600, 600))
    assert not solve(row_of(2, **how), readings(row_of(2, **how), taken(*faces), header=COLUMNS)).plan.steps
    found = solve(
        row_of(2, **how), readings(row_of(2, **how), taken(*faces, steps=[("s0", "1.2")], u="0.05"), header=COLUMNS)
    )
    assert str(found.state.joints[0].step.verdict) == "out"
    assert found.plan.steps
    assert found.plan.state.joints[0].step.verdict.inside


def test_picture_shows_every_reading_as_read():
    """
    Feeler steps bend the fitted faces away from their readings, which are still readings and not predictions.

    In the sheet's first drawing each reading is a diamond at the place where the tape put it.
    """
    layout = row_of(3)
    rows = taken((600, 600), (602, 602), (600, 600), steps=[("s0", "1"), ("s1", "-1")], u="0.1")
    found = solve(layout, readings(layout, rows, header=COLUMNS))
    axes = train_sheet(found).axes[0]
    lanes = lanes_of(layout, Plane.side)
    scale = scale_for(found, lanes, (axes.get_figure().get_size_inches()[0] - 1.2) / whole(layout).span)
    diamonds = [line for line in axes.lines if line.get_marker() == "D"]
    shown = sorted((float(x), float(y)) for line in diamonds for x, y in zip(*line.get_data(), strict=True))
    lane = lanes["r"]
    expected = sorted(
        (400.0 * k + at, lane.y + lane.away * scale * d) for k, d in enumerate((0, 2, 0)) for at in (0, 400)
    )
    assert np.array(shown) == pytest.approx(np.array(expected))


def test_picture_marks_the_joint_that_is_out_of_step():
    from matplotlib.figure import Figure

    layout = row_of(3, tolerance="step = '1'\noffset = '9'\nsquare = '9'")
    found = solve(layout, readings(layout, taken((600, 600), (604, 604), (604, 604)), header=COLUMNS))
    axes = Figure(figsize=(11, 4)).add_axes((0.05, 0.05, 0.9, 0.9))
    lanes = lanes_of(layout, Plane.side)
    draw_train(axes, found.train, found.state, lanes, 0.05, height=4)
    assert [text.get_text() for text in axes.texts if text.get_text().startswith("step")] == ["step 4.0"]


# --- steps that the tape contradicts ------------------------------------------------------------------------------


def test_step_that_the_tape_contradicts_is_named():
    """Four sections in line by tape, and a feeler that says 6 mm at one joint: that one, and no other."""
    rows = taken(*[(600, 600)] * 4, steps=[("s0", "0"), ("s1", "6"), ("s2", "0")], u="0.1")
    solution = solve(row_of(4), readings(row_of(4), rows, header=COLUMNS))
    (flag,) = [f for f in solution.flags if f.harmful]
    assert (flag.flag, flag.section, flag.beside, flag.point) == ("stray", "s1", "s2", "joint")
    assert flag.numbers["slip"] == pytest.approx(6, abs=0.05)
    assert "s1 / s2: step read 6, the tape readings beside it say 0.0 mm." in door.text(solution, full=True)
    # and what it joins is moved only once it was read again
    assert {again.section for again in solution.read_again} == {"s1", "s2"}


def test_two_steps_of_one_joint_that_do_not_agree():
    rows = taken((600, 600), (600, 600), steps=[("s0", "0"), ("s0", "12")], u="0.1")
    solution = solve(row_of(2), readings(row_of(2), rows, header=COLUMNS))
    assert [f.point for f in solution.flags if f.harmful] == ["joint"]


def test_steps_within_their_u_raise_no_flag():
    rows = taken(*[(600, 600)] * 4, steps=[("s0", "0.5"), ("s1", "-0.6"), ("s2", "0.2")], u="0.3")
    assert not [f for f in solve(row_of(4), readings(row_of(4), rows, header=COLUMNS)).flags if f.harmful]


def test_what_no_step_checks_is_not_tested():
    """Steps worth nothing leave no redundancy, and no flag."""
    rows = taken((600, 600), (600, 600), steps=[("s0", "9")], u="1000000")
    assert not [f for f in solve(row_of(2), readings(row_of(2), rows, header=COLUMNS)).flags if f.harmful]


def test_closing_step_is_refused():
    rows = [(*row, "") for row in taken((600, 600), (600, 600), steps=[("s0", "0")])]
    rows.append(("s0", "joint", "3", "", "close"))
    with pytest.raises(InputError, match="row 7, repeat: a step has no closing reading"):
        readings(row_of(2), rows, header=f"{COLUMNS},repeat")


def test_step_beside_a_section_that_was_not_measured_is_not_passed_over():
    rows = taken((600, 600), steps=[("s0", "1")])
    text = " ".join(door.text(solve(row_of(2), readings(row_of(2), rows, header=COLUMNS)), full=True).split())
    assert "The step read at s0 / s1 is not used: s1 not measured by tape." in text


@pytest.mark.parametrize(
    ("steps", "way"),
    [((), "measure it with straightedge and feeler."), ([("s0", "1.2")], "measure it again, several times.")],
)
def test_way_to_settle_a_step(steps, way):
    """Nearer its limit than the tape can tell; and where a blunt feeler was used already."""
    layout = row_of(2, tolerance="step = '1.5'\nsquare = '9'\noffset = '9'")
    rows = taken((600, 600), (601.2, 601.2), steps=steps, u="0.6")
    text = " ".join(door.text(solve(layout, readings(layout, rows, header=COLUMNS)), full=True).split())
    assert f"To settle the step at s0 / s1: {way}" in text


@pytest.mark.parametrize(("big", "small"), [(20, 3), (20, 8), (60, 10)])
def test_each_wrong_step_is_named_and_not_those_that_it_pulls_at(big, small):
    """
    Two of seven joints read wrong, one much and one little: those two, the worse one first.

    Faces read well inside their ends are levers: one wrong step throws the steps beside it far off, too.
    """
    parts = [{"name": f"s{k}", "row": "r", "start": 400 * k, "length": 400, "points": [100, 300]} for k in range(8)]
    layout = machine(parts, rows=TARGET, tape=TAPE)
    steps = [(f"s{k}", {4: big, 0: small}.get(k, 0)) for k in range(7)]
    survey = readings(layout, taken(*[(600, 600)] * 8, steps=steps, u="0.1"), header=COLUMNS)
    flags = [f for f in solve(layout, survey).flags if f.point == "joint"]
    assert [(f.section, f.beside) for f in flags] == [("s4", "s5"), ("s0", "s1")]
    # once the worse one is set aside, the tape says that the other should be nothing
    assert flags[1].numbers["slip"] == pytest.approx(small, abs=0.05)


def test_what_the_tape_says_of_a_step_has_its_sign():
    rows = taken((600, 600), (604, 604), steps=[("s0", "-6")], u="0.1")
    (flag,) = [f for f in solve(row_of(2), readings(row_of(2), rows, header=COLUMNS)).flags if f.point == "joint"]
    assert said(flag).startswith("s0 / s1: step read -6, the tape readings beside it say +4.0 mm.")


def test_reading_of_a_section_that_is_not_measured_enough_ties_nothing():
    """One reading far off in the last section: the faces that steps tie together are as without it."""
    steps = [("s0", "0.5"), ("s1", "-0.5")]
    faces = ((600, 600.4), (601, 600.2), (599.8, 600))
    alone = fitted(row_of(4), taken(*faces, steps=steps, u="0.1"))
    with_it = fitted(row_of(4), [*taken(*faces, steps=steps, u="0.1"), ("s3", "mid", 660, "")])
    assert with_it.measured.tolist() == [True, True, True, False]
    assert with_it.face[:3] == pytest.approx(alone.face[:3], abs=1e-12)
    assert with_it.covariance[:3] == pytest.approx(alone.covariance[:3], rel=1e-12)


@pytest.mark.parametrize(("rounds", "told"), [(1, ["s1", "s6", "s4"]), (2, ["s1", "s6", "s4"])])
def test_more_wrong_steps_than_are_set_aside_one_by_one(monkeypatch, rounds, told):
    """Every joint that the tape contradicts is told, worst first, however few are set aside; none of them twice."""
    layout = row_of(8)
    # two readings of the last that differ: one after the other set aside, or the joint told once
    steps = [(f"s{k}", {1: 60, 4: -40}.get(k, 0)) for k in range(6)] + [("s6", 20), ("s6", 30)]
    survey = readings(layout, taken(*[(700, 700)] * 8, steps=steps, u="0.1"), header=COLUMNS)

    def joints() -> list[str]:
        return [f.section for f in solve(layout, survey).flags if f.point == "joint"]

    assert joints() == [*told, "s6"]
    monkeypatch.setattr(find, "ROUNDS", rounds)
    assert joints() == told


@pytest.mark.parametrize(("step", "asked"), [("0.45", False), ("0.52", True), ("0.56", False)])
def test_step_near_its_limit_is_read_again_where_that_may_settle_it(step, asked):
    """Out by the best estimate, and yet in by more than three chances in ten: scipy's normal distribution."""
    limits = "offset = '3'\nsquare = '3'\nstep = '0.5'"
    layout = row_of(2, tolerance=limits)
    layout = replace(layout, sections=tuple(replace(s, hold=True) for s in layout.sections))
    train = fitted(layout, taken((600, 600), (600.5, 600), steps=[("s0", step)]))
    (value,), (u,) = train.steps.value, train.steps.u
    p_in = stats.norm.cdf((0.5 - value) / u) - stats.norm.cdf((-0.5 - value) / u)
    assert asked == (abs(value) > 0.5 and p_in > 0.3)
    again = plan_moves(train, aim=Aim.fewest).read_again
    assert [(one.section, one.points, one.why, one.beside) for one in again] == [
        ("s0", ("exit",), Why.step, "s1"),
    ] * asked


def test_what_faces_share_after_moves():
    """Steps tie three faces together; turned and shifted each by itself, by the whole matrix at once."""
    layout = row_of(3)
    train = fitted(layout, taken((600, 601), (600, 600), (599, 600), steps=[("s0", "0.5"), ("s1", "-0.5")]))
    before = train.adjusted

    def all_of(adjusted):
        return adjusted.covariance_times(np.eye(6).reshape(6, 3, 2)).reshape(6, 6)

    lever = np.random.default_rng(3).normal(1, 0.4, (3, 2, 2))
    fresh = np.array([np.diag([0.1, 1e-6]) * k for k in range(3)])
    turn, noise = np.zeros((6, 6)), np.zeros((6, 6))
    for k in range(3):
        own = slice(2 * k, 2 * k + 2)
        turn[own, own], noise[own, own] = lever[k], fresh[k]
    after = before.moved(lever, fresh)
    whole = turn @ all_of(before) @ turn.T + noise
    assert all_of(after) == pytest.approx(whole, rel=1e-6)
    for k in range(3):
        assert after.covariance[k] == pytest.approx(whole[2 * k : 2 * k + 2, 2 * k : 2 * k + 2], rel=1e-6)
    for k in range(2):
        assert after.cross[k] == pytest.approx(whole[2 * k : 2 * k + 2, 2 * k + 2 : 2 * k + 4], rel=1e-6)
