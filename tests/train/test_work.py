"""The next act of a job log: the filter's state, the three answers, and what it asks for in order."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

import alignment
from alignment.machine.layout_file import read_layout
from alignment.machine.survey import BoltMove
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.show.words.work import act_lines, wanted_at
from alignment.train.chance import Beside, chance, shared, with_steps
from alignment.train.flags.flag import FlagKind
from alignment.train.solve import solve
from alignment.train.work import next_act as acting
from alignment.train.work.creep import learn
from alignment.train.work.deciding import decide
from alignment.train.work.doubts import doubts_of, read_once
from alignment.train.work.next_act import Act, State, Why, next_act
from alignment.train.work.odds import Odds
from alignment.train.work.standing import UNLIKELY, Crept, creeps, stand, targets
from alignment.train.work.steps import tied
from tests.tools import cure
from tests.tools.machines import machine

IN = 25.4
TAPE = "mark = '1/16'\nset = '1/64'\ntilt = 0\nzero = '1/64'"
WIDE = "square = '1/16'\noffset = '1/16'\nstep = '1/16'"
HEAD = "section,point,reading,kind\n"


def sections(count=2, **more):
    return [
        {"name": f"a-{k + 1}", "row": "a", "start": str(16 * k), "length": "15", "bolts": ["2", "13"], **more}
        for k in range(count)
    ]


@pytest.fixture
def layout():
    return machine(sections(), units="in", tape=TAPE, tolerance=WIDE, rows={"a": "target = '18 3/8'"},
                   joints=[("a-1", "a-2")])  # fmt: skip


def told(layout, *rows, record="# strong_shy: true\n"):
    return next_act(layout, parse_survey(record + HEAD + "".join(f"{row}\n" for row in rows), layout, begun=True))


def asked(found):
    return found.act, found.section and found.section.name, found.points


def states(found):
    return [w.state for w in found.sections]


TRUE = ("a-1,entry,18 3/8", "a-1,exit,18 3/8", "a-2,entry,18 3/8", "a-2,exit,18 3/8")


def test_an_empty_log_asks_for_the_first_section(layout):
    found = told(layout)
    assert asked(found) == (Act.read, "a-1", pytest.approx((0.0, 15 * IN)))
    assert found.why is Why.first
    assert states(found) == [State.unread, State.unread]


def test_one_end_read_asks_for_the_other(layout):
    assert asked(told(layout, TRUE[0])) == (Act.read, "a-1", pytest.approx((15 * IN,)))


def test_a_true_section_is_done_and_the_next_is_read(layout):
    found = told(layout, *TRUE[:2])
    assert asked(found)[:2] == (Act.read, "a-2")
    assert states(found) == [State.done, State.unread]
    assert found.sections[0].chance > 0.9


def test_at_the_end_the_first_point_is_read_again_and_then_it_is_done(layout):
    found = told(layout, *TRUE)
    assert asked(found) == (Act.close, "a-1", (0.0,))
    found = told(layout, *TRUE, "a-1,entry,18 3/8,close")
    assert (found.act, found.why, found.section) == (Act.done, Why.finished, None)


def test_a_closing_reading_that_differs_is_read_once_more_and_then_the_string_has_moved(layout):
    found = told(layout, *TRUE, "a-1,entry,18 1/2,close")
    assert (asked(found), found.why) == ((Act.close, "a-1", (0.0,)), Why.string_again)
    assert told(layout, *TRUE, "a-1,entry,18 1/2,close", "a-1,entry,18 1/2,close").why is Why.string_moved
    assert told(layout, *TRUE, "a-1,entry,18 1/2,close", "a-1,entry,18 3/8,close").why is Why.finished


def test_an_end_far_out_is_moved_to_a_mark(layout):
    """A skew of 3/16 on one end: that end alone, to the wanted reading or beside it, toward the string."""
    found = told(layout, "a-1,entry,18 3/8", "a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,18 9/16")
    assert (found.act, found.section.name) == (Act.move, "a-1")
    (stop,) = found.stops
    assert stop.end == 1
    assert stop.reading / (IN / 32) == pytest.approx(round(stop.reading / (IN / 32)))
    assert abs(stop.reading - 18.375 * IN) <= IN / 32 + 1e-6
    assert found.decision.move[1] > 0
    assert found.decision.chance < 0.05 < 0.7 < found.decision.after


def test_after_a_move_the_loosened_end_is_read_again(layout):
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,18 3/8,move")
    found = told(layout, *rows)
    assert asked(found) == (Act.read, "a-1", pytest.approx((15 * IN,)))
    assert (found.why, states(found)[0]) == (Why.moved, State.moved)
    # the reading of the pivot from before the move still counts: nothing else is asked of this section
    found = told(layout, *rows, "a-1,exit,18 3/8")
    assert found.sections[0].standing.known.complete
    assert found.sections[0].chance > 0.8


def test_a_reading_a_whole_inch_off_is_read_again_before_anything_is_moved(layout):
    found = told(layout, "a-1,entry,18 3/8", "a-1,exit,19 3/8")
    assert (asked(found), found.why) == ((Act.read, "a-1", pytest.approx((15 * IN,))), Why.misread)
    assert states(found)[0] is State.doubtful
    # read right, the slip is outvoted once the point was read three times
    found = told(layout, "a-1,entry,18 3/8", "a-1,exit,19 3/8", "a-1,exit,18 3/8", "a-1,exit,18 3/8")
    assert asked(found)[1] == "a-2"
    # read alike twice, it is taken
    found = told(layout, "a-1,entry,18 3/8", "a-1,exit,19 3/8", "a-1,exit,19 3/8")
    assert found.act is Act.move


def test_a_reading_that_contradicts_the_stop_is_read_again(layout):
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,18 3/8,move", "a-1,exit,18 7/8")
    assert told(layout, *rows).why is Why.misread


def test_slots_that_end_leave_a_section_stuck():
    layout = machine(sections(1), units="in", tape=TAPE, tolerance=WIDE, moves="travel = '1/16'",
                     rows={"a": "target = '18 3/8'"})  # fmt: skip
    rows = [f"a-1,{end},18 7/8" for end in ("entry", "exit") for _ in range(3)]
    found = told(layout, *rows)
    assert states(found) == [State.stuck]
    assert found.sections[0].decision.far
    done = told(layout, *rows, "a-1,entry,18 7/8,close")
    assert (done.act, done.why) == (Act.done, Why.left)


def test_a_section_on_hold_is_read_and_kept():
    layout = machine(sections(1, hold=True), units="in", tape=TAPE, tolerance=WIDE, rows={"a": "target = '18 3/8'"})
    assert told(layout).act is Act.read
    assert states(told(layout, "a-1,entry,18 5/8", "a-1,exit,18 3/8")) == [State.kept]


def test_a_row_without_a_target_takes_it_from_its_first_section():
    layout = machine(sections(), units="in", tape=TAPE, tolerance=WIDE)
    found = told(layout, "a-1,entry,19", "a-1,exit,19", "a-2,entry,19", "a-2,exit,19")
    assert found.act is Act.close
    assert found.sections[1].wanted == pytest.approx((19 * IN, 19 * IN))


def test_the_log_alone_decides(layout):
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 9/16")
    log = parse_survey(HEAD + "\n".join(rows) + "\n", layout)
    one, other = alignment.next_act(layout, log), alignment.next_act(layout, log)
    assert alignment.as_json(one) == alignment.as_json(other)
    assert alignment.as_json(one)["sections"][1]["state"] == "unread"


def test_json_of_a_move(layout):
    rows = ("a-1,entry,18 3/8", "a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,18 9/16")
    found = alignment.as_json(told(layout, *rows))
    assert (found["act"], found["section"], found["loosen"], found["pivot"]) == ("move", "a-1", ["exit"], "entry")
    assert found["direction"] == "toward"
    (watch,) = found["watch"]
    assert (watch["point"], watch["from"]) == ("exit", 18.5625)
    assert found["other"]["point"] == "entry"
    assert found["chance"] < 0.05 < found["chance_after"]
    # the other end off instead: told from what was read there
    rows = ("a-1,entry,18 9/16", "a-1,entry,18 9/16", "a-1,exit,18 3/8", "a-1,exit,18 3/8")
    (watch,) = alignment.as_json(told(layout, *rows))["watch"]
    assert (watch["point"], watch["from"]) == ("entry", 18.5625)


def test_steps_in_a_record_take_the_place_of_the_layouts(layout):
    """A coarser tape makes the same readings worth less."""
    fine = told(layout, *TRUE[:2]).sections[0].chance
    coarse = told(layout, *TRUE[:2], record="# mark: 1/4\n# zero: 1/16\n").sections[0].chance
    assert coarse < fine


@pytest.mark.parametrize("seed", range(6))
def test_quick_chances_are_those_of_the_exact_integral(seed):
    """For tapes as there are; `alignment.train.chance` is tested against scipy."""
    rng = np.random.default_rng(seed)
    tolerance = machine(sections(1), units="in", tape=TAPE, tolerance=WIDE).tolerance
    root = rng.normal(0, 0.3, (2, 2))
    covariance, zero = root @ root.T + 0.02 * np.eye(2), rng.choice([0.1, 0.4])
    value = rng.normal(0, 0.8, (8, 2))
    for up, down in (
        (None, None),
        (Beside(value=0.3, u=0.3), None),
        (Beside(value=0.3, u=0.3), Beside(value=0, u=0.2)),
    ):
        both, spread = with_steps(value, np.broadcast_to(covariance, (8, 2, 2)), up=up, down=down)
        exact = chance(both, shared(spread, zero), tolerance)
        assert Odds(tolerance=tolerance, zero=zero, up=up, down=down)(value, covariance) == pytest.approx(
            exact, abs=4e-3
        )


def crept(values):
    return [Crept(section="a-1", end=1, value=v, u=0.1) for v in values]


@pytest.mark.parametrize("seed", range(8))
def test_creep_that_drifts_is_told_by_students_t(seed):
    """Against scipy.stats.ttest_1samp at 5 %."""
    values = np.random.default_rng(seed).normal(0.3, 0.4, 3 + seed)
    assert learn(crept(values), 0.4).drifts == (stats.ttest_1samp(values, 0.0).pvalue < 0.05)


def test_creep_needs_three_bolt_ends_to_say_anything_and_ten_to_stand_for_the_layouts():
    assert not learn(crept([0.5, 0.5]), 0.4).drifts
    few, many = learn(crept([0.5, 0.6, 0.7]), 0.4), learn(crept(np.linspace(-0.5, 0.5, 10)), 0.4)
    assert few.drifts
    assert few.u == 0.4
    assert few.lead(IN / 16) == pytest.approx(IN / 32)
    assert many.u == pytest.approx(np.sqrt(np.var(np.linspace(-0.5, 0.5, 10), ddof=1) - 0.1**2))


def test_creep_is_read_from_a_log_at_the_bolt_end(layout):
    """The reading is 2 in. outside the bolt end, 13 from the pivot: it shows 13/11 of what the bolt did."""
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,18 3/8,move", "a-1,exit,18 7/16")
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in rows), layout)
    (found,) = creeps(layout, log)
    assert found.value == pytest.approx(IN / 16 * 11 / 13)
    assert (found.section, found.end) == ("a-1", 1)


def test_creep_of_two_bolt_ends_tightened_together_is_read_from_both(layout):
    rows = ("a-1,entry,18 5/8", "a-1,exit,18 9/16", "a-1,entry,18 3/8,move", "a-1,exit,18 3/8,move",
            "a-1,entry,18 7/16", "a-1,exit,18 13/32")  # fmt: skip
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in rows), layout)
    found = creeps(layout, log)
    assert [(one.end, one.value) for one in found] == [
        (0, pytest.approx(IN / 16 * 11 / 13)),
        (1, pytest.approx(IN / 32 * 11 / 13)),
    ]


def test_what_is_known_after_a_move(layout):
    """
    The face turns about the entry bolt end, at 2, to its stop at 15; then the exit one, at 13, creeps when tightened.

    By hand: through (2, p) and (15, s) the entry end is p - 2/13 (s - p) off; creep c shows as -2/11 c and 13/11 c.
    """
    rows = ("a-1,entry,18 7/16", "a-1,exit,18 9/16", "a-1,exit,18 3/8,move")
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in rows), layout)
    u, creep, drift = (r.u for r in log.fitted), 0.4, 0.1
    first, second = u
    ((move,), (known, _)) = log.moves, stand(layout, log, targets(layout, log), creep=creep, drift=drift)
    p = (13 * IN / 16 + 2 * 3 * IN / 16) / 15
    assert known.known.mean == pytest.approx([p + 2 / 13 * p - 2 / 11 * drift, 13 / 11 * drift], abs=1e-6)
    var_p = (13 / 15 * first) ** 2 + (2 / 15 * second) ** 2
    mixed = -2 / 13 * move.u**2 - 2 / 11 * 13 / 11 * creep**2
    entry = (15 / 13) ** 2 * var_p + (2 / 13 * move.u) ** 2 + (2 / 11 * creep) ** 2
    exit_ = move.u**2 + (13 / 11 * creep) ** 2
    assert known.known.covariance == pytest.approx(np.array([[entry, mixed], [mixed, exit_]]), rel=1e-4)


def test_both_bolt_ends_that_creep_alike_shift_the_section(layout):
    rows = ("a-1,entry,18 5/8", "a-1,exit,18 9/16", "a-1,entry,18 3/8,move", "a-1,exit,18 7/16,move")
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in rows), layout)
    (known, _) = stand(layout, log, targets(layout, log), creep=0.4, drift=0.15)
    assert known.known.mean == pytest.approx([0.15, IN / 16 + 0.15], abs=1e-6)
    # each end by its stop, its own bolt end's creep and the other's
    u = log.moves[0].u
    assert known.known.covariance[0, 0] == pytest.approx(u**2 + 0.4**2 * ((13 / 11) ** 2 + (2 / 11) ** 2), rel=1e-4)


def test_a_move_that_nobody_looked_at_leaves_only_the_pivot_known(layout):
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,,move")
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in rows), layout)
    known = stand(layout, log, targets(layout, log), creep=0.4)[0].known
    assert not known.complete
    pivot = np.array([13 / 15, 2 / 15])
    assert known.information == pytest.approx(np.outer(pivot, pivot) * known.information.trace() / (pivot @ pivot))
    assert told(layout, *rows).why is Why.moved


def test_a_section_put_off_comes_after_the_others_and_is_not_forgotten(layout):
    log = parse_survey("# strong_shy: true\n" + HEAD + "".join(f"{row}\n" for row in TRUE[2:]), layout, begun=True)
    # a-1 was never read; a-2 is done, so a-1 is all that is left
    assert asked(next_act(layout, log, skip=["a-1"]))[:2] == (Act.read, "a-1")
    empty = parse_survey(HEAD, layout, begun=True)
    assert asked(next_act(layout, empty, skip=["a-1"]))[:2] == (Act.read, "a-2")
    assert asked(next_act(layout, empty, skip=["a-1", "a-2"]))[:2] == (Act.read, "a-1")
    assert asked(next_act(layout, empty, skip=["a-1", "a-2", "a-1"]))[:2] == (Act.read, "a-2")


def test_a_step_by_straightedge_counts_until_one_of_its_sections_is_moved():
    """Both faces read flush, and one mark apart at the joint beside a section on hold: the straightedge knows."""
    parts = [{**one, "hold": name == "a-1"} for one in sections() for name in (one["name"],)]
    layout = machine(parts, units="in", tape=TAPE, tolerance=WIDE, rows={"a": "target = '18 3/8'"},
                     joints=[("a-1", "a-2")])  # fmt: skip
    flush, stepped = (told(layout, *TRUE, *more).sections[1] for more in ((), ("a-1,joint,1/16",)))
    assert stepped.chance < 0.6 < flush.chance
    assert stepped.standing.known.mean[0] > 0.1
    moved = told(layout, *TRUE, "a-1,joint,1/16", "a-2,entry,18 3/8,move", "a-2,entry,18 3/8").sections[1]
    assert moved.standing.known.mean[0] == pytest.approx(0.0, abs=1e-9)


def test_a_step_that_the_tape_contradicts_is_left_out(layout):
    found = told(layout, *TRUE, "a-1,joint,1/2").sections[1]
    assert found.standing.known.mean[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("share", "left"), [(0.98, 1), (1.02, 0), (-0.98, 1), (-1.02, 0)])
def test_from_when_on_the_tape_contradicts_a_step(layout, share, left):
    """The faces read 1/8 in and 1/32 in off; the step that this makes, and five u of it besides."""
    ends = ("a-1,entry,18 3/8", "a-1,exit,18 1/2", "a-2,entry,18 13/32", "a-2,exit,18 3/8")
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in (*ends, "a-1,joint,0")), layout)
    standings = stand(layout, log, wanted := targets(layout, log), creep=0.4)
    u = math.sqrt(log.steps[0].u ** 2 + log.fitted[1].u ** 2 + log.fitted[2].u ** 2)
    step = replace(log.steps[0], value=(1 / 32 - 1 / 8) * IN + share * UNLIKELY * u)
    assert len(tied(layout, replace(log, steps=(step,)), standings, wanted)[1]) == left


@pytest.mark.parametrize("misread", ["18 1/2", "18 5/8", "17 3/8"])
def test_a_misread_among_three_readings_is_doubted_and_read_again(layout, misread):
    """Two alike and then another: nobody knows yet which is wrong. One more settles it, whichever it is."""
    true = ["a-1,entry,18 3/8", "a-1,exit,18 3/8", "a-1,exit,18 3/8"]
    found = told(layout, *true, f"a-1,exit,{misread}")
    assert (asked(found), found.why) == ((Act.read, "a-1", pytest.approx((15 * IN,))), Why.misread)
    outvoted = told(layout, *true, f"a-1,exit,{misread}", "a-1,exit,18 3/8")
    assert outvoted.sections[0].standing.known.mean[1] == pytest.approx(0.0, abs=1e-9)
    assert asked(outvoted)[1] == "a-2"
    # two against two say nothing
    assert told(layout, *true, *[f"a-1,exit,{misread}"] * 2).why is Why.misread


@pytest.mark.parametrize("marks", [cure.INCHES, cure.MILLIMETRES], ids=["in", "mm"])
def test_whole_jobs_loosen_nothing_that_would_be_less_likely_in(marks, monkeypatch):
    """Machines cured on paper: every move raises the chance, none is of a section that is done, stops are on halves."""
    acts = []

    def noted(*given):
        acts.append(next_act(*given))
        return acts[-1]

    monkeypatch.setattr(cure, "next_act", noted)
    for k in range(3):
        cure.work(cure.Machine(np.random.default_rng([7, k]), marks, next(iter(cure.tolerances(marks).values()))))
    moves = [act for act in acts if act.act is Act.move]
    assert len(moves) > 6
    for act in moves:
        assert act.decision.chance < min(0.9, act.decision.after)
        halves = np.array([stop.reading for stop in act.stops]) / (marks.mark / 2)
        assert halves == pytest.approx(np.round(halves))


# --- what the flags of the survey say ----------------------------------------------------------------------------


def test_a_string_that_leans_is_told_until_something_on_it_is_moved(samples):
    layout = read_layout(samples / "machine.toml")
    log = read_survey(samples / "leaning-string.csv", layout)
    (flag,) = next_act(layout, log).doubts
    assert (flag.flag, flag.string) == (FlagKind.line_skewed, "operator")
    move = BoltMove(section="operator-2", end=1, place=381.0, pivot=0.0, stop=None, u=1.0, text="", row=99)
    assert next_act(layout, replace(log, moves=(move,))).doubts == ()


def test_a_reading_that_is_doubted_is_read_again_before_a_bolt_is_touched(samples):
    layout = read_layout(samples / "machine.toml")
    log = read_survey(samples / "inch-slip.csv", layout)
    (flag,) = (f for f in solve(layout, log).flags if f.harmful)
    others = [s.name for s in layout.sections if s.name != flag.section]
    told = next_act(layout, log, skip=others)
    assert (told.act, told.section.name) == (Act.read, flag.section)
    assert flag.reading.place in told.points


def test_two_sections_of_which_one_end_each_was_read_have_a_next_act(samples):
    """One put off half read, the next one begun: there is no face yet that a flag could speak of."""
    layout = read_layout(samples / "machine.toml")
    text = "section,point,reading\noperator-1,entry,18 3/8\noperator-2,entry,18 3/8\n"
    told = next_act(layout, parse_survey(text, layout), skip=["operator-1"])
    assert (told.act, told.section.name, told.doubts) == (Act.read, "operator-2", ())


def test_what_is_doubted_is_told_of_its_own_section_and_string():
    """One string leans by 30 mm, and on the other one section was read an inch off."""
    rows = dict.fromkeys("ab", "target = '600'")
    parts = [{"name": f"{r}-{k}", "row": r, "start": str(500 * k), "length": "450"} for r in "ab" for k in range(5)]
    layout = machine(parts, rows=rows)
    text = "section,point,reading\n"
    for k in range(5):
        text += f"a-{k},entry,{625.4 if k == 2 else 600}\na-{k},exit,600\n"
        text += f"b-{k},entry,{600 + 6 * k}\nb-{k},exit,{605.4 + 6 * k}\n"
    log = parse_survey(text, layout)
    told_of = {s.name: doubts_of(layout, log, s) for s in layout.sections}
    assert {name: [(f.flag, f.section or f.string) for f in flags] for name, flags in told_of.items()} == {
        **{f"a-{k}": [(FlagKind.unlikely, "a-2")] * (k == 2) for k in range(5)},
        **{f"b-{k}": [(FlagKind.line_skewed, "b")] for k in range(5)},
    }


def test_which_readings_stand_alone(layout):
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 3/8", "a-1,exit,18 3/8", "a-2,entry,18 3/8", "a-2,exit,18 3/8")
    log = parse_survey(HEAD + "".join(f"{row}\n" for row in rows), layout)
    assert read_once(log, log.fitted) == pytest.approx((0.0, 0.0, 15 * IN))


def test_a_section_left_for_later_ones_is_not_gone_back_to_for_a_little():
    """The middle one is likely in, and another reading is worth its while; not once the one after it was moved."""
    layout = machine(sections(3), units="in", tape=TAPE, tolerance=WIDE, rows={"a": "target = '18 3/8'"})
    first = (
        "a-1,entry,18 3/8",
        "a-1,exit,18 9/16",
        "a-1,exit,18 3/8,move",
        *["a-1,exit,18 3/8", "a-1,entry,18 3/8"] * 2,
    )
    middle = ("a-2,entry,18 3/8", "a-2,exit,18 13/32")
    found = told(layout, *first, *middle)
    assert (found.act, found.section.name) == (Act.read, "a-2")
    assert 0.8 < found.sections[1].chance < 0.9
    last = [row.replace("a-1", "a-3") for row in first]
    found = told(layout, *first, *middle, *last)
    assert states(found) == [State.done] * 3
    # but for much: two in three that it is out
    found = told(layout, *first, "a-2,entry,18 3/8", "a-2,exit,18 7/16", *last)
    assert (found.section.name, states(found)[1]) == ("a-2", State.move)


def test_sections_on_hold_come_first_where_a_row_takes_its_target_from_them():
    parts = [{**one, "hold": name == "a-2"} for one in sections(3) for name in (one["name"],)]
    for target, first in (("target = '18 3/8'", "a-1"), ("", "a-2")):
        layout = machine(parts, units="in", tape=TAPE, tolerance=WIDE, rows={"a": target})
        assert asked(told(layout))[1] == first


def test_a_reading_is_worth_more_where_tolerances_are_finer_than_the_mark(layout, monkeypatch):
    """By the square: set against the chance, it costs a quarter at half a mark. From a mark on it costs the same."""
    costs = []
    monkeypatch.setattr(acting, "decide", lambda *given, **how: costs.append(given[2].reading) or decide(*given, **how))
    for limit in ("1/8", "1/16", "1/32"):
        limits = f"square = '1/8'\noffset = '{limit}'\nstep = '1/8'"
        told(machine(sections(1), units="in", tape=TAPE, tolerance=limits, rows={"a": "target = '18 3/8'"}))
    assert costs[1:] == pytest.approx([costs[0], costs[0] / 4])


def test_what_is_wanted_between_and_at_the_points():
    """Linear from the first point to the last, wherever these are."""
    parts = [part | {"points": ["2", "13"]} for part in sections(1)]
    layout = machine(parts, units="in", tape=TAPE, tolerance=WIDE, rows={"a": "target = '18 3/8'"})
    work = told(layout).work
    work = replace(work, wanted=(466.0, 477.0))
    assert [wanted_at(work, at * IN) for at in (2, 7.5, 13)] == pytest.approx([466, 471.5, 477])


def test_a_section_is_read_first_and_then_again(layout):
    assert " again" not in act_lines(told(layout))[0]
    again = told(layout, "a-1,entry,18 3/8", "a-1,exit,19 3/8")
    assert again.why is Why.misread
    assert " again" in act_lines(again)[0]
