"""What stands on a drawing: which rows, what is out, and what a string did in between."""

from __future__ import annotations

import pytest

from alignment.change.comparison import compare
from alignment.show.words.pictures import comparison_key, hung_words, rows_words, verdict_title
from alignment.train.solve import solve
from tests.tools.machines import machine, readings

SECTIONS = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 400} for k in range(5)]
FINE = "mark = '0.1'\nset = '0.02'\ntilt = 0\nzero = '0.02'"


@pytest.fixture
def layout():
    return machine(SECTIONS, rows={"r": "target = '600'"}, tape=FINE)


def survey(layout, entry: float = 600, slope: float = 0.0, **off: float):
    """All sections read alike but for a slope of the string, and some that are off at both ends."""
    rows = [
        (s.name, end, entry + off.get(s.name, 0.0) + slope * (s.start + place))
        for s in layout.sections
        for end, place in (("entry", 0), ("exit", 400))
    ]
    return readings(layout, rows)


def test_rows_are_named_from_the_top():
    end = "The entry end of the machine is at the left."
    assert rows_words(["operator"]) == f"Row operator. {end}"
    assert rows_words(["operator", "drive"]) == f"From the top: row operator, row drive. {end}"


def test_a_title_names_what_is_out_or_counts_it(layout):
    good = solve(layout, survey(layout))
    assert verdict_title(good.state, ["r"], 40) == "Every section in tolerance"
    bad = solve(layout, survey(layout, s1=5.0, s3=-5.0))
    assert verdict_title(bad.state, ["r"], 40) == "Out: s1, s3"
    assert verdict_title(bad.state, ["r"], 10) == "2 of 5 sections out"
    assert verdict_title(bad.state, [], 40).startswith("Every section in tolerance")


def test_what_a_string_did_is_told_with_its_signs(layout):
    """Hung farther off by 10 mm at its entry and 12 mm at its exit, 2400 mm on; and hung as before."""
    anew = compare(layout, survey(layout), survey(layout, 610, 2 / 2400))
    assert "Solid: in the second, less what the string did in between. " in comparison_key(anew)
    assert "hung +10.0 at the entry, +12.0 at the exit (+ farther off)" in hung_words(anew, "r")
    same = compare(layout, survey(layout), survey(layout), same_string=True)
    assert "Solid: in the second. " in comparison_key(same)
    assert "hung" not in hung_words(same, "r")
