"""Straightness of points, by exact cases and by an independent linear programme, and of the rows of a machine."""

from __future__ import annotations

import json
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from alignment.choices import Line
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show import door
from alignment.train.solve import solve
from alignment.train.straightness import least_squares_straightness, minimum_zone, straightness
from alignment.train.train import fit_train
from alignment.uncertainty import COVERAGE
from tests.tools.machines import machine, readings
from tests.tools.sample_truth import AS_FOUND, AS_LEFT, truth_at

# --- points ----------------------------------------------------------------------------------------------------


def minimax_zone(x, y) -> float:
    """Twice the least largest distance from any line, as a linear programme in shift, slope and that distance."""
    one = np.ones_like(x)
    rows = np.concatenate([np.stack([-one, -x, -one], axis=1), np.stack([one, x, -one], axis=1)])
    found = linprog([0, 0, 1], A_ub=rows, b_ub=np.concatenate([-y, y]), bounds=[(None, None)] * 2 + [(0, None)])
    assert found.status == 0
    return 2 * float(found.fun)


def test_parabola():
    """
    x^2 on 0..1: the minimax line is x - 1/8 with error 1/8, the zone 1/4 (Chebyshev, textbook algebra).

    Its least-squares line is x - 1/6 and so parallel to it: the same 1/4 from highest to lowest.
    """
    x = np.linspace(0, 1, 201)
    zone = minimum_zone(x, x**2)
    assert zone.width == pytest.approx(1 / 4, abs=1e-12)
    assert [x[k] for k in zone.carriers] == pytest.approx([0, 0.5, 1])
    assert least_squares_straightness(x, x**2) == pytest.approx(1 / 4, abs=1e-12)


def test_cube():
    """
    x^3 on 0..1, by hand.

    The line from the first to the last point lies above it by x - x^3, at most 2 / (3 sqrt 3) at 1 / sqrt 3. The
    least-squares line is 9/10 x - 1/5: highest about it 3/10 at 1, lowest at sqrt(3/10).
    """
    x = np.linspace(0, 1, 20001)
    assert minimum_zone(x, x**3).width == pytest.approx(2 / (3 * np.sqrt(3)), abs=1e-8)
    low = np.sqrt(0.3)
    assert least_squares_straightness(x, x**3) == pytest.approx(0.3 - (low**3 - 0.9 * low + 0.2), abs=1e-4)


def test_one_point_off_a_line():
    """One bump b in the middle of a straight run: the zone is b, whatever the line's slope; end bumps turn the line."""
    x = np.arange(5.0)
    line, bump = 3 - 0.25 * x, np.array([0, 0, 1, 0, 0])
    assert minimum_zone(x, line + bump).width == pytest.approx(1)
    assert minimum_zone(x, line - bump).width == pytest.approx(1)
    # a line through the ends leaves the point before the last 3/4 off
    assert minimum_zone(x, line + np.roll(bump, 2)).width == pytest.approx(3 / 4)


def test_straight_points_and_places_taken_twice():
    """Points on a line are straight; two points at one place are at least as far apart as they are."""
    x = np.array([0.0, 400, 500, 900])
    assert minimum_zone(x, 2 + 0.01 * x).width == pytest.approx(0, abs=1e-12)
    assert minimum_zone([0, 1, 1, 2], [0, 0, 2, 2]).width == pytest.approx(2)
    assert minimum_zone([1, 1, 0, 2], [0, 3, 1, 1]).width == pytest.approx(3)


numbers = st.floats(-100, 100, allow_nan=False)


@given(st.lists(st.tuples(st.integers(0, 12), numbers), min_size=3, max_size=14))
def test_against_the_linear_programme(points):
    """Any points, in any order, places taken twice among them; the carriers alone ask for the whole width."""
    x, y = (np.array(part, dtype=float) for part in zip(*points, strict=True))
    if np.ptp(x) == 0:
        return
    zone = minimum_zone(x, y)
    assert zone.width == pytest.approx(minimax_zone(x, y), abs=1e-6)
    assert least_squares_straightness(x, y) >= zone.width - 1e-9
    i, k, j = zone.carriers
    share = (x[k] - x[i]) / (x[j] - x[i])
    assert abs(y[k] - (1 - share) * y[i] - share * y[j]) == pytest.approx(zone.width, abs=1e-9)


def test_every_three_points_ask_for_no_more():
    """The zone is what the worst three points ask for: the reason for counting triples when noise is judged."""
    rng = np.random.default_rng(3)
    x, y = np.sort(rng.uniform(0, 10, 9)), rng.normal(size=9)
    asked = [abs(y[k] - y[i] - (y[j] - y[i]) * (x[k] - x[i]) / (x[j] - x[i])) for i, k, j in combinations(range(9), 3)]
    assert minimum_zone(x, y).width == pytest.approx(max(asked))


# --- rows of a machine -----------------------------------------------------------------------------------------


def row_of(count: int, **how):
    parts = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 400} for k in range(count)]
    return machine(parts, rows={"r": "target = '600'"}, **how)


def ends_of(layout, value):
    return [
        (s.name, end, f"{value(x):.6f}") for s in layout.sections for end, x in (("entry", s.start), ("exit", s.end))
    ]


@pytest.mark.parametrize("line", Line)
def test_no_line_matters(line):
    """A bump of 12 seen from the row's two ends, its string leaning: zone and u are the same from any line."""
    layout = row_of(5)
    survey = readings(layout, ends_of(layout, lambda x: 605 + 0.01 * x + 1 * (0 < x < 2400) + 11 * (x == 1000)))
    (found,) = solve(layout, survey, line=line).state.straightness
    assert found.minimum_zone == pytest.approx(12, abs=1e-4)
    assert found.over == 2400
    # three readings: the bump, and the ends by their shares of the way
    u = np.sqrt(1 / 12 + 0.4**2)
    assert found.u == pytest.approx(u * np.sqrt(1 + (1000 / 2400) ** 2 + (1400 / 2400) ** 2), rel=1e-5)


def test_setbacks_are_no_bends():
    parts = [
        {"name": f"s{k}", "row": "r", "start": 500 * k, "length": 400, "setback": str(3 * (k == 1))} for k in range(3)
    ]
    layout = machine(parts, rows={"r": "target = '600'"})
    rows = [(s.name, end, 600 + s.setback) for s in layout.sections for end in ("entry", "exit")]
    (found,) = straightness(fit_train(layout, readings(layout, rows)))
    assert found.minimum_zone == pytest.approx(0, abs=1e-9)
    assert found.u is None


def test_rows_with_too_little():
    """One measured section is straight by itself and says nothing of its row."""
    layout = row_of(3)
    assert straightness(fit_train(layout, readings(layout, ends_of(layout, lambda _: 600)[:2]))) == ()


def test_no_u_where_readings_alone_make_it():
    """Straight rows read with noise: a straightness stands out from it in one survey of twenty at the most."""
    layout = row_of(6)
    rng = np.random.default_rng(4)
    u = float(np.sqrt(1 / 12 + 0.4**2))
    found = [
        straightness(fit_train(layout, readings(layout, ends_of(layout, lambda _: 600 + rng.normal(0, u)))))[0]
        for _ in range(300)
    ]
    assert sum(row.u is not None for row in found) <= 15
    assert min(row.minimum_zone for row in found) > 0


@pytest.mark.parametrize("suffix", ["", "-mm"], ids=["in", "mm"])
@pytest.mark.parametrize(("day", "truth"), [("as-found", AS_FOUND), ("as-left", AS_LEFT)])
def test_sample_against_the_stated_truth(samples, day, truth, suffix):
    """Where u is told, as it is for the bends as found, the true zone lies within U."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    found = straightness(fit_train(layout, read_survey(samples / f"{day}{suffix}.csv", layout)))
    assert [row.row for row in found] == ["operator", "drive"]
    for row in found:
        own = layout.row_sections(row.row)
        x = [place for s in own for place in (s.start, s.end)]
        y = [truth_at(truth, layout, s.name, at) for s in own for at in (0.0, s.length)]
        true = minimax_zone(np.array(x), np.array(y))
        assert row.u is not None or day == "as-left"
        if row.u is not None:
            assert abs(row.minimum_zone - true) <= COVERAGE * row.u


def test_on_the_command_line(samples, run):
    """In the layout's units before and after the moves, and a line of text for each row."""
    outcome = run("solve", samples / "machine.toml", samples / "as-found.csv", "--json")
    answer = json.loads(outcome.out)
    for part in (answer, answer["after"]):
        for row in part["straightness"]:
            own = [s for s in part["sections"] if s["row"] == row["row"]]
            start, length = (0, 16, 32, 48, 64, 80), 15
            if row["row"] == "drive":
                start, length = (0, 32, 64), 31
            x = np.array([at + end for at in start for end in (0, length)], dtype=float)
            y = np.array([s["ends"][end]["deviation"] for s in own for end in ("entry", "exit")])
            assert row["minimum_zone"] == pytest.approx(minimax_zone(x, y), abs=1e-6)
            assert row["least_squares"] == pytest.approx(least_squares_straightness(x, y), abs=1e-6)
            assert row["over"] == pytest.approx(x[-1])
    assert answer["straightness"][0]["u"] > 0
    assert answer["after"]["straightness"][0]["u"] is None
    text = run("solve", samples / "machine.toml", samples / "as-found.csv", "--full").out
    found, after = text.split("AFTER THE MOVES")
    assert "Row operator: faces within 3/8 of one straight line (U 0.0" in found
    assert "Row drive: faces within " in after
    assert "; reading error alone can do that." in " ".join(after.split())


def test_words_in_millimetres():
    layout = row_of(3)
    survey = readings(layout, ends_of(layout, lambda x: 600 + 8 * (x == 500)))
    text = door.text(solve(layout, survey), full=True)
    assert "Row r: faces within 8.0 of one straight line (U 1." in text


def test_rows_after_one_that_was_not_read_are_told():
    """Three rows, nothing read of the middle one: the other two have their straightness."""
    parts = [
        {"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 450} for row in ("a", "b", "c") for k in range(3)
    ]
    layout = machine(parts, rows=dict.fromkeys(("a", "b", "c"), "target = '600'"))
    read = [(s.name, end, 600) for s in layout.sections if s.row != "b" for end in ("entry", "exit")]
    assert [row.row for row in straightness(fit_train(layout, readings(layout, read)))] == ["a", "c"]


def test_u_wherever_the_zero_mark_is():
    """The bump of 12 of a row that begins at 5000: shares of the way between its ends, 1000 and 1400 of 2400."""
    parts = [{"name": f"s{k}", "row": "r", "start": 5000 + 500 * k, "length": 400} for k in range(5)]
    layout = machine(parts, rows={"r": "target = '600'"})
    rows = ends_of(layout, lambda x: 605 + 1 * (5000 < x < 7400) + 11 * (x == 6000))
    (found,) = straightness(fit_train(layout, readings(layout, rows)))
    assert found.minimum_zone == pytest.approx(12, abs=1e-4)
    u = np.sqrt(1 / 12 + 0.4**2)
    assert found.u == pytest.approx(u * np.sqrt(1 + (1000 / 2400) ** 2 + (1400 / 2400) ** 2), rel=1e-5)
