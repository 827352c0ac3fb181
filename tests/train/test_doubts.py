"""What an answer says of itself where it rests on little, or on readings that are doubted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alignment.choices import Aim, Line, LineChoice
from alignment.errors import InputError
from alignment.show import door
from alignment.show.page import Degree
from alignment.show.terminal import render
from alignment.show.words.checklist import checklist_page
from alignment.show.words.solution import summary
from alignment.show.words.solution_doubts import doubts
from alignment.train.moves.answers import Why
from alignment.train.solve import solve, solve_lines
from alignment.train.state import SectionState
from tests.tools.machines import machine, readings

JOINTS = [("a", "b"), ("b", "c"), ("c", "d")]
PARTS = [
    {"name": name, "row": "r", "start": 500 * k, "length": 400, "points": [0, 200, 400]}
    for k, name in enumerate("abcd")
]


def four(**how):
    return machine(PARTS, **({"rows": {"r": "target = '600'"}, "joints": JOINTS} | how))


def square(*names: str, at: float = 600) -> list[tuple]:
    return [(name, point, at) for name in names for point in ("entry", "mid", "exit")]


def flat(solution) -> str:
    return " ".join(door.text(solution, full=True).split())


# --- what was not read -----------------------------------------------------------------------------------------


def test_sections_that_were_not_measured_come_first():
    """One of four read and square: nothing to move of what was read, and no pass."""
    solution = solve(four(), readings(four(), square("b")))
    assert summary(solution) == (
        "Verdict: ?. Nothing of what was read to move, as far as this tape can tell. NOT JUDGED, since not read at "
        "two points: a, c, d (3 of 4)."
    )
    assert not solution.state.passes


@pytest.mark.parametrize(("tolerance", "passes"), [("3", True), ("0.01", False)])
def test_all_measured_passes_by_its_verdict(tolerance, passes):
    layout = four(tolerance=f"offset = '{tolerance}'\nsquare = '3'\nstep = '3'")
    assert solve(layout, readings(layout, square("a", "b", "c", "d", at=600.5))).state.passes is passes


def test_state_of_a_section_that_was_not_measured():
    """What is known of it: its row, and how often it was read."""
    solution = solve(four(), readings(four(), [*square("a"), ("b", "mid", 600)]))
    a, b, *_ = solution.state.sections
    assert b == SectionState(name="b", row="r", readings=1, dof=0, chi2=0.0)
    assert (a.readings, a.dof) == (3, 1)
    two = solve(four(), readings(four(), [("a", "entry", 600), ("a", "exit", 601)])).state.sections[0]
    # two points fit exactly: what is left over is nothing, not rounding
    assert (two.readings, two.dof, two.chi2) == (2, 0, 0.0)


def test_closing_reading_that_closes_nothing():
    rows = [(*row, "") for row in square("a", "b")] + [("c", "entry", "601", "close")]
    layout = four()
    solution = solve(layout, readings(layout, rows, header="section,point,reading,repeat"))
    said = "Closing readings with no opening one at their point check nothing: c, row 8: 601."
    assert said in doubts(solution)
    closed = [*rows[:-1], ("a", "entry", "600", "close")]
    solution = solve(layout, readings(layout, closed, header="section,point,reading,repeat"))
    assert not [line for line in doubts(solution) if "Closing" in line]


def test_target_is_said_to_come_from_what_was_measured():
    """Neither from the first section nor from all on hold, where these were not read."""
    parts = [part | {"hold": part["name"] in "ac"} for part in PARTS]
    for held, from_ in ((PARTS, "b"), (parts, "c")):
        layout = machine(held, rows={"r": ""})
        said = doubts(solve(layout, readings(layout, square("b", "c", "d"))))
        assert f"Row r has no target in the layout: its deviations are taken from {from_}." in said


# --- readings in the other unit --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("units", "target", "read", "other"), [("in", "18 3/8", "467", "mm"), ("mm", "467", "18.25", "in")]
)
def test_reading_in_the_other_unit_is_refused(units, target, read, other):
    layout = machine(
        [{"name": "a", "row": "r", "start": "0", "length": "18"}],
        units=units,
        tape="mark = '1/16 in'",
        rows={"r": f"target = '{target}'"},
    )
    with pytest.raises(
        InputError, match=f"'{read}' would be .* wanted. Write {other} behind it, or '# units: {other}'"
    ):
        readings(layout, [("a", "entry", read), ("a", "exit", read)])
    assert readings(layout, [("a", "entry", f"{read} {other}"), ("a", "exit", target)])
    assert readings(layout, [("a", "entry", read)], record=f"# units: {other}\n")
    # one among others is left to the flags
    assert readings(layout, [("a", "entry", read), ("a", "exit", target)])


# --- moves that rest on a doubted reading ----------------------------------------------------------------------


@pytest.fixture
def slip():
    """Five points a section tell which is wrong; b stands out of square besides, c and d are good."""
    parts = [part | {"points": [0, 100, 200, 300, 400]} for part in PARTS]
    layout = machine(parts, rows={"r": "target = '600'"}, joints=JOINTS)
    rows = [(s, p, 600 + (s == "b") * p / 40) for s in "abcd" for p in (0, 100, 200, 300, 400)]
    rows[6] = ("b", 100, 652.5)
    return layout, readings(layout, rows)


def test_what_was_misread_is_read_again_and_not_moved(slip):
    solution = solve(*slip)
    assert {f.section for f in solution.flags if f.harmful} == {"b"}
    assert {again.section for again in solution.read_again} == {"b"}
    assert "b" not in {step.section for step in solution.plan.steps}
    assert flat(solution).index("READ AGAIN FIRST") < flat(solution).index("HOW IT IS")


def test_dropped_reading_is_no_longer_in_the_way(slip):
    solution = solve(*slip, drop_strays=True)
    assert [r.text for r in solution.dropped] == ["652.5"]
    assert not any(again.why is Why.flagged for again in solution.read_again)


def test_second_doubt_of_a_section_outlives_the_first():
    """Repeats tell which entry reading is wrong; nothing tells mid from exit. The one is dropped, the other stands."""
    parts = [{"name": "a", "row": "r", "start": 0, "length": 400, "points": [0, 200, 400]}]
    layout = machine(parts, rows={"r": ""})
    rows = [("a", "entry", 600), ("a", "entry", 600), ("a", "entry", 660), ("a", "mid", 608), ("a", "exit", 600)]
    solution = solve(layout, readings(layout, rows), drop_strays=True)
    assert [r.text for r in solution.dropped] == ["660"]
    assert [f.section for f in solution.flags if f.flag == "stray"] == ["a", "a"]
    assert [(again.section, again.why) for again in solution.read_again] == [("a", Why.flagged)]


@pytest.mark.parametrize("close", ["600", "606"])
def test_string_that_moved_holds_up_every_move(close):
    rows = [(*row, "") for row in [*square("a", "c", "d"), *square("b", at=604)]]
    rows.append(("a", "entry", close, "close"))
    layout = four()
    solution = solve(layout, readings(layout, rows, header="section,point,reading,repeat"))
    wait = "Check the string first. These moves are right only if the string stays as it is."
    for text in (flat(solution), " ".join(render(checklist_page(solution), Degree.full).split())):
        assert (wait in text) is (close == "606")


# --- plans that are not the last word --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gaps", "said"),
    [
        ({"ends_gap": 2}, "Time ran out before this line was proved best: 2 bolt ends fewer may do."),
        (
            {"movement_gap": 1.5},
            "No line needs fewer bolt ends. Time ran out before the movement was proved least: 1.5 mm less in all "
            "may do.",
        ),
        (
            {"aim": Aim.least, "movement_gap": 1.5},
            "Time ran out before the movement was proved least: 1.5 mm less in all may do.",
        ),
        ({}, "Time ran out before this line was proved best."),
    ],
)
def test_plan_that_was_not_proved_best(gaps, said):
    layout = four()
    solution = solve(layout, readings(layout, [*square("a", "c", "d"), *square("b", at=606)]))
    plan = replace(solution.plan, optimal=False, **gaps)
    assert said in doubts(replace(solution, plan=plan))
    assert not [line for line in doubts(solution) if "Time ran out" in line]


def test_nothing_that_may_be_moved_would_help():
    parts = [part | {"hold": True} for part in PARTS]
    layout = machine(parts, rows={"r": "target = '600'"}, joints=JOINTS)
    solution = solve(layout, readings(layout, [*square("a", "c", "d"), *square("b", at=606)]))
    assert summary(solution) == "Verdict: OUT. Nothing that may be moved would help."
    assert "b, offset: 4.4 mm too far. Why: it is on hold." in flat(solution)


def test_string_without_a_section_is_not_spoken_of():
    rows = {"r": "target = '600'", "empty": "target = '600'"}
    layout = machine(PARTS, rows=rows)
    survey = readings(layout, [row for k, name in enumerate("abcd") for row in square(name, at=600 + 4 * k)])
    said = " ".join(doubts(solve_lines(layout, survey, LineChoice.fitted)[Line.fitted]))
    assert "Beside string r:" in said
    assert "empty" not in said


def test_how_many_points_nothing_checks():
    """All of two sections read once at their ends; of one read twice only the other's."""
    layout = machine([part | {"points": [0, 400]} for part in PARTS[:2]], rows={"r": "target = '600'"})
    once = [(name, end, 600) for name in "ab" for end in ("entry", "exit")]
    solution = solve(layout, readings(layout, once))
    assert any(said.startswith("All 4 points were read once and nothing checks them") for said in doubts(solution))
    some = doubts(solve(layout, readings(layout, [*once, ("a", "entry", 600), ("a", "exit", 600)])))
    assert any(said.startswith("2 of 4 points were read once and nothing checks them") for said in some)


def test_steps_that_were_not_checked_are_told_where_there_could_be_some():
    said = "The layout has no [[joint]]: steps from one section to the next were not checked."
    for count, joints, told in ((2, [], True), (1, [], False), (2, [("a", "b")], False)):
        layout = machine(PARTS[:count], rows={"r": "target = '600'"}, joints=joints)
        solution = solve(layout, readings(layout, square(*"ab"[:count])))
        assert (said in doubts(solution)) is told


def test_rows_of_what_was_not_read_say_so():
    rows = door.text(solve(four(), readings(four(), square("b")))).splitlines()
    said = {name: next(row for row in rows if row.startswith(f"  {name} ")) for name in "abcd"}
    assert {name for name, row in said.items() if "not measured enough" in row} == set("acd")
    assert "600" in said["b"]
