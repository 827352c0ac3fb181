"""Readings taken one by one: which are asked for where a file holds some already, and what each is held against."""

from __future__ import annotations

import pytest

from alignment.lengths import Units
from alignment.machine.entry import begin
from alignment.machine.plausible import Against, doubt
from alignment.machine.survey import Reading
from tests.tools.machines import machine

HEAD = "section,point,reading,repeat\n"


def asked(text: str | None, repeats: int = 2) -> list[tuple[str, float, int]]:
    """What one section of 450 is asked for, in turn, from a file on."""
    layout = machine([{"name": "a", "row": "a", "start": "0", "length": "450"}], rows={"a": "target = '467'"})
    entry, found = begin(layout, text, "survey.csv", repeats=repeats), []
    while entry.at < len(entry.asks):
        ask = entry.asks[entry.at]
        found.append((ask.section, ask.place, ask.repeat))
        entry = entry.accept(entry.read("467", ""))
    return found


EVERY = [("a", 0.0, 1), ("a", 450.0, 1), ("a", 0.0, 2), ("a", 450.0, 2), ("a", 0.0, 0)]


@pytest.mark.parametrize(
    ("rows", "held"),
    [
        ([], []),
        (["a,entry,467,"], [("a", 0.0, 1)]),
        (["a,entry,467,1"], [("a", 0.0, 1)]),
        (["a,entry,467,2"], [("a", 0.0, 2)]),
        (["a,exit,467,2", "a,exit,467,1"], [("a", 450.0, 1), ("a", 450.0, 2)]),
        (["a,entry,467,", "a,entry,467,"], [("a", 0.0, 1), ("a", 0.0, 2)]),
    ],
)
def test_what_a_file_holds_is_not_asked_for_again(rows, held):
    """Every point twice, then the first one again; a reading is the repeat that its row says, else the next."""
    text = HEAD + "".join(f"{row}\n" for row in rows) if rows else None
    assert asked(text) == [ask for ask in EVERY if ask not in held]


def reading(section: str, place: float, value: float, **more: object) -> Reading:
    return Reading(section=section, place=place, value=value, u=0.5, text=f"{value:g}", row=1, **more)


def row_of_three():
    parts = [{"name": f"s{k}", "row": "a", "start": str(500 * k), "length": "450"} for k in range(3)]
    return machine(parts, rows={"a": ""})


def test_a_first_reading_is_held_against_the_one_taken_nearest_along_the_machine():
    """At 900: 100 from the next section's entry end, 500 from the last one's exit end. Each says 40 else."""
    before = [reading("s0", 400.0, 600.0), reading("s2", 0.0, 640.0)]
    assert doubt(row_of_three(), before, reading("s1", 400.0, 640.0), Units.mm) is None
    found = doubt(row_of_three(), before, reading("s1", 400.0, 600.0), Units.mm)
    assert found is not None
    assert (found.against, found.off, found.other) == (Against.section, pytest.approx(-40), before[1])
    found = doubt(row_of_three(), before, reading("s1", 0.0, 640.0), Units.mm)
    assert found is not None
    assert (found.off, found.other) == (pytest.approx(40), before[0])


@pytest.mark.parametrize(("times", "doubted"), [(0.98, False), (1.02, True)])
def test_a_closing_reading_is_held_against_the_mean_of_the_first_ones(times, doubted):
    """Three standard uncertainties of their difference: u of one, and u over the root of two."""
    before = [reading("s0", 0.0, 600.0), reading("s0", 0.0, 601.0)]
    off = times * 3 * 0.5 * (1 + 1 / 2) ** 0.5
    found = doubt(row_of_three(), before, reading("s0", 0.0, 600.5 + off, closing=True), Units.mm)
    assert (found is not None) == doubted
