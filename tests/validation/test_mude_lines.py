"""
TU Delft, MUDE open textbook, chapter on observation theory (CC BY 4.0): lines through twenty observations.

Standard deviation 2, significance 0.05, critical value 28.869 with 18 degrees of freedom. Published: the first data
set is accepted, the second, with a slip of +15 at t = 5, is rejected. The test statistics, the normalised residual,
the redundancy number and the minimal detectable bias were recomputed by independent arithmetic from the published
data, which is in data/mude_lines.csv. Tolerance half a unit of the last printed digit.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from alignment.fitting.lines import Lines, fit_line
from alignment.quantiles import chi_square_point, noncentrality
from tests.tools.machines import layout_text, survey_text

SIGMA = 2.0
SLIPPED = 4
"""Index of t = 5."""
T, FIRST, SECOND = np.loadtxt(Path(__file__).parent / "data" / "mude_lines.csv", delimiter=",", skiprows=1).T


@pytest.fixture(scope="module")
def accepted() -> Lines:
    return fit_line(T, FIRST, u=SIGMA)


@pytest.fixture(scope="module")
def rejected() -> Lines:
    return fit_line(T, SECOND, u=SIGMA)


def test_data_differ_by_the_slip():
    assert np.flatnonzero(FIRST != SECOND) == [SLIPPED]
    assert SECOND[SLIPPED] - FIRST[SLIPPED] == pytest.approx(15, abs=1e-9)


def test_critical_value(accepted):
    assert accepted.dof[0] == 18
    assert float(chi_square_point(18, 0.95)) == pytest.approx(28.869, abs=0.5e-3)


def test_overall_test(accepted, rejected):
    """Published verdicts, recomputed statistics."""
    assert accepted.chi2[0] == pytest.approx(11.364, abs=0.5e-3)
    assert rejected.chi2[0] == pytest.approx(45.049, abs=0.5e-3)
    assert accepted.chi2[0] < chi_square_point(18, 0.95) < rejected.chi2[0]


def test_slip_has_the_largest_normalised_residual(rejected):
    assert int(np.argmax(np.abs(rejected.w))) == SLIPPED
    assert rejected.w[SLIPPED] == pytest.approx(5.928, abs=0.5e-3)


def test_redundancy_and_minimal_detectable_bias(rejected):
    """For 0.1 % and 80 %."""
    assert rejected.redundancy[SLIPPED] == pytest.approx(0.904511, abs=0.5e-6)
    assert rejected.detectable(noncentrality())[SLIPPED] == pytest.approx(8.6896, abs=0.5e-4)


def solved(run, folder: Path, values: np.ndarray, *options: str) -> dict:
    """The answer of the program to the twenty observations as readings of one section, in millimetres."""
    layout, survey = folder / "machine.toml", folder / "survey.csv"
    points = [str(int(t)) for t in T]
    section = {"name": "a-1", "row": "a", "start": "0", "length": "21", "points": points}
    layout.write_text(layout_text([section], rows={"a": "target = '10'"}))
    rows = [("a-1", point, f"{value:.5f}", f"{SIGMA:g}") for point, value in zip(points, values, strict=True)]
    survey.write_text(survey_text(rows, header="section,point,reading,u"))
    outcome = run("solve", layout, survey, "--json", *options)
    assert outcome.status == 0, outcome.err
    return json.loads(outcome.out)


def test_program_accepts_the_first(run, tmp_path):
    answer = solved(run, tmp_path, FIRST)
    assert answer["sections"][0]["dof"] == 18
    assert answer["sections"][0]["chi2"] == pytest.approx(11.364, abs=0.5e-3)
    assert answer["flags"] == []


def test_program_flags_the_slip_of_the_second(run, tmp_path):
    answer = solved(run, tmp_path, SECOND)
    assert answer["sections"][0]["chi2"] == pytest.approx(45.049, abs=0.5e-3)
    (flag,) = answer["flags"]
    assert (flag["flag"], flag["section"], flag["point"]) == ("stray", "a-1", "5.0")
    assert flag["detectable"] == pytest.approx(8.6896, abs=0.5e-4)
    assert flag["slip"] == pytest.approx(15, abs=2 * flag["u"])


def test_program_drops_the_slip_when_told(run, tmp_path):
    """Without the observation, the statistic is less by the square of its normalised residual: 45.049 - 5.928^2."""
    answer = solved(run, tmp_path, SECOND, "--drop-strays")
    assert [(d["section"], d["point"], d["reading"]) for d in answer["dropped"]] == [("a-1", "5.0", 16.9363)]
    assert answer["sections"][0]["dof"] == 17
    assert answer["sections"][0]["chi2"] == pytest.approx(45.049 - 5.928**2, abs=0.5e-3 + 5.928 * 1e-3)
