"""The cheapest way to settle an unsure verdict: it settles it, and what is read now does not."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from alignment.lengths import parse
from alignment.machine.layout_file import read_layout
from alignment.machine.survey import Reading, Survey
from alignment.machine.survey_files import read_survey
from alignment.train.settling import ON_THE_LIMIT, ways_to_settle
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
        rows={"a": "target = '700'"},
    )
    read = [("a-1", point, 700 + deviation) for point in ("entry", "exit") for _ in range(repeats)]
    return solve(layout, readings(layout, read))


def ways(solution: Solution) -> dict[str, list[str]]:
    return ways_to_settle(solution.train, solution.state)


def once_more(solution: Solution, way: str) -> Solution:
    """The same estimates, from a survey read in a way that is told in words."""
    layout, train = solution.layout, solution.train
    found = re.fullmatch(r"read (once|(\d+) times) at each point(?:, with (.+) (?:in|mm) marks)?", way)
    assert found, way
    repeats = int(found[2] or 1)
    tape = solution.survey.tape
    if found[3]:
        tape = replace(tape, mark=float(parse(found[3], layout.units)))
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
        if way == ON_THE_LIMIT:
            continue
        after = {s.name: s for s in once_more(solution, way).state.sections}
        assert all(after[n].verdict.sure for n in names), way


def test_sure_verdicts_need_nothing():
    assert ways(section(0, 5)) == {}
    assert ways(section(10, 5)) == {}


def test_another_reading_is_cheapest():
    """U of one reading is 2 sqrt(1/12 + 0.16) = 0.99; of two 0.7: a margin of 0.8 is settled by a second reading."""
    assert ways(section(0, 0.8)) == {"read 2 times at each point": ["a-1"]}


def test_more_readings_where_two_are_not_enough():
    """U of three readings is 0.57 and a little for what their rounding has in common: a margin of 0.6."""
    assert ways(section(0, 0.6)) == {"read 3 times at each point": ["a-1"]}


def test_finer_marks_where_the_marks_are_what_is_in_the_way():
    """Placing 0.1 and marks of 1 mm: repeats meet the same mark; half-millimetre marks have U 0.35."""
    (way,) = ways(section(0, 0.4, tape=TAPE.replace("0.4", "0.1")))
    assert way == "read once at each point, with 0.5 mm marks"


def test_on_the_limit():
    """An estimate right at its limit is settled by nothing."""
    assert ways(section(1.6, 1.6)) == {ON_THE_LIMIT: ["a-1"]}


def test_zero_does_not_shrink():
    """A zero whose U alone is beyond the margin: no number of readings helps."""
    (way,) = ways(section(0, 1.5, tape=TAPE.replace("zero = '0'", "zero = '0.8'")))
    assert way == ON_THE_LIMIT


def test_what_was_read_often_is_to_be_read_more_often():
    (way,) = ways(section(0, 0.5, repeats=3))
    assert int(re.search(r"(\d+) times", way)[1]) >= 3
    assert way != "read 3 times at each point"


def test_not_measured_sections_are_not_among_them():
    layout = machine(
        [{"name": f"a-{k}", "row": "a", "start": str(500 * k), "length": "450"} for k in (0, 1)],
        tape=TAPE,
        tolerance="offset = '0.8'\nsquare = '50'",
        rows={"a": "target = '700'"},
    )
    solution = solve(layout, readings(layout, [("a-0", "entry", 700), ("a-0", "exit", 700), ("a-1", "exit", 700)]))
    assert [name for names in ways(solution).values() for name in names] == ["a-0"]


def test_lines_in_the_answer(run, samples):
    """One line a way, each with the sections that it settles, after the sections and the moves."""
    out = run("solve", samples / "machine.toml", samples / "as-found.csv").out
    flat = " ".join(out.split())
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "as-found.csv", layout))
    told = ways(solution)
    assert told
    for way, names in told.items():
        lead = "" if way == ON_THE_LIMIT else "To settle "
        rest = "" if way == ON_THE_LIMIT else ", if it comes out the same again"
        assert flat.count(f"{lead}{', '.join(names)}{rest}: {way}.") == 1
    assert flat.index("WHERE EVERYTHING STANDS") < flat.index("To settle")


def test_cheapest_way_comes_first(samples):
    """Another reading before finer marks before many readings."""
    layout = read_layout(samples / "machine.toml")
    told = list(ways(solve(layout, read_survey(samples / "as-found.csv", layout))))
    cost = [(3 if way == ON_THE_LIMIT else "marks" in way, "5" in way or "8" in way) for way in told]
    assert cost == sorted(cost, key=lambda c: (c[0] == 3,))
    assert np.all([way == ON_THE_LIMIT or way.startswith("read") for way in told])


@pytest.mark.parametrize(("entry", "exit_", "settled"), [(1.5, 0.0, True), (0.0, 1.5, False)])
def test_what_readings_cannot_settle_is_that_of_the_worse_end(monkeypatch, entry, exit_, settled):
    """The string's doubt is nothing at the entry end and large at the exit end: it counts where the worse end is."""
    layout = machine(
        [{"name": "a-1", "row": "a", "start": "0", "length": "450"}],
        tape=TAPE,
        tolerance="offset = '0.8'\nsquare = '50'",
        rows={"a": "target = '700'"},
    )
    solution = solve(layout, readings(layout, [("a-1", "entry", 700 + entry), ("a-1", "exit", 700 + exit_)]))
    train = solution.train
    middle = train.middle[0]
    monkeypatch.setattr(type(train), "shared_u", lambda _, x: np.where(np.asarray(x) < middle, 0.0, 0.5))
    (way,) = ways(solution)
    assert (way != ON_THE_LIMIT) is settled


def test_ways_are_told_from_the_cheapest():
    """Two sections: the first takes many readings, the second one more; the second's way is told first."""
    layout = machine(
        [{"name": f"a-{k}", "row": "a", "start": str(500 * k), "length": "450"} for k in (1, 2, 3)],
        tape=TAPE,
        tolerance="offset = '1.6'\nsquare = '50'",
        rows={"a": "target = '700'"},
    )
    read = [("a-1", 701.6), ("a-2", 701.05), ("a-3", 700.8)]
    solution = solve(layout, readings(layout, [(name, end, at) for name, at in read for end in ("entry", "exit")]))
    told = ways(solution)
    assert next(iter(told.values())) == ["a-3"]
    assert list(told.values())[-1] == ["a-1"]
    assert list(told)[-1] == ON_THE_LIMIT
