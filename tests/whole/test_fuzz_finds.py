"""What fuzzing found, and what must come of it."""

from __future__ import annotations

import re
import time

import pytest

from alignment.errors import InputError, LengthError
from alignment.lengths import Units, parse
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey_text import parse_survey
from alignment.settings.settings_file import parse_settings
from alignment.train.work.next_act import next_act
from tests.tools.reader_oracles import LAYOUT, check_panel, check_settings, small_layout


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
    ("where", "said"),
    [
        ("# mark: {}\nsection,point,reading\nop-1,entry,18\n", "less than 0.001 mm"),
        ("section,entry,u\nop-1,18,{}\n", "greater than zero"),
    ],
)
def test_a_mark_or_uncertainty_too_fine_for_its_square_is_nothing(where, said):
    with pytest.raises(InputError, match=said):
        parse_survey(where.format(f"0.{'0' * 50}1"), small_layout())


def test_a_mark_that_would_make_stops_without_end():
    """With marks of a ten millionth of an inch the next act was sought among millions of stops, in gigabytes."""
    log = "# mark: {}\nsection,point,reading\nop-1,entry,18 3/8\nop-1,exit,18 9/16\n"
    with pytest.raises(InputError, match=r"'0\.0000001' is less than 0.001 mm, as no mark is"):
        parse_survey(log.format("0.0000001"), small_layout())
    text = LAYOUT.replace('mark = "1/16"', 'mark = "0.0000001"')
    with pytest.raises(InputError, match=r"\[tape\] mark: '0.0000001' is less than 0.001 mm, as no mark is"):
        parse_layout(text, "machine.toml")
    with pytest.raises(InputError, match=r"\[tape\] mark: '2' is more than 1/2 in, as no tape has"):
        parse_layout(LAYOUT.replace('mark = "1/16"', 'mark = "2"'), "machine.toml")
    # the finest that is taken still has an end
    layout = small_layout()
    began = time.process_time()
    found = next_act(layout, parse_survey(log.format("0.001 mm"), layout, begun=True))
    assert found.act is not None
    assert time.process_time() - began < 5


def test_a_panel_may_be_called_by_any_word(samples):
    """A name that looks like a missing number is none."""
    text = (samples / "tray.toml").read_text(encoding="utf-8")
    assert check_panel(re.sub("^name = .*", 'name = "nan"', text, flags=re.MULTILINE))
