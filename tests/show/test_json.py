"""Numbers for other programs: units, rounding, what is not known, and where lines were compared."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from alignment.choices import Line
from alignment.lengths import Units
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show.json.comparison import known
from alignment.show.json.lengths import Lengths
from alignment.show.json.solution import lines_json
from alignment.show.tables.solution import as_tables
from alignment.train.solve import solve


def test_lengths_are_rounded_to_a_millionth_and_nothing_has_no_sign():
    inches = Lengths(Units.inch)
    assert inches(1.0) == 0.03937
    assert inches(10.0) == 0.393701
    assert math.copysign(1, inches(-0.0)) == math.copysign(1, inches(-1e-9)) == 1
    assert inches.or_none(None) is None
    assert inches.or_none(math.nan) is None
    assert inches.or_none(25.4) == 1.0


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (1.0, math.nan), (math.nan, math.nan)])
def test_a_value_without_its_uncertainty_is_not_known(value, u):
    assert known(Lengths(Units.mm), value, u) == {"value": None, "u": None}
    assert known(Lengths(Units.mm), 2.0, 1.0) == {"value": 2.0, "u": 1.0}


def test_lines_stand_beside_each_other_where_there_are_several(samples):
    layout = read_layout(samples / "machine.toml")
    survey = read_survey(samples / "as-left.csv", layout)
    one, other = list(Line)[:2]
    solution = solve(layout, survey)
    assert "lines" not in lines_json({one: solution})
    both = lines_json({one: solution, other: solution})["lines"]
    assert [line["line"] for line in both] == [one, other]


@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_a_table_of_sections_has_no_more_than_was_measured(samples, suffix):
    """Numbers of those read at two points, in the layout's units; of others only how often they were read."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    survey = read_survey(samples / f"as-left{suffix}.csv", layout)
    lone, place = survey.readings[0].section, survey.readings[0].place
    kept = [r for r in survey.readings if r.section != lone or r.place == place]
    solution = solve(layout, replace(survey, readings=tuple(kept)))
    rows = as_tables(solution)["sections"]
    for s in solution.state.sections:
        row = rows.loc[s.name]
        assert row["readings"] == s.readings
        if s.name == lone:
            assert math.isnan(row["offset"])
        else:
            assert row["offset"] == pytest.approx(layout.units.of(s.offset.value))
            assert row["U skew"] == pytest.approx(layout.units.of(s.skew.expanded))
