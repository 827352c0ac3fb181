"""
NIST Statistical Reference Datasets, linear regression, Norris: 36 points, certified to fifteen digits.

Exact algebra: agreement to nine digits. The data are in data/norris.csv.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import alignment
from alignment.fitting.lines import fit_line
from tests.tools.machines import layout_text, survey_text

TABLE = Path(__file__).parent / "data" / "norris.csv"
Y, X = np.loadtxt(TABLE, delimiter=",", skiprows=2).T

INTERCEPT, U_INTERCEPT = -0.262323073774029, 0.232818234301152
SLOPE, U_SLOPE = 1.00211681802045, 0.429796848199937e-3
RESIDUAL_SD = 0.884796396144373
RESIDUAL_SQUARES = 26.6173985294224


def test_line():
    """Certified parameters, standard deviations and residual sum of squares."""
    line = fit_line(X, Y, u=RESIDUAL_SD)
    assert line.dof[0] == 34
    assert line.at(0.0)[0] == pytest.approx(INTERCEPT, rel=1e-9)
    assert line.u_at(0.0)[0] == pytest.approx(U_INTERCEPT, rel=1e-9)
    assert line.slope[0] == pytest.approx(SLOPE, rel=1e-9)
    assert np.sqrt(line.slope_var[0]) == pytest.approx(U_SLOPE, rel=1e-9)
    assert line.chi2[0] * RESIDUAL_SD**2 == pytest.approx(RESIDUAL_SQUARES, rel=1e-9)


def test_as_a_section_through_the_program(tmp_path):
    """The same points as readings on a section of 1000 mm whose target is nothing: its entry end is the intercept."""
    section = {"name": "norris", "row": "only", "start": "0", "length": "1000"}
    layout = layout_text([section], tape="tilt = 0\nzero = '0'", rows={"only": "target = '0'"})
    written = [line.split(",") for line in TABLE.read_text().splitlines()[2:]]
    rows = [("norris", x, y, repr(RESIDUAL_SD)) for y, x in written]
    (tmp_path / "machine.toml").write_text(layout)
    (tmp_path / "survey.csv").write_text(survey_text(rows, "section,point,reading,u"))
    machine = alignment.read_layout(tmp_path / "machine.toml")
    (found,) = alignment.solve(machine, alignment.read_survey(tmp_path / "survey.csv", machine)).state.sections
    assert found.entry.deviation.value == pytest.approx(INTERCEPT, rel=1e-9)
    assert found.entry.deviation.u == pytest.approx(U_INTERCEPT, rel=1e-9)
    assert found.skew.value == pytest.approx(1000 * SLOPE, rel=1e-9)
    assert found.skew.u == pytest.approx(1000 * U_SLOPE, rel=1e-9)
    assert found.chi2 == pytest.approx(34, rel=1e-9)
