"""A tape's accuracy class as a named choice for its zero, in a layout file."""

from __future__ import annotations

import pytest

from alignment.errors import InputError, LengthError
from alignment.instruments import check_mark
from alignment.machine.layout_file import parse_layout
from tests.tools.machines import layout_text

SECTION = [{"name": "a-1", "row": "a", "start": "0", "length": "450"}]


def tape(body: str, units: str = "mm", target: str = "466.725 mm"):
    section = [{**SECTION[0], "length": "450 mm"}]
    return parse_layout(layout_text(section, units=units, tape=body, rows={"a": f"target = '{target}'"})).tape


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize(("name", "zero"), [("I", 0.3), ("II", 0.7), ("III", 1.3)])
def test_class_stands_for_a_zero(units, name, zero):
    """From a hook over less than a metre, MI-008 gives 0.1 + 0.1 + 0.1, 0.3 + 0.2 + 0.2 and 0.6 + 0.4 + 0.3 mm."""
    assert tape(f"class = '{name}'", units).zero == pytest.approx(zero / 3**0.5, abs=1e-9)


def test_class_goes_by_the_longest_target():
    """2.3 m counts as three metres: class II has 0.3 + 3 x 0.2 + 0.2 = 1.1 mm."""
    assert tape("class = 'II'", target="2300 mm").zero == pytest.approx(1.1 / 3**0.5, abs=1e-9)


def test_class_and_zero_together_are_an_error():
    with pytest.raises(InputError, match="Give the class or the zero, not both"):
        tape("class = 'II'\nzero = '0.4'")


def test_unknown_class_is_an_error():
    with pytest.raises(InputError, match="class"):
        tape("class = 'IV'")


def test_zero_of_its_own_without_a_class():
    assert tape("zero = '0.25'").zero == pytest.approx(0.25)


def test_how_coarse_a_mark_may_be():
    """Half an inch; no tape has coarser ones that anyone reads."""
    assert check_mark(12.7, "1/2") == 12.7
    with pytest.raises(LengthError, match="more than 1/2 in"):
        check_mark(12.8, "12.8 mm")
