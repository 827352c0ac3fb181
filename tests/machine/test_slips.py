"""Usual slips of reading a tape: named where one fits and no other."""

from __future__ import annotations

import pytest

from alignment.lengths import Units, parse
from alignment.machine.slips import LikelySlip, SlipKind, likely_slip, tape_units
from alignment.show.words.slips import slip_words

IN = 25.4


def hint(text: str, slip: str, u: float = 0.02, units: Units = Units.inch) -> str:
    """Hint for a reading that is too long by so much; ``u`` in the unit."""
    size = float(units.size)
    value, by = float(parse(text, units)), float(parse(slip, units, signed=True))
    found = likely_slip(text, value, by, u * size, units)
    return slip_words(found) if found else ""


@pytest.mark.parametrize(
    ("text", "slip", "said"),
    [
        ("19 3/8", "1", "a whole inch too much"),
        ("17 3/8", "-1", "a whole inch too little"),
        ("30 3/8", "12", "a whole foot too much"),
        ("18 7/8", "1/2", "a half inch too much"),
        ("18 1/8", "-1/4", "a quarter inch too little"),
        ("18 1/2", "1/8", "an eighth too much"),
        ("18 5/16", "-1/16", "a sixteenth too little"),
        ("19 3/8", "1.03", "a whole inch too much"),
        ("81 3/8", "63", "two digits changed places"),
        ("36 1/2", "-27", "two digits changed places"),
    ],
)
def test_slips_in_inches(text, slip, said):
    u = 0.005 if "sixteenth" in said or "eighth" in said else 0.02
    assert hint(text, slip, u) == said


@pytest.mark.parametrize(
    ("text", "slip", "said"),
    [
        ("567", "100", "100 mm too much"),
        ("457", "-10", "10 mm too little"),
        ("647", "180", "two digits changed places"),
        ("172.5", "-540", "two digits changed places"),
    ],
)
def test_slips_in_millimetres(text, slip, said):
    assert hint(text, slip, 0.4, Units.mm) == said


def test_nothing_fits():
    assert hint("18 3/8", "3/4") == ""
    assert hint("467", "33", 0.4, Units.mm) == ""


def test_more_than_one_thing_fits():
    """A sixteenth or an eighth, with a tape that cannot tell them apart: no hint."""
    assert hint("18 7/16", "1/16", 0.03) == ""
    # 486 for 468 is too long by 18, and 20 mm too much is as near
    assert hint("486", "18", 1.0, Units.mm) == ""


def test_too_far_from_any_slip():
    """Beyond 2.5 standard uncertainties of it."""
    assert hint("19 3/8", "1.04") == "a whole inch too much"
    assert hint("19 3/8", "1.06") == ""


@pytest.mark.parametrize("text", ["18 3/8+", "1' 6 3/8\"", "5/8", "0.625", "7/8", "18,5", "18 3/8 in", "467 mm"])
@pytest.mark.parametrize("units", list(Units))
def test_any_text_that_can_be_a_reading(text, units):
    """No text, in either unit, stops the search for changed digits."""
    assert isinstance(likely_slip(text, 466.725, 3.0, 0.4, units), LikelySlip | None)


@pytest.mark.parametrize(
    ("mark", "units"),
    [
        *((IN / n, Units.inch) for n in (2, 4, 8, 16, 32, 64, 10, 20, 100)),
        *((mark, Units.mm) for mark in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)),
    ],
)
def test_tape_is_known_by_its_marks(mark, units):
    assert tape_units(mark) is units


@pytest.mark.parametrize(("inches", "said"), [
    (12, "a whole foot too much"), (-2, "two inches too little"), (1, "a whole inch too much"),
    (0.5, "a half inch too much"), (0.25, "a quarter inch too much"), (-0.125, "an eighth too little"),
    (0.0625, "a sixteenth too much"), (10 / 25.4, "10 mm too much"),
])  # fmt: skip
def test_a_slip_has_the_name_of_its_length(inches, said):
    assert slip_words(LikelySlip(kind=SlipKind.length, size=inches * 25.4)) == said
