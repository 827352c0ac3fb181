"""The cheapest way to settle an unsure verdict: it settles it, and what is read now does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from alignment.machine.layout_file import read_layout
from alignment.machine.survey import Reading, Survey
from alignment.machine.survey_files import read_survey
from alignment.show.words.phrases import in_list
from alignment.train.settling import AT_THE_LIMIT, Way, ways_to_settle
from alignment.train.solve import Solution, solve
from alignment.uncertainty import reading_u
from tests.tools.machines import machine, readings

TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0'"


def section(deviation: float, tolerance: float, *, tape: str = TAPE, repeats: int = 1) -> Solution:
    """One section, both ends off by so much, judged against an offset tolerance. [mm]"""
    layout = machine(
        [{"name": "a-1", "row": "a", "start": "0", "length": "450"}],
        tape=tape,
        tolerance=f"offset = '{tolerance}'\nsquare = '50'",
        rows={"a": "target = '600'"},
    )
    read = [("a-1", point, 600 + deviation) for point in ("entry", "exit") for _ in range(repeats)]
    return solve(layout, readings(layout, read))


def ways(solution: Solution) -> dict[Way, list[str]]:
    return ways_to_settle(solution.train, solution.state)


def once_more(solution: Solution, way: Way) -> Solution:
    """The same estimates, from a survey read in that way."""
    layout, train = solution.layout, solution.train
    repeats, tape = way.repeats, solution.survey.tape
    if way.mark is not None:
        tape = replace(tape, mark=way.mark)
    again = []
    for i, s in enumerate(layout.sections):
        for place in s.points:
            value = float(train.reading_at(s.start + place)[i])
            u = float(reading_u(value, mark=tape.mark, set_u=tape.set_u, tilt=tape.tilt))
            again += [Reading(section=s.name, place=place, value=value, u=u, text="", row=0)] * repeats
    return solve(layout, Survey(source="again", readings=tuple(again), tape=tape, record={}))


@pytest.mark.parametrize("name", ["as-found", "before-move", "inch-slip"])
def test_ways_settle_the_samples(samples, name):
    """Read again as told, with the estimates standing: every section named is sure, as none was before."""
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / f"{name}.csv", layout))
    unsure = {s.name for s in solution.state.sections if not s.verdict.sure}
    told = ways(solution)
    assert sorted(n for names in told.values() for n in names) == sorted(unsure)
    for way, names in told.items():
        if way == AT_THE_LIMIT:
            continue
        after = {s.name: s for s in once_more(solution, way).state.sections}
        assert all(after[n].verdict.sure for n in names), way


def test_sure_verdicts_need_nothing():
    assert ways(section(0, 5)) == {}
    assert ways(section(10, 5)) == {}


def test_another_reading_is_cheapest():
    """U of one reading is 2 sqrt(1/12 + 0.16) = 0.99; of two 0.7: a margin of 0.8 is settled by a second reading."""
    assert ways(section(0, 0.8)) == {Way(2): ["a-1"]}


def test_more_readings_where_two_are_not_enough():
    """U of three readings is 0.57 and a little for what their rounding has in common: a margin of 0.6."""
    assert ways(section(0, 0.6)) == {Way(3): ["a-1"]}


def test_finer_marks_where_the_marks_are_what_is_in_the_way():
    """Placing 0.1 and marks of 1 mm: repeats meet the same mark; half-millimetre marks have U 0.35."""
    (way,) = ways(section(0, 0.4, tape=TAPE.replace("0.4", "0.1")))
    assert way == Way(1, 0.5)


def test_on_the_limit():
    """An estimate right at its limit is settled by nothing."""
    assert ways(section(1.6, 1.6)) == {AT_THE_LIMIT: ["a-1"]}


def test_zero_does_not_shrink():
    """A zero whose U alone is beyond the margin: no number of readings helps."""
    (way,) = ways(section(0, 1.5, tape=TAPE.replace("zero = '0'", "zero = '0.8'")))
    assert way == AT_THE_LIMIT


def test_what_was_read_often_is_to_be_read_more_often():
    (way,) = ways(section(0, 0.5, repeats=3))
    assert way.repeats >= 3
    assert way != Way(3)


def test_not_measured_sections_are_not_among_them():
    layout = machine(
        [{"name": f"a-{k}", "row": "a", "start": str(500 * k), "length": "450"} for k in (0, 1)],
        tape=TAPE,
        tolerance="offset = '0.8'\nsquare = '50'",
        rows={"a": "target = '600'"},
    )
    solution = solve(layout, readings(layout, [("a-0", "entry", 600), ("a-0", "exit", 600), ("a-1", "exit", 600)]))
    assert [name for names in ways(solution).values() for name in names] == ["a-0"]


def test_lines_in_the_full_answer(run, samples):
    """One line a way, each with the sections that it settles, after how everything is and the moves."""
    out = run("solve", samples / "machine.toml", samples / "as-found.csv", "--full").out
    flat = " ".join(out.split())
    layout = read_layout(samples / "machine.toml")
    told = ways(solve(layout, read_survey(samples / "as-found.csv", layout)))
    assert told
    for names in told.values():
        assert f"{in_list(names)}: at the limit." in flat or f"Not proved with this tape: {in_list(names)}." in flat
    assert flat.index("HOW IT IS") < flat.index("should settle ")


def test_cheapest_way_comes_first(samples):
    """Another reading before finer marks before many readings; what nothing settles last."""
    layout = read_layout(samples / "machine.toml")
    told = list(ways(solve(layout, read_survey(samples / "as-found.csv", layout))))
    assert AT_THE_LIMIT not in told[:-1]
    plain = [way.repeats for way in told if way.mark is None and way.repeats <= 3]
    assert told[: len(plain)] == [Way(n) for n in sorted(plain)]


@pytest.mark.parametrize(("entry", "exit_", "settled"), [(1.5, 0.0, True), (0.0, 1.5, False)])
def test_what_readings_cannot_settle_is_that_of_the_worse_end(monkeypatch, entry, exit_, settled):
    """The string's doubt is nothing at the entry end and large at the exit end: it counts where the worse end is."""
    layout = machine(
        [{"name": "a-1", "row": "a", "start": "0", "length": "450"}],
        tape=TAPE,
        tolerance="offset = '0.8'\nsquare = '50'",
        rows={"a": "target = '600'"},
    )
    solution = solve(layout, readings(layout, [("a-1", "entry", 600 + entry), ("a-1", "exit", 600 + exit_)]))
    train = solution.train
    middle = train.middle[0]
    monkeypatch.setattr(type(train), "shared_u", lambda _, x: np.where(np.asarray(x) < middle, 0.0, 0.5))
    (way,) = ways(solution)
    assert (way != AT_THE_LIMIT) is settled


def test_ways_are_told_from_the_cheapest():
    """Two sections: the first takes many readings, the second one more; the second's way is told first."""
    layout = machine(
        [{"name": f"a-{k}", "row": "a", "start": str(500 * k), "length": "450"} for k in (1, 2, 3)],
        tape=TAPE,
        tolerance="offset = '1.6'\nsquare = '50'",
        rows={"a": "target = '600'"},
    )
    read = [("a-1", 601.6), ("a-2", 601.05), ("a-3", 600.8)]
    solution = solve(layout, readings(layout, [(name, end, at) for name, at in read for end in ("entry", "exit")]))
    told = ways(solution)
    assert next(iter(told.values())) == ["a-3"]
    assert list(told.values())[-1] == ["a-1"]
    assert list(told)[-1] == AT_THE_LIMIT


@pytest.mark.parametrize(
    ("margin", "way"),
    [(0.45, Way(5)), (0.36, Way(8)), (0.32, Way(8, 0.5))],
)
def test_many_readings_where_nothing_less_will_do(margin, way):
    """
    By hand, u^2 of one reading 1/12 + 0.16 = 0.243: U of 3, 5 and 8 is 0.57, 0.44 and 0.35.

    With marks of half a millimetre 1/48 + 0.16 = 0.181: U of 3 is 0.49, of 8 it is 0.30.
    """
    assert ways(section(0, margin)) == {way: ["a-1"]}


@pytest.mark.parametrize(("margin", "way"), [(1.0, Way(2)), (0.8, Way(3, 0.5))])
def test_what_does_not_shrink_stays_whole(margin, way):
    """
    By hand, a zero of 0.3 beside 0.243 of a reading: U of 2 is 2 sqrt(0.09 + 0.122) = 0.92, of 3 it is 0.83.

    Three with marks of half a millimetre: 2 sqrt(0.09 + 0.060) = 0.78; one of them 1.04.
    """
    assert ways(section(0, margin, tape=TAPE.replace("zero = '0'", "zero = '0.3'"))) == {way: ["a-1"]}


def test_three_readings_to_the_millimetre_are_no_case_at_the_limit():
    """By hand: marks of 2 and placing 0.5 have U 0.91 of three readings; marks of 1 mm 2 sqrt(0.333 / 3) = 0.67."""
    tape = "mark = '2'\nset = '0.5'\ntilt = 0\nzero = '0'"
    (way,) = ways(section(0, 0.75, tape=tape))
    assert way == Way(3, 1.0)
    assert way != AT_THE_LIMIT
