"""
JCGM 100:2008 (GUM), annex H.3: calibration of a thermometer, a straight line through eleven points.

Printed values of H.3.3 to H.3.5, clause numbers from memory; tolerance half a unit of the last printed digit. The
data are in data/gum_h3.csv. The guide takes the scatter of the residuals for the uncertainty of each point.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import alignment
from alignment.fitting.lines import Lines, fit_line
from tests.tools.machines import layout_text, survey_text

T, B = np.loadtxt(Path(__file__).parent / "data" / "gum_h3.csv", delimiter=",", skiprows=3).T
SHIFT = 1.0


def scatter() -> float:
    """Standard deviation of the residuals about the line, s of equation H.13f."""
    plain = fit_line(T, B, u=1.0)
    return float(np.sqrt(plain.chi2[0] / plain.dof[0]))


@pytest.fixture
def line() -> Lines:
    return fit_line(T, B, u=scatter())


def test_scatter_of_the_points():
    """Residual s = 0.0035 with nine degrees of freedom."""
    assert fit_line(T, B, u=1.0).dof[0] == 9
    assert scatter() == pytest.approx(0.0035, abs=0.5e-4)


def test_intercept_at_20_degrees(line):
    """y1 = -0.1712, s(y1) = 0.0029."""
    assert line.at(20.0)[0] == pytest.approx(-0.1712, abs=0.5e-4)
    assert line.u_at(20.0)[0] == pytest.approx(0.0029, abs=0.5e-4)


def test_slope(line):
    """y2 = 0.00218, s(y2) = 0.00067."""
    assert line.slope[0] == pytest.approx(0.00218, abs=0.5e-5)
    assert np.sqrt(line.slope_var[0]) == pytest.approx(0.00067, abs=0.5e-5)


def test_correlation_of_intercept_and_slope(line):
    """r(y1, y2) = -0.930 at the reference temperature 20."""
    covariance = line.slope_var[0] * (20.0 - line.centre_x[0])
    r = covariance / (line.u_at(20.0)[0] * np.sqrt(line.slope_var[0]))
    assert r == pytest.approx(-0.930, abs=0.5e-3)


def test_no_correlation_about_the_mean_place(line):
    """H.3.5: taken about the mean temperature, 24.0085, intercept and slope are uncorrelated; y1' = -0.1625."""
    assert line.centre_x[0] == pytest.approx(24.0085, abs=0.5e-4)
    assert line.centre_y[0] == pytest.approx(-0.1625, abs=0.5e-4)


def test_prediction_at_30_degrees(line):
    """b(30) = -0.1494 with u = 0.0041 and nine degrees of freedom."""
    assert line.at(30.0)[0] == pytest.approx(-0.1494, abs=0.5e-4)
    assert line.u_at(30.0)[0] == pytest.approx(0.0041, abs=0.5e-4)


def test_as_a_section_through_the_program(run, tmp_path):
    """The same points as tape readings [mm] on a section from x = 20 to 30, its target at the shift given to all."""
    section = {"name": "thermometer", "row": "only", "start": "20", "length": "10"}
    tape = "mark = '1'\ntilt = 0\nzero = '0'"
    layout = layout_text([section], tape=tape, rows={"only": f"target = '{SHIFT}'"}, tolerance="offset = '1'")
    rows = [("thermometer", f"{t - 20:.3f}", f"{b + SHIFT:.3f}", repr(scatter())) for t, b in zip(T, B, strict=True)]
    (tmp_path / "machine.toml").write_text(layout)
    (tmp_path / "survey.csv").write_text(survey_text(rows, "section,point,reading,u"))
    outcome = run("solve", tmp_path / "machine.toml", tmp_path / "survey.csv", "--json")
    assert outcome.status == 0, outcome.err
    (found,) = json.loads(outcome.out)["sections"]
    entry, exit_ = found["ends"]["entry"], found["ends"]["exit"]
    assert entry["deviation"] == pytest.approx(-0.1712, abs=0.5e-4)
    assert entry["u"] == pytest.approx(0.0029, abs=0.5e-4)
    assert exit_["deviation"] == pytest.approx(-0.1494, abs=0.5e-4)
    assert exit_["u"] == pytest.approx(0.0041, abs=0.5e-4)
    assert found["skew"]["value"] == pytest.approx(10 * 0.00218, abs=0.5e-4)
    assert found["skew"]["u"] == pytest.approx(10 * 0.00067, abs=0.5e-4)
    assert found["dof"] == 9
    assert found["chi2"] == pytest.approx(9, rel=1e-9)
    assert found["readings"] == 11


def test_zero_error_common_to_every_point(tmp_path):
    """
    A shift of u 0.005 common to every point leaves the slope's u and gives the intercept 0.00576893.

    Documentation of the GTC package, worked example of H.3 with a systematic error of the reference thermometer.
    """
    section = {"name": "thermometer", "row": "only", "start": "20", "length": "10"}
    layout = layout_text([section], tape="tilt = 0\nzero = '0.005'", rows={"only": f"target = '{SHIFT}'"})
    rows = [("thermometer", f"{t - 20:.3f}", f"{b + SHIFT:.3f}", repr(scatter())) for t, b in zip(T, B, strict=True)]
    (tmp_path / "machine.toml").write_text(layout)
    (tmp_path / "survey.csv").write_text(survey_text(rows, "section,point,reading,u"))
    machine = alignment.read_layout(tmp_path / "machine.toml")
    (found,) = alignment.solve(machine, alignment.read_survey(tmp_path / "survey.csv", machine)).state.sections
    assert found.entry.deviation.u == pytest.approx(0.00576893, abs=0.5e-8)
    assert found.skew.u == pytest.approx(10 * 0.00067, abs=0.5e-4)
