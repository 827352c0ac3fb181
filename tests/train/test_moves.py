"""The moves: amounts, the readings to look for, what is missed and why, and the order of work."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.choices import Aim, Line
from alignment.train.moves import plan as moves
from alignment.train.moves.plan import Plan, plan_moves
from alignment.train.moves.programme import Notches
from alignment.train.train import fit_train
from alignment.uncertainty import Verdict
from tests.tools.machines import machine, readings

IN = 25.4
TARGET = {"r": "target = '700'"}


def planned(parts, taken, *, aim: Aim = Aim.fewest, line: Line = Line.string, **how) -> Plan:
    layout = machine(parts, **how)
    return plan_moves(fit_train(layout, readings(layout, taken), line=line), aim=aim)


def part(name: str, start: float, **keys: object) -> dict[str, object]:
    """A section of 400 mm with its bolts 50 mm inside."""
    return {"name": name, "row": "r", "start": start, "length": 400, "bolts": [50, 350]} | keys


def ends(**read: tuple[float, float]):
    return [row for name, (a, b) in read.items() for row in ((name, "entry", a), (name, "exit", b))]


# --- the readings to look for ----------------------------------------------------------------------------------


@pytest.fixture
def swung() -> Plan:
    """A section of 18 in with bolts at 2 and 16, read 18 3/8 and 18 7/16: its exit is 1/16 too far."""
    parts = [{"name": "operator-1", "row": "operator", "start": "0", "length": "18", "bolts": ["2", "16"]}]
    taken = [("operator-1", "entry", "18 3/8"), ("operator-1", "exit", "18 7/16")]
    return planned(parts, taken, units="in", tape="", rows={"operator": "target = '18 3/8'"})


def test_swing(swung):
    """
    Exit 3/64 toward the string about the entry bolt end.

    By the lever of the section: 3/64 over 14 between the bolts is 3/64 * 16/14 = 0.0536 at the exit point, which
    lies 16 from the pivot, and 3/64 * 2/14 = 0.0067 the other way at the entry point, 2 behind it.
    """
    (step,) = swung.steps
    assert (step.section, step.loosen, step.snug, step.direction) == ("operator-1", "exit", "entry", "toward")
    assert step.move / IN == pytest.approx(3 / 64)
    assert (step.watch.point, step.other.point) == ("exit", "entry")
    assert step.watch.before / IN == pytest.approx(18.4375)
    assert step.watch.after / IN == pytest.approx(18.384, abs=0.0005)
    assert step.other.before / IN == pytest.approx(18.375)
    assert step.other.after / IN == pytest.approx(18.3817, abs=0.00005)
    assert swung.total / IN == pytest.approx(3 / 64)
    assert swung.bolt_ends == 1
    assert swung.optimal


def test_state_after_the_swing(swung):
    """Deviations follow the readings; u is that of a repeat of the same survey."""
    before, after = swung.before, swung.state.sections[0]
    assert after.entry.reading / IN == pytest.approx(18.3817, abs=0.00005)
    assert after.exit.deviation.value / IN == pytest.approx(0.00893, abs=0.00001)
    assert after.skew.u == pytest.approx(before.skew.u[0])
    assert after.verdict.inside


def test_watch_is_at_the_point_that_was_read_nearest_the_moving_bolt():
    parts = [part("a", 0, points=[60, 200, 340])]
    taken = [("a", "entry", 700), ("a", "mid", 702), ("a", "exit", 704)]
    (step,) = planned(parts, taken, rows=TARGET, tolerance="square = '1'\noffset = '6'").steps
    assert step.loosen == "exit"
    assert (step.watch.point, step.watch.place) == ("exit", 340)
    assert (step.other.point, step.other.place) == ("entry", 60)


def test_both_ends_loose():
    """No pivot: one step per end, entry first, each told as it will read after both."""
    first, second = planned([part("a", 0)], ends(a=(705, 705)), rows=TARGET).steps
    assert [(s.loosen, s.snug) for s in (first, second)] == [("entry", ""), ("exit", "")]
    assert first.watch.before == pytest.approx(705)
    assert first.watch.after == pytest.approx(second.other.after)


def test_direction():
    """Too near the string is moved away from it."""
    steps = planned([part("a", 0)], ends(a=(690, 690)), rows=TARGET).steps
    assert all(step.direction == "away" and step.move < 0 for step in steps)
    assert all(step.watch.after > step.watch.before for step in steps)


def test_order_of_work():
    """Row by row, entry to exit, whatever the order of the files."""
    parts = [part("d", 500, row="s"), part("b", 500), part("c", 0, row="s"), part("a", 0)]
    taken = ends(b=(705, 705), d=(705, 705), a=(705, 705), c=(705, 705))
    plan = planned(parts, taken, rows={"r": "target = '700'", "s": "target = '700'"})
    assert [step.section for step in plan.steps] == ["a", "a", "b", "b", "c", "c", "d", "d"]


# --- what is left alone ----------------------------------------------------------------------------------------


def test_nothing_to_move():
    plan = planned([part("a", 0)], ends(a=(700, 700.5)), rows=TARGET)
    assert plan.steps == ()
    assert plan.total == 0
    assert plan.optimal


def test_left_alone_up_to_the_tolerance_brought_inside_the_band():
    """A section left alone may lie at its limit; one that is touched comes inside half of it."""
    parts = [part("a", 0), part("b", 500)]
    how = {"rows": TARGET, "tolerance": "offset = '2'\nsquare = '2'", "moves": "notch = '0.1'"}
    plan = planned(parts, ends(a=(702, 702), b=(702.2, 702.2)), **how)
    assert {step.section for step in plan.steps} == {"b"}
    b = plan.state.sections[1]
    assert max(abs(b.entry.deviation.value), abs(b.exit.deviation.value), abs(b.skew.value)) <= 1 + 1e-6


def test_whole_notches():
    plan = planned([part("a", 0)], ends(a=(703.3, 706.1)), rows=TARGET, moves="notch = '0.3'")
    notches = plan.moves / 0.3
    assert notches == pytest.approx(np.round(notches), abs=1e-9)


def test_hold_is_never_moved():
    """Out as it is, and said to be; its neighbour is brought in step with it as far as its own tolerance goes."""
    parts = [part("a", 0, hold=True), part("b", 500)]
    how = {"rows": TARGET, "tolerance": "offset = '2'\nsquare = '2'\nstep = '2'", "joints": [("a", "b")]}
    plan = planned(parts, ends(a=(703, 703), b=(700, 700)), **how)
    assert {step.section for step in plan.steps} <= {"b"}
    assert not plan.moves[0].any()
    assert [(m.where, m.what, m.why) for m in plan.missed] == [("a", "offset", "on hold")]
    assert plan.missed[0].by == pytest.approx(1)
    assert plan.state.joints[0].step.verdict.inside


def test_not_measured_enough_is_left_alone():
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, [*ends(b=(705, 705)), ("a", "entry", 710)], rows=TARGET)
    assert {step.section for step in plan.steps} == {"b"}
    assert plan.state.verdict is not Verdict.ok


# --- what cannot be brought in ---------------------------------------------------------------------------------


def test_slots_end():
    """The nearest possible, by how much it misses, and why: 10 off less 4 of travel less 1.5 of tolerance."""
    how = {"rows": TARGET, "tolerance": "offset = '1.5'\nsquare = '1.5'", "moves": "travel = '4'"}
    plan = planned([part("a", 0)], ends(a=(710, 710)), **how)
    assert plan.moves == pytest.approx(np.array([[4.0, 4.0]]))
    (missed,) = plan.missed
    assert (missed.where, missed.what, missed.why) == ("a", "offset", "the slots end")
    assert missed.by == pytest.approx(4.5)
    assert not plan.state.verdict.inside


def test_band_given_up_where_slots_do_not_reach():
    """Inside the tolerance but not inside its band, and said to be."""
    how = {"rows": TARGET, "tolerance": "offset = '1.5'\nsquare = '1.5'", "moves": "travel = '4'"}
    plan = planned([part("a", 0)], ends(a=(705, 705)), **how)
    assert plan.missed == ()
    assert plan.beyond_band == ("a",)
    assert plan.state.sections[0].verdict.inside
    assert plan.state.sections[0].offset.value == pytest.approx(1)


def test_notch_too_coarse():
    how = {"rows": TARGET, "tolerance": "offset = '0.2'\nsquare = '3'", "moves": "notch = '1'"}
    plan = planned([part("a", 0)], ends(a=(700.5, 700.5)), **how)
    (missed,) = plan.missed
    assert missed.why == "no whole number of notches serves it"
    assert missed.by == pytest.approx(0.3)


def test_one_that_cannot_be_helped_does_not_keep_the_others():
    parts = [part("a", 0), part("b", 500)]
    how = {"rows": TARGET, "tolerance": "offset = '1.5'\nsquare = '1.5'", "moves": "travel = '4'"}
    plan = planned(parts, ends(a=(710, 710), b=(703, 703)), **how)
    assert [m.where for m in plan.missed] == ["a"]
    assert plan.state.sections[1].verdict.inside


# --- the aims --------------------------------------------------------------------------------------------------


def test_exact():
    """Every section that is out goes to its target to the nearest notch at both bolt ends; the others stay."""
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, ends(a=(701, 701), b=(703.2, 706.7)), aim=Aim.exact, rows=TARGET)
    assert not plan.moves[0].any()
    # b at its bolts: 703.2 + 3.5 * 50/400 = 703.6375 and 706.2625
    assert plan.moves[1] == pytest.approx([3.5, 6.5])
    layout = plan.after.layout
    at_bolts = [plan.after.deviation([s.start + s.bolts[k] for s in layout.sections]).value[1] for k in (0, 1)]
    assert np.abs(at_bolts).max() <= 0.25


@pytest.mark.parametrize(("off", "move"), [(10, 4.0), (-10, -4.0)])
def test_exact_within_the_slots(off, move):
    """Either way, as far as the slots go."""
    taken = ends(a=(700 + off, 700 + off))
    plan = planned([part("a", 0)], taken, aim=Aim.exact, rows=TARGET, moves="travel = '4'")
    assert plan.moves == pytest.approx(np.array([[move, move]]))


def test_exact_moves_nothing_on_hold():
    plan = planned([part("a", 0, hold=True)], ends(a=(710, 710)), aim=Aim.exact, rows=TARGET)
    assert plan.steps == ()
    assert [m.why for m in plan.missed] == ["on hold"]


def test_fewest_against_least():
    """One bolt end with more movement, or two with less: each aim takes its own."""
    parts = [part("a", 0)]
    how = {"rows": TARGET, "tolerance": "offset = '2'\nsquare = '3'\nstep = '3'"}
    taken = ends(a=(701.4, 704.6))
    fewest, least = (planned(parts, taken, aim=aim, **how) for aim in (Aim.fewest, Aim.least))
    assert fewest.bolt_ends <= least.bolt_ends
    assert least.total <= fewest.total
    assert fewest.state.verdict.inside
    assert least.state.verdict.inside


@pytest.mark.parametrize("aim", Aim)
def test_free_line_leaves_a_slanted_row_alone(aim):
    """Faces on one slanted line need no move at all: the string was hung askew."""
    parts = [part(name, 500 * k) for k, name in enumerate("abcd")]
    faces = {name: (700 + 0.02 * 500 * k, 700 + 0.02 * (500 * k + 400)) for k, name in enumerate("abcd")}
    plan = planned(parts, ends(**faces), aim=aim, line=Line.free, rows=TARGET)
    assert plan.steps == ()
    assert plan.state.verdict.inside
    assert planned(parts, ends(**faces), aim=aim, rows=TARGET).bolt_ends >= 4
    shift, slope = plan.before.string_lines["r"]
    assert [shift + slope * x for x in (0, 1900)] == pytest.approx(
        [0, 38], abs=plan.before.layout.tolerance.offset + 1e-6
    )


def test_slots_are_not_blamed_where_one_more_notch_would_fit():
    """2.5 off and notches of 1: two or three leave half a notch, and the slots take three."""
    how = {"rows": TARGET, "tolerance": "offset = '0.1'\nsquare = '0.1'"}
    taken = ends(a=(702.5, 702.5))
    (missed,) = planned([part("a", 0)], taken, moves="notch = '1'\ntravel = '3'", **how).missed
    assert missed.why == "no whole number of notches serves it"
    (missed,) = planned([part("a", 0)], taken, moves="notch = '1'\ntravel = '2.9'", **how).missed
    assert missed.why == "the slots end"


def test_least_move_has_its_direction():
    """Half a millimetre toward the string, and half away."""
    how = {"rows": TARGET, "tolerance": "offset = '0.3'\nsquare = '0.3'"}
    near, far = (planned([part("a", 0)], ends(a=(700 + by, 700 + by)), **how) for by in (-0.5, 0.5))
    assert {(s.move, s.way) for s in far.steps} == {(0.5, "toward the string")}
    assert {(s.move, s.way) for s in near.steps} == {(-0.5, "away from the string")}


@pytest.mark.parametrize(("second", "ends_to_move"), [(703, 0), (700, 1), (706, 1)])
def test_nominal_step_is_kept(second, ends_to_move):
    """Faces 3 apart by the layout, and notches of half a millimetre: 3 apart is in step, flush or 6 apart is not."""
    how = {"rows": TARGET, "moves": "notch = '0.5'", "tolerance": "offset = '6.5'\nsquare = '6.5'\nstep = '0.6'"}
    joint = "[[joint]]\nsections = ['a', 'b']\nstep = '3'"
    taken = ends(a=(700, 700), b=(second, second))
    plan = planned([part("a", 0), part("b", 400)], taken, joints=joint, **how)
    assert (plan.bolt_ends > 0) is bool(ends_to_move)
    assert plan.after.steps.value[0] == pytest.approx(0, abs=0.6)


def test_free_line_of_a_machine_that_starts_far_from_its_zero_mark():
    """Faces along 0.02 x - 15, from 1000 on: the line is laid there, and nothing moves."""
    parts = [part(f"s{k}", 1000 + 500 * k) for k in range(4)]
    taken = ends(**{f"s{k}": tuple(700 + 0.02 * (1000 + 500 * k + x) - 15 for x in (0, 400)) for k in range(4)})
    plan = planned(parts, taken, line=Line.free, rows=TARGET)
    assert plan.bolt_ends == 0
    assert np.abs(plan.before.ends[0].value).max() < 1.6
    shift, slope = plan.before.string_lines["r"]
    for x in (1000, 2900):
        assert shift + slope * x == pytest.approx(0.02 * x - 15, abs=1.6)


# --- what is known of a plan that was cut short ------------------------------------------------------------------


class Clock:
    """Seconds as the planner sees them; each plan takes some."""

    def __init__(self) -> None:
        self.now, self.granted, self.asked = 100.0, [], []

    def monotonic(self) -> float:
        """The time."""
        return self.now

    def plan(self, faces, *, fewest, free, seconds) -> Notches:
        """Every section moved by two notches at its entry; the first string is never proved, others are."""
        self.granted.append(seconds)
        self.asked.append((fewest, free))
        self.now += 1.0
        moves = np.zeros((len(faces.fixed), 2), dtype=np.int64)
        moves[:, 0] = 2
        proved = len(self.granted) == 3
        return Notches(
            moves=moves, line=np.zeros(2), optimal=proved, least_ends=len(moves) - 1, least_movement=2 * len(moves) - 3
        )


@pytest.fixture
def cut_short(monkeypatch):
    clock = Clock()
    monkeypatch.setattr(moves, "plan_notches", clock.plan)
    monkeypatch.setattr(moves, "time", clock)
    rows = dict.fromkeys("abc", "target = '700'")
    parts = [part(f"{row}{k}", 500 * k, row=row) for row in rows for k in range(3)]
    layout = machine(parts, rows=rows, moves="notch = '0.5'")
    return clock, layout, readings(layout, ends(**{p["name"]: (700, 700) for p in parts}))


@pytest.mark.parametrize("line", [Line.string, Line.free])
@pytest.mark.parametrize(("aim", "ends_gap"), [(Aim.fewest, 2), (Aim.least, 0)])
def test_gaps_of_all_strings_together(cut_short, aim, ends_gap, line):
    """
    Two strings of three, each one bolt end and three notches from what is proved; the third is the best there is.

    Time is shared among the strings that are left.
    """
    clock, layout, survey = cut_short
    plan = plan_moves(fit_train(layout, survey, line=line), aim=aim, seconds=9.0)
    assert (plan.aim, plan.optimal, plan.ends_gap) == (aim, False, ends_gap)
    assert plan.movement_gap == pytest.approx(2 * 3 * 0.5)
    assert clock.granted == pytest.approx([9 / 3, 8 / 2, 7])
    assert clock.asked == [(aim is Aim.fewest, line is Line.free)] * 3


def test_exact_is_the_last_word_under_a_line_that_was_not_proved(cut_short):
    """Once the line is laid, everything out goes to its target: there is nothing left to better."""
    _, layout, survey = cut_short
    plan = plan_moves(fit_train(layout, survey, line=Line.free), aim=Aim.exact)
    assert (plan.aim, plan.optimal, plan.ends_gap, plan.movement_gap) == (Aim.exact, True, 0, 0.0)


def test_what_needs_no_planner_is_proved():
    plan = planned([part("a", 0)], ends(a=(710, 710)), aim=Aim.exact, rows=TARGET)
    assert (plan.optimal, plan.ends_gap, plan.movement_gap) == (True, 0, 0.0)


# --- what is told of what is left --------------------------------------------------------------------------------


def test_what_is_missed_is_named_with_its_reason():
    """Offset and squareness of a section, and the step at a joint; all of them on hold."""
    parts = [part("a", 0, hold=True), part("b", 400, hold=True)]
    how = {"rows": TARGET, "joints": [("a", "b")], "tolerance": "offset = '3'\nsquare = '2'\nstep = '1'"}
    missed = planned(parts, ends(a=(700, 705), b=(700, 700)), **how).missed
    assert [(m.where, m.what, round(m.by, 6), m.why) for m in missed] == [
        ("a", "offset", 2.0, "on hold"),
        ("a", "square", 3.0, "on hold"),
        ("a / b", "step", 4.0, "on hold"),
    ]


@pytest.mark.parametrize(("joints", "why"), [([], ""), ([("a", "b")], " and its joints"), ([("b", "c")], "")])
def test_notches_that_do_not_serve_and_joints_that_may_be_in_the_way(joints, why):
    """Half a notch off at best: said of the section, and of its joints only where it has one."""
    parts = [part("a", 0), part("b", 400), part("c", 800)]
    how = {"rows": TARGET, "joints": joints, "tolerance": "offset = '0.3'\nsquare = '0.3'\nstep = '9'"}
    missed = planned(parts, ends(a=(701.5, 701.5), b=(700, 700), c=(700, 700)), moves="notch = '1'", **how).missed
    assert {(m.where, m.why) for m in missed} == {("a", f"no whole number of notches serves it{why}")}


def test_only_what_is_touched_is_held_to_the_band():
    """Tolerance 2, band 1: b is let alone at 1.5; a and c are moved, and the slots leave c at 1.4."""
    parts = [part("a", 0), part("b", 500), part("c", 1000)]
    how = {"rows": TARGET, "tolerance": "offset = '2'\nsquare = '2'", "moves": "notch = '0.5'\ntravel = '2.5'"}
    plan = planned(parts, ends(a=(703.4, 703.4), b=(701.5, 701.5), c=(703.9, 703.9)), **how)
    assert plan.after.offset.value == pytest.approx([0.9, 1.5, 1.4])
    assert plan.beyond_band == ("c",)


def test_lines_of_strings_that_serve_different_stretches():
    """Each line is laid between the first and the last end of its own string's sections."""
    parts = [part(f"a{k}", 500 * k, row="a") for k in range(3)]
    parts += [part(f"b{k}", 3000 + 500 * k, row="b") for k in range(3)]
    taken = ends(
        **{f"a{k}": tuple(700 + 0.02 * (500 * k + x) for x in (0, 400)) for k in range(3)},
        **{f"b{k}": tuple(700 - 0.03 * (500 * k + x) for x in (0, 400)) for k in range(3)},
    )
    plan = planned(parts, taken, line=Line.free, rows=dict.fromkeys("ab", "target = '700'"))
    assert plan.bolt_ends == 0
    assert np.abs(plan.before.ends[0].value).max() < 1.6
    assert np.abs(plan.before.ends[1].value).max() < 1.6
    assert plan.before.string_lines["b"][1] == pytest.approx(-0.03, abs=0.003)
