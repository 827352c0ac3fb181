"""Lines at the head of a survey that say with what tape, and in what units, it was read."""

from __future__ import annotations

import pytest

from alignment.errors import InputError
from alignment.machine.survey_text import parse_survey
from tests.tools.machines import machine

IN = 25.4
ROWS = "section,point,reading\na,entry,18 3/8 in\na,exit,18 3/8 in\n"


def taken(*lines: str, strong_shy: bool = False):
    """A survey of one section on a layout in inches, under these lines of a record."""
    tape = f"mark = '1/16'\nset = '1/64'\ntilt = 0\nzero = '1/64'\nstrong_shy = {str(strong_shy).lower()}"
    section = {"name": "a", "row": "r", "start": "0", "length": "15"}
    layout = machine([section], units="in", tape=tape, rows={"r": "target = '18 3/8'"})
    return parse_survey("".join(f"# {line}\n" for line in lines) + ROWS, layout)


@pytest.mark.parametrize("lines", [("mark: 1", "set: 0.3", "units: mm"), ("units: mm", "set: 0.3", "mark: 1")])
def test_bare_lengths_are_in_the_records_units_wherever_it_tells_them(lines):
    tape = taken(*lines).tape
    assert (tape.mark, tape.set_u, tape.zero) == (1.0, 0.3, pytest.approx(IN / 64))


@pytest.mark.parametrize(("word", "said"), [("true", True), ("yes", True), ("false", False), ("no", False)])
@pytest.mark.parametrize("layouts", [True, False])
def test_whether_strong_and_shy_are_told(word, said, layouts):
    assert taken(f"strong_shy: {word}", strong_shy=layouts).tape.strong_shy is said


@pytest.mark.parametrize("line", ["mark: 1/16+", "set: -1/64", "zero: -1/64", "zero: 1/64-", "mark: -1/16"])
def test_what_no_tape_has(line):
    """A mark is not strong or shy of one, and no uncertainty is less than nothing."""
    with pytest.raises(InputError) as error:
        taken(line)
    (problem,) = error.value.problems
    assert str(problem.where).endswith(f"# {line.partition(':')[0]}")
