"""The moves: the three answers, stops on the tape's marks, readings to look for, what is missed and why."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.choices import Aim, Line
from alignment.machine.layout import Direction
from alignment.train.moves import free_line
from alignment.train.moves.answers import Answer, Why, answer
from alignment.train.moves.missed import Cause
from alignment.train.moves.plan import Plan, plan_moves
from alignment.train.moves.programme import Laid
from alignment.train.state import Measurand
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

IN = 25.4
TARGET = {"r": "target = '600'"}
WIDE = "offset = '2'\nsquare = '2'\nstep = '2'"


def planned(
    parts, taken, *, aim: Aim = Aim.fewest, line: Line = Line.string, done=frozenset(), doubted=None, **how
) -> Plan:
    layout = machine(parts, **how)
    train = fit_train(layout, readings(layout, taken), line=line)
    return plan_moves(train, aim=aim, done=done, doubted=doubted)


def part(name: str, start: float, **keys: object) -> dict[str, object]:
    """A section of 400 mm with its bolts 50 mm inside."""
    return {"name": name, "row": "r", "start": start, "length": 400, "bolts": [50, 350]} | keys


def ends(times: int = 1, **read: tuple[float, float]):
    return [row for name, (a, b) in read.items() for row in ((name, "entry", a), (name, "exit", b))] * times


# --- the readings to look for ----------------------------------------------------------------------------------


@pytest.fixture
def swung() -> Plan:
    """A section of 15 in with bolts at 2 and 13, read 18 3/8 and 18 9/16: its exit is 3/16 too far."""
    parts = [{"name": "operator-1", "row": "operator", "start": "0", "length": "15", "bolts": ["2", "13"]}]
    taken = [("operator-1", "entry", "18 3/8"), ("operator-1", "exit", "18 9/16")]
    limits = "offset = '1/16'\nsquare = '1/16'"
    return planned(parts, taken, units="in", tape="", tolerance=limits, rows={"operator": "target = '18 3/8'"})


def test_swing(swung):
    """
    Exit to 18 3/8 about the entry bolt end.

    The face at that bolt, 2 in from the entry, is 2/15 * 3/16 = 1/40 too far and stays. By the bar from there to the
    exit, 13 away, the entry comes to 1/40 * 15/13, and the exit bolt, 2 short of the exit, to 1/40 * 2/13; it was at
    13/15 * 3/16.
    """
    (step,) = swung.steps
    assert (step.section, step.loosen, step.pivot, step.direction) == ("operator-1", "exit", "entry", Direction.toward)
    assert (step.watch.point, step.other.point) == ("exit", "entry")
    assert step.watch.before / IN == pytest.approx(18.5625)
    assert step.watch.stop / IN == pytest.approx(18.375)
    assert step.watch.target / IN == pytest.approx(18.375)
    assert step.other.after / IN == pytest.approx(18.375 + 1 / 40 * 15 / 13)
    assert step.move / IN == pytest.approx(13 / 15 * 3 / 16 - 1 / 40 * 2 / 13)
    assert swung.bolt_ends == 1
    assert swung.optimal


def test_state_after_the_swing(swung):
    """The exit has the u of a new reading and of creep by its lever of 13/11; what was known at the pivot stays."""
    after = swung.state.sections[0]
    tape = swung.before.survey.tape
    one = np.sqrt((IN / 16) ** 2 / 12 + (IN / 64) ** 2 + (18.375 * IN * np.radians(2) ** 2) ** 2 / 45)
    expected = np.sqrt(one**2 + (IN / 64 * 13 / 11) ** 2 + tape.zero**2)
    assert after.exit.deviation.value == pytest.approx(0, abs=1e-9)
    assert after.exit.deviation.u == pytest.approx(expected, rel=2e-2)
    assert after.chance > 0.6 > 0.1 > swung.now[0]


def test_watch_is_at_the_point_that_was_read_nearest_the_moving_bolt():
    parts = [part("a", 0, points=[60, 200, 340])]
    taken = [("a", "entry", 600), ("a", "mid", 602), ("a", "exit", 604)]
    (step,) = planned(parts, taken, rows=TARGET, tolerance="square = '1'\noffset = '6'").steps
    assert step.watch.point == step.loosen
    assert step.watch.place == {"entry": 60, "exit": 340}[step.loosen]
    assert step.other.place == {"entry": 340, "exit": 60}[step.loosen]


def test_both_ends_loose():
    """No pivot: one step per end, entry first, both where they are best: at the reading wanted."""
    first, second = planned([part("a", 0)], ends(a=(605, 605)), rows=TARGET, tolerance=WIDE).steps
    assert [(s.loosen, s.pivot) for s in (first, second)] == [("entry", ""), ("exit", "")]
    assert [s.watch.stop for s in (first, second)] == pytest.approx([600, 600])
    assert first.watch.before == pytest.approx(605)


@pytest.mark.parametrize(("reads", "way"), [(590, Direction.away), (610, Direction.toward)])
def test_direction(reads, way):
    """Too near the string is moved away from it."""
    steps = planned([part("a", 0)], ends(a=(reads, reads)), rows=TARGET, tolerance=WIDE).steps
    assert [step.direction for step in steps] == [way, way]
    assert all((step.move > 0) is (way is Direction.toward) for step in steps)


def test_order_of_work():
    """Row by row, entry to exit, whatever the order of the files."""
    parts = [part("d", 500, row="s"), part("b", 500), part("c", 0, row="s"), part("a", 0)]
    taken = ends(b=(605, 605), d=(605, 605), a=(605, 605), c=(605, 605))
    plan = planned(parts, taken, rows={"r": "target = '600'", "s": "target = '600'"}, tolerance=WIDE)
    assert [step.section for step in plan.steps] == ["a", "a", "b", "b", "c", "c", "d", "d"]


def test_half_marks_only_where_marks_do_not_serve():
    """Wanted 600.5 with marks of 1: the stop is halfway; wanted 600: on the mark."""
    for target, stop in ((600.5, 600.5), (600, 600), (600.3, 600)):
        rows = {"r": f"target = '{target}'"}
        limits = "offset = '1.2'\nsquare = '1.2'"
        steps = planned([part("a", 0)], ends(a=(605, 605)), rows=rows, tolerance=limits).steps
        assert [s.watch.stop for s in steps] == pytest.approx([stop, stop])


# --- three answers ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "turned", "gain", "times", "said"),
    [
        (0.95, 0.4, 0.5, 1, Answer.leave),
        (0.7, 0.6, 0.1, 1, Answer.leave),
        (0.7, 0.4, 0.1, 1, Answer.read_again),
        (0.7, 0.4, 0.1, 3, Answer.move),
        (0.7, 0.4, -0.1, 3, Answer.leave),
        (0.2, 0.1, 0.5, 1, Answer.move),
        (0.2, 0.1, -0.1, 1, Answer.stuck),
    ],
)
def test_answers(now, turned, gain, times, said):
    assert answer(now, turned, gain, times) is said


def test_reads_as_wanted_is_left_alone():
    plan = planned([part("a", 0)], ends(a=(600, 600)), rows=TARGET, tolerance=WIDE)
    assert (plan.steps, plan.read_again, plan.total, plan.optimal) == ((), (), 0, True)
    assert plan.answers == (Answer.leave,)


def test_one_mark_that_decides_is_read_again():
    """Both ends one and a half off where two are allowed: another reading may turn it."""
    plan = planned([part("a", 0)], ends(a=(601.5, 601.5)), rows=TARGET, tolerance=WIDE)
    (again,) = plan.read_again
    assert (again.section, again.points, again.why) == ("a", ("entry", "exit"), Why.near_limit)
    assert plan.steps == ()


def test_read_three_times_alike_it_is_decided():
    plan = planned([part("a", 0)], ends(3, a=(602, 602)), rows=TARGET, tolerance=WIDE)
    assert plan.read_again == ()
    assert plan.steps


def test_what_is_doubted_is_not_moved():
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, ends(a=(605, 605), b=(605, 605)), doubted={"a": ("exit",)}, rows=TARGET, tolerance=WIDE)
    assert [(a.section, a.points, a.why) for a in plan.read_again] == [("a", ("exit",), Why.flagged)]
    assert {step.section for step in plan.steps} == {"b"}


def test_farther_than_the_slots_is_a_doubted_reading_first():
    """Read once: read again. Read twice alike: taken, and as near as the slots let it come."""
    how = {"rows": TARGET, "tolerance": WIDE, "moves": "travel = '4'"}
    once = planned([part("a", 0)], ends(a=(610, 610)), **how)
    assert [(a.section, a.why) for a in once.read_again] == [("a", Why.far)]
    assert (once.steps, once.missed) == ((), ())
    twice = planned([part("a", 0)], ends(2, a=(610, 610)), **how)
    assert twice.moves == pytest.approx(np.array([[4.0, 4.0]]))
    (missed,) = twice.missed
    assert (missed.names, missed.what, missed.cause) == (("a",), Measurand.offset, Cause.travel)
    assert missed.by == pytest.approx(10 - 4 - 2)


def test_a_whole_inch_without_slots_told_is_a_doubted_reading():
    plan = planned([part("a", 0)], ends(a=(600, 625.4)), rows=TARGET, tolerance=WIDE)
    assert [a.why for a in plan.read_again] == [Why.far]
    assert plan.steps == ()


def test_an_end_that_cannot_be_told_from_right_stays_tight():
    """Exit 5 off, entry a third of a mark: one bolt end, whatever a second would add."""
    (step,) = planned([part("a", 0)], ends(a=(600.3, 605)), rows=TARGET, tolerance=WIDE).steps
    assert step.loosen == "exit"


def test_what_a_bolt_end_is_worth():
    """Entry at 1 of 2: with bolts for nothing both ends go, with dear ones the exit alone."""
    taken = ends(3, a=(601, 606))
    cheap, dear = (
        planned([part("a", 0)], taken, rows=TARGET, tolerance=WIDE, moves=f"bolt = {bolt}").bolt_ends
        for bolt in (0.0, 0.4)
    )
    assert (cheap, dear) == (2, 1)


def test_tape_too_coarse_for_the_tolerance_is_said():
    """Tolerance of a fifth of a mark: no move that this tape can tell would help."""
    plan = planned([part("a", 0)], ends(3, a=(601, 601)), rows=TARGET, tolerance="offset = '0.1'\nsquare = '0.1'")
    assert plan.stuck == ("a",)
    assert plan.steps == ()
    assert {m.cause for m in plan.missed} == {Cause.tape}


# --- hold, done, joints ------------------------------------------------------------------------------------------


def test_hold_is_never_moved():
    parts = [part("a", 0, hold=True), part("b", 500)]
    plan = planned(parts, ends(3, a=(603, 603), b=(600, 600)), rows=TARGET, tolerance=WIDE, joints=[("a", "b")])
    assert not plan.moves[0].any()
    assert [(m.names, m.what, m.cause) for m in plan.missed if m.what is Measurand.offset] == [
        (("a",), Measurand.offset, Cause.hold)
    ]
    assert plan.missed[0].by == pytest.approx(1)


def test_done_is_not_touched_again():
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, ends(a=(605, 605), b=(605, 605)), done=frozenset({"a"}), rows=TARGET, tolerance=WIDE)
    assert {step.section for step in plan.steps} == {"b"}
    assert {m.cause for m in plan.missed} == {Cause.done}


def test_not_measured_enough_is_left_alone():
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, [*ends(b=(605, 605)), ("a", "entry", 610)], rows=TARGET, tolerance=WIDE)
    assert {step.section for step in plan.steps} == {"b"}
    assert np.isnan(plan.now[0])


def test_a_joint_that_asks_for_it_moves_an_end_that_reads_as_wanted():
    """Held 1.9 off beside one at 0 and steps of 0.5: the facing end goes with it, by its own tolerance."""
    parts = [part("a", 0, hold=True), part("b", 400)]
    how = {"rows": TARGET, "tolerance": "offset = '2'\nsquare = '2'\nstep = '0.5'", "joints": [("a", "b")]}
    tape = "mark = '0.5'\nset = '0.05'\ntilt = 0\nzero = '0.05'"
    plan = planned(parts, ends(3, a=(601.9, 601.9), b=(600, 600)), tape=tape, moves="creep = '0.05'", **how)
    assert ("b", "entry") in {(step.section, step.loosen) for step in plan.steps}
    assert abs(plan.after.steps.value[0]) < 0.5 - 1e-6


def test_no_step_is_left_just_at_its_limit():
    """Marks of 1 and steps of 1: at the limit by a stop is out; one is found inside."""
    parts = [part("a", 0, hold=True), part("b", 400)]
    how = {"rows": TARGET, "tolerance": "offset = '3'\nsquare = '3'\nstep = '1'", "joints": [("a", "b")]}
    plan = planned(parts, ends(3, a=(602, 602), b=(606, 600)), **how)
    assert abs(plan.after.steps.value[0]) < 1 - 1e-6


@pytest.mark.parametrize("aim", [Aim.fewest, Aim.least])
def test_nominal_step_is_kept(aim):
    how = {"rows": TARGET, "tolerance": "offset = '6.5'\nsquare = '6.5'\nstep = '1.6'"}
    joint = "[[joint]]\nsections = ['a', 'b']\nstep = '3'"
    still = planned([part("a", 0), part("b", 400)], ends(a=(600, 600), b=(603, 603)), joints=joint, aim=aim, **how)
    assert still.steps == ()
    flush = planned([part("a", 0), part("b", 400)], ends(a=(600, 600), b=(598, 598)), joints=joint, aim=aim, **how)
    assert flush.steps
    assert abs(flush.after.steps.value[0]) < 1.6


def test_one_that_cannot_be_helped_does_not_keep_the_others():
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, ends(2, a=(610, 610), b=(603.5, 603.5)), rows=TARGET, tolerance=WIDE, moves="travel = '4'")
    assert {m.names for m in plan.missed} == {("a",)}
    assert plan.state.sections[1].verdict.inside


# --- the aims --------------------------------------------------------------------------------------------------


def test_true():
    """Every end that can be told to be off goes to its target; ends that read right stay tight."""
    parts = [part("a", 0), part("b", 500), part("c", 1000)]
    plan = planned(parts, ends(a=(600.5, 600), b=(600, 606), c=(606, 606)), aim=Aim.true, rows=TARGET, tolerance=WIDE)
    assert [(s.section, s.loosen) for s in plan.steps] == [("b", "exit"), ("c", "entry"), ("c", "exit")]
    assert [s.watch.stop for s in plan.steps] == pytest.approx([600] * 3)


def test_true_moves_nothing_on_hold():
    plan = planned([part("a", 0, hold=True)], ends(a=(606, 606)), aim=Aim.true, rows=TARGET, tolerance=WIDE)
    assert plan.steps == ()
    assert {m.cause for m in plan.missed} == {Cause.hold}


def test_fewest_against_least():
    """Each aim takes its own: no more bolt ends, or no more movement, than the other."""
    for seed in range(6):
        rng = np.random.default_rng(seed)
        off = 600 + np.round(rng.normal(0, 3, size=(3, 2)))
        taken = ends(3, **{name: tuple(row) for name, row in zip("abc", off, strict=True)})
        parts = [part(name, 500 * k) for k, name in enumerate("abc")]
        fewest, least = (planned(parts, taken, aim=aim, rows=TARGET, tolerance=WIDE) for aim in (Aim.fewest, Aim.least))
        assert fewest.bolt_ends <= least.bolt_ends
        assert least.total <= fewest.total + 1e-3


# --- free lines ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("aim", Aim)
def test_free_line_leaves_a_slanted_row_alone(aim):
    """Faces on one slanted line need no move at all: the string was hung askew."""
    parts = [part(name, 500 * k) for k, name in enumerate("abcd")]
    faces = {name: (600 + 0.01 * 500 * k, 600 + 0.01 * (500 * k + 400)) for k, name in enumerate("abcd")}
    how = {"rows": TARGET, "tolerance": WIDE, "moves": "travel = '30'"}
    plan = planned(parts, ends(**faces), aim=aim, line=Line.free, **how)
    assert plan.steps == ()
    assert plan.state.verdict.inside
    assert planned(parts, ends(**faces), aim=aim, **how).bolt_ends >= 4
    shift, slope = plan.before.string_lines["r"]
    assert [shift + slope * x for x in (0, 1900)] == pytest.approx([0, 19], abs=2.0)


def test_free_line_of_a_machine_that_starts_far_from_its_zero_mark():
    """Faces along 0.02 x - 15, from 1000 on: the line is laid there, and nothing moves."""
    parts = [part(f"s{k}", 1000 + 500 * k) for k in range(4)]
    taken = ends(**{f"s{k}": tuple(600 + 0.02 * (1000 + 500 * k + x) - 15 for x in (0, 400)) for k in range(4)})
    plan = planned(parts, taken, line=Line.free, rows=TARGET, tolerance=WIDE)
    assert plan.bolt_ends == 0
    shift, slope = plan.before.string_lines["r"]
    for x in (1000, 2900):
        assert shift + slope * x == pytest.approx(0.02 * x - 15, abs=2)


def test_lines_of_strings_that_serve_different_stretches():
    """Each line is laid between the first and the last end of its own string's sections."""
    parts = [part(f"a{k}", 500 * k, row="a") for k in range(3)]
    parts += [part(f"b{k}", 3000 + 500 * k, row="b") for k in range(3)]
    taken = ends(
        **{f"a{k}": tuple(600 + 0.02 * (500 * k + x) for x in (0, 400)) for k in range(3)},
        **{f"b{k}": tuple(600 - 0.03 * (500 * k + x) for x in (0, 400)) for k in range(3)},
    )
    plan = planned(parts, taken, line=Line.free, rows=dict.fromkeys("ab", "target = '600'"), tolerance=WIDE)
    assert plan.bolt_ends == 0
    assert plan.before.string_lines["b"][1] == pytest.approx(-0.03, abs=0.003)


class Clock:
    """Seconds as the planner sees them; each line takes some."""

    def __init__(self) -> None:
        self.now, self.granted = 100.0, []

    def monotonic(self) -> float:
        """The time."""
        return self.now

    def lay(self, faces, *, seconds, **_) -> Laid:
        """The entry of every section moved by 1; the first two lines are not proved, the third is."""
        self.granted.append(seconds)
        self.now += 1.0
        by = np.zeros((len(faces.fixed), 2))
        by[:, 0] = 1.0
        proved = len(self.granted) == 3
        return Laid(moves=by, line=np.zeros(2), optimal=proved, least_ends=len(by) - 1, least_movement=len(by) - 1.5)


@pytest.mark.parametrize(("aim", "gap"), [(Aim.fewest, 2), (Aim.least, 0)])
def test_gaps_of_all_strings_together(monkeypatch, aim, gap):
    """Two lines of three, each one bolt end and 1.5 mm from what is proved; time is shared among those left."""
    clock = Clock()
    monkeypatch.setattr(free_line, "lay_line", clock.lay)
    monkeypatch.setattr(free_line, "time", clock)
    rows = dict.fromkeys("abc", "target = '600'")
    layout = machine([part(f"{row}{k}", 500 * k, row=row) for row in rows for k in range(3)], rows=rows)
    survey = readings(layout, ends(**{s.name: (600, 600) for s in layout.sections}))
    plan = plan_moves(fit_train(layout, survey, line=Line.free), aim=aim, seconds=9.0)
    assert (plan.optimal, plan.ends_gap, plan.movement_gap) == (False, gap, pytest.approx(3.0))
    assert clock.granted == pytest.approx([9 / 3, 8 / 2, 7])


# --- what is told of the whole -----------------------------------------------------------------------------------


def test_what_is_missed_is_named_with_its_cause():
    """Offset and squareness of a section, and the step at a joint; all of them on hold."""
    parts = [part("a", 0, hold=True), part("b", 400, hold=True)]
    how = {"rows": TARGET, "joints": [("a", "b")], "tolerance": "offset = '3'\nsquare = '2'\nstep = '1'"}
    missed = planned(parts, ends(a=(600, 605), b=(600, 600)), **how).missed
    assert [(m.names, m.what, round(m.by, 6), m.cause) for m in missed] == [
        (("a",), Measurand.offset, 2.0, Cause.hold),
        (("a",), Measurand.square, 3.0, Cause.hold),
        (("a", "b"), Measurand.step, 4.0, Cause.hold),
    ]


def test_chance_of_the_whole_is_that_of_independent_parts():
    """Two sections without joint and without a common zero: the product of their chances; the weakest is named."""
    tape = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0'"
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, ends(a=(605, 605), b=(600, 606)), rows=TARGET, tape=tape, tolerance=WIDE)
    assert plan.chance == pytest.approx(float(np.prod(plan.then)), abs=0.012)
    assert plan.weakest.chance == pytest.approx(plan.then.min())


def test_a_zero_that_all_share_makes_sections_go_together():
    tape = "mark = '1'\nset = '0.1'\ntilt = 0\nzero = '1'"
    parts = [part("a", 0), part("b", 500)]
    plan = planned(parts, ends(3, a=(600, 600), b=(600, 600)), rows=TARGET, tape=tape, tolerance=WIDE)
    assert plan.chance > float(np.prod(plan.now)) + 0.02


@pytest.mark.parametrize("units", ["in", "mm"])
def test_random_plans_have_stops_on_marks_or_halfways_and_move_nothing_that_reads_as_wanted(units):
    """A sample of what ``python -m tests.tools.stops`` does a thousand times."""
    from tests.tools.stops import check

    assert check(units, range(60)) == []


@pytest.mark.parametrize(("mark", "tolerance"), [("4", "1.9"), ("2", "0.9"), ("5", "2.4")])
@pytest.mark.parametrize("off", ["entry", "exit"])
def test_one_mark_within_tolerance_is_enough(mark, tolerance, off):
    """One end reads two marks away, the other as wanted: the one stop within tolerance, halfway ones too, is named."""
    by = 2 * int(mark)
    plan = planned(
        [part(f"s{k}", 500 * k, bolts=[0, 400]) for k in range(3)],
        [(f"s{k}", end, 600 + by * (k == 1 and end == off)) for k in range(3) for end in ("entry", "exit")] * 3,
        rows=TARGET,
        tape=f"mark = '{mark}'\nset = '0.2'\ntilt = 0\nzero = '0.1'",
        tolerance=f"offset = '{tolerance}'\nsquare = '{tolerance}'",
    )
    (step,) = plan.steps
    assert (step.section, step.loosen) == ("s1", off)
    assert step.watch.stop == pytest.approx(600)
    assert step.move == pytest.approx(by)
