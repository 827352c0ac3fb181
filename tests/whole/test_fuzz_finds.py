"""What fuzzing found, and what must come of it."""

from __future__ import annotations

import re

import pytest

from alignment.errors import InputError, LengthError
from alignment.lengths import Units, parse
from alignment.machine.survey_text import parse_survey
from alignment.settings.settings_file import parse_settings
from tests.tools.reader_oracles import check_panel, check_settings, small_layout


@pytest.mark.parametrize("text", ["0 ft, 1", "2 ft,3 in", "2', 3", "18 in,", "467 mm,"])
def test_a_comma_behind_a_unit_is_no_decimal_point(text):
    """It was read as the point of an abbreviation, or as that of a decimal: 2 ft 3 in or 2 ft 0.3 in."""
    with pytest.raises(LengthError, match="a comma stands behind the unit"):
        parse(text, Units.inch)


@pytest.mark.parametrize("mark", ["1e-300", '"0.0000001 mm"'])
def test_a_mark_too_fine_for_its_square_is_nothing(samples, mark):
    """Readings that differ were divided by an uncertainty of 0."""
    text, count = re.subn('mark = "0.00\\d"', f"mark = {mark}", (samples / "settings.toml").read_text(encoding="utf-8"))
    assert count
    with pytest.raises(InputError, match="is not more than nothing"):
        parse_settings(text)
    assert not check_settings(text)


@pytest.mark.parametrize(
    "where", ["# mark: {}\nsection,point,reading\nop-1,entry,18\n", "section,entry,u\nop-1,18,{}\n"]
)
def test_a_mark_or_uncertainty_too_fine_for_its_square_is_nothing(where):
    with pytest.raises(InputError, match="greater than zero"):
        parse_survey(where.format(f"0.{'0' * 50}1"), small_layout())


def test_a_panel_may_be_called_by_any_word(samples):
    """A name that looks like a missing number is none."""
    text = (samples / "tray.toml").read_text(encoding="utf-8")
    assert check_panel(re.sub("^name = .*", 'name = "nan"', text, flags=re.MULTILINE))
