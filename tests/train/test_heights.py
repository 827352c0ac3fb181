"""Heights: up and down, the level of one row against another, frame twist, both planes in one layout, pictures."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from alignment.choices import Line
from alignment.machine.layout import Plane
from alignment.show import door
from alignment.show.json.solution import as_json
from alignment.show.pictures.train import train_pictures, train_sheet
from alignment.train.solve import solve
from tests.tools.machines import layout_text, machine, readings, survey_text

TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.4'"
U = math.sqrt(1 / 12 + 0.4**2)
TOLERANCE = "offset = '1.5'\nsquare = '1.5'\nstep = '1.5'"
RAILS = {row: f"string = '{row}'\nplane = 'height'\ntarget = '300'" for row in ("left", "right")}
PLACED = "[string.left]\nat = '0'\n[string.right]\nat = '1500'\n"
BOTH = {
    "side": "string = 'side'\nstring_side = 'left'\ntarget = '600'",
    "rail": "string = 'over'\nplane = 'height'\ntarget = '300'",
}


def parts(rows, count: int = 3) -> list[dict[str, object]]:
    return [{"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 400} for row in rows for k in range(count)]


def frame(rows=RAILS, strings: str = PLACED):
    return machine(parts(rows), rows=rows, joints=strings, tape=TAPE, tolerance=TOLERANCE)


def read(layout, **lower):
    """Readings of targets; a row or section named lies lower by a number, or by a function of machine x."""
    rows = []
    for s in layout.sections:
        for end, x in (("entry", s.start), ("exit", s.end)):
            by = lower.get(s.name.replace("-", "_"), lower.get(s.row, 0.0))
            sign = -1 if layout.rows[s.row].side == "below" else 1
            rows.append((s.name, end, (layout.rows[s.row].target or 0.0) + sign * (by(x) if callable(by) else by)))
    return readings(layout, rows)


# --- words -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("side", "way"), [("above", "up"), ("below", "up")])
def test_a_section_that_lies_low_goes_up(side, way):
    """Whether its string is above or below it: toward the one, away from the other, and up."""
    rows = {"rail": f"string = 'rail'\nplane = 'height'\nstring_side = '{side}'\ntarget = '300'"}
    layout = frame(rows, "")
    solution = solve(layout, read(layout, rail_1=4.0))
    assert {step.section for step in solution.plan.steps} == {"rail-1"}
    assert {step.direction for step in solution.plan.steps} == {way}
    assert {step.move > 0 for step in solution.plan.steps} == {side == "above"}
    text = door.text(solution, full=True)
    moves = text[text.index("MOVES") : text.index("Tighten")]
    assert f"Set both to 300, {way}." in " ".join(moves.split())
    assert "string" not in moves


def test_string_above_unless_told():
    layout = frame({"rail": "plane = 'height'\ntarget = '300'"}, "")
    assert layout.rows["rail"].side == "above"


# --- level and twist -------------------------------------------------------------------------------------------


def test_level_between_two_rows():
    """The right rail lies 3 lower everywhere: so said at the entry, and no twist."""
    layout = frame()
    (found,) = solve(layout, read(layout, right=3.0)).state.levels
    assert found.known
    assert [p.opening for p in found.places] == pytest.approx([-3] * 6)
    assert found.change == pytest.approx(0)
    assert found.twist == pytest.approx(0)
    # the tape's zero cancels between two strings above
    assert found.places[0].u == pytest.approx(U * math.sqrt(2))


def test_one_string_above_and_one_below():
    """Directions are those of the frame, not of the strings; and here the zero counts twice."""
    rows = RAILS | {"right": "string = 'right'\nplane = 'height'\nstring_side = 'below'\ntarget = '100'"}
    layout = frame(rows)
    (found,) = solve(layout, read(layout, right=3.0)).state.levels
    assert [p.opening for p in found.places] == pytest.approx([-3] * 6)
    assert found.places[0].u == pytest.approx(math.sqrt(2 * U**2 + (2 * 0.4) ** 2))


def test_twist():
    """The right rail sinks 5.6 over 1400, 1500 across: an angle whose tangent is 5.6/1500; u of the change is 2 U."""
    layout = frame()
    solution = solve(layout, read(layout, right=lambda x: 5.6 * x / 1400))
    (found,) = solution.state.levels
    assert found.length == 1400
    assert found.change == pytest.approx(-5.6)
    assert found.change_u == pytest.approx(2 * U)
    assert found.twist == pytest.approx(-math.degrees(math.atan(5.6 / 1500)))
    text = " ".join(door.text(solution, full=True).split())
    assert "Level: right falls 5.6 (U 1.97) against left over 1400.0: the frame is twisted 0.21 degrees." in text


@pytest.mark.parametrize("line", [Line.fitted, Line.free])
def test_no_other_line_takes_the_twist_away(line):
    """A line laid along each rail would make any frame straight; level and twist are against the strings."""
    layout = frame()
    survey = read(layout, right=lambda x: 2 + 5.6 * x / 1400)
    (plain,), (other,) = (solve(layout, survey, line=choice).state.levels for choice in (Line.string, line))
    assert other.change == pytest.approx(plain.change)
    assert other.change_u == pytest.approx(plain.change_u)
    assert [p.opening for p in other.places] == pytest.approx([p.opening for p in plain.places])
    assert [p.u for p in other.places] == pytest.approx([p.u for p in plain.places])


def test_level_not_known():
    """A target taken from the row itself tells nothing of the other row; what changes along the machine is known."""
    layout = frame(RAILS | {"right": "string = 'right'\nplane = 'height'"})
    rows = [(s.name, end, 300 + (s.row == "right") * 0.01 * x) for s in layout.sections
            for end, x in (("entry", s.start), ("exit", s.end))]  # fmt: skip
    solution = solve(layout, readings(layout, rows))
    (found,) = solution.state.levels
    assert not found.known
    assert found.change == pytest.approx(-14)
    text = " ".join(door.text(solution, full=True).split())
    assert "The level of one against the other is not known: their targets are not numbers of the layout." in text


def test_twist_not_known_without_the_distance_across():
    layout = frame(strings="[string.left]\n[string.right]\n")
    solution = solve(layout, read(layout, right=lambda x: x / 100))
    assert solution.state.levels[0].twist is None
    assert "twisted" not in door.text(solution, full=True)
    assert as_json(solution)["levels"][0]["twist"] is None


def test_level_in_the_numbers():
    layout = frame()
    (level,) = as_json(solve(layout, read(layout, right=lambda x: -x / 1000)))["levels"]
    assert level["rows"] == ["left", "right"]
    assert (level["over"], level["change"], level["known"]) == (1400, pytest.approx(1.4), True)
    assert [p["x"] for p in level["places"]] == [0, 400, 500, 900, 1000, 1400]
    assert [p["higher"] for p in level["places"]] == pytest.approx([x / 1000 for x in (0, 400, 500, 900, 1000, 1400)])


# --- both planes -----------------------------------------------------------------------------------------------


def test_both_planes_in_one_layout():
    """Each row in its own words; a height is across from nothing, and a side has no level."""
    layout = frame(BOTH, "")
    solution = solve(layout, read(layout, side_1=3.0, rail_1=3.0))
    ways = {step.section: str(step.direction) for step in solution.plan.steps}
    assert ways == {"side-1": "toward", "rail-1": "up"}
    assert solution.state.openings == ()
    assert solution.state.levels == ()


def test_pictures_of_both_planes():
    """Two files: the one asked for, from above, and its heights beside it."""
    layout = frame(BOTH, "")
    pictures = train_pictures(solve(layout, read(layout, rail_1=3.0)), Path("train.svg"))
    assert [path.name for path, _ in pictures] == ["train.svg", "train-heights.svg"]
    assert all(picture.startswith(b"<?xml") for _, picture in pictures)
    only = frame(RAILS)
    assert [p.name for p, _ in train_pictures(solve(only, read(only)), Path("a.svg"))] == ["a.svg"]


def words(figure) -> list[str]:
    return [text.get_text() for text in figure.texts]


def test_heights_are_seen_from_the_side():
    layout = frame(BOTH, "")
    solution = solve(layout, read(layout, side_1=3.0, rail_1=3.0))
    above, side = (train_sheet(solution, plane, beside="b.svg") for plane in Plane)
    assert "seen from above" in above.axes[0].get_title(loc="left")
    assert "seen from the side" in side.axes[0].get_title(loc="left")
    assert any("see the other sheet, seen from the side" in text for text in words(above))
    assert any("see the other sheet, seen from above (b.svg)." in text for text in words(side))
    labels = [[text.get_text() for text in sheet.axes[0].texts] for sheet in (above, side)]
    assert any(text.startswith("side-1") for text in labels[0])
    assert not any(text.startswith("rail") for text in labels[0])
    assert any(text.startswith("rail-1") for text in labels[1])


@pytest.mark.parametrize("side", ["above", "below"])
def test_up_is_up(side):
    """A rail that lies low is drawn lower down the page than its neighbours, whichever side its string is on."""
    rows = {"rail": f"string = 'rail'\nplane = 'height'\nstring_side = '{side}'\ntarget = '300'"}
    layout = frame(rows, "")
    axes = train_sheet(solve(layout, read(layout, rail_1=4.0)), Plane.height).axes[0]
    diamonds = {
        round(float(line.get_xdata()[0])): float(line.get_ydata()[0]) for line in axes.lines if line.get_marker() == "D"
    }
    low, high = axes.get_ylim()
    assert low > high, "y is laid out down the page"
    assert diamonds[500] > diamonds[0]
    assert diamonds[900] > diamonds[1000]


def test_moves_have_one_number_in_list_words_and_picture():
    """The sheet of heights shows the second of two moves: number 2 in its words and at its arrow, as in the list."""
    layout = frame(BOTH, "")
    solution = solve(layout, read(layout, side_1=3.0, rail_1=3.0))
    sheet = train_sheet(solution, Plane.height)
    assert any(text.startswith("2  rail-1:") for text in words(sheet))
    assert {text.get_text() for text in sheet.axes[0].texts if text.get_color() == "white"} == {"2"}
    assert "  2 rail-1: " in door.text(solution, full=True)


def test_on_the_command_line(run, tmp_path):
    """From files to a picture of each plane, and the rest of the answer."""
    (tmp_path / "m.toml").write_text(layout_text(parts(BOTH), rows=BOTH, tolerance=TOLERANCE))
    rows = [(s["name"], end, 603 if s["name"] == "side-1" else 600 if s["row"] == "side" else 300)
            for s in parts(BOTH) for end in ("entry", "exit")]  # fmt: skip
    (tmp_path / "s.csv").write_text(survey_text(rows))
    outcome = run("solve", tmp_path / "m.toml", tmp_path / "s.csv", "--json", "--plot", tmp_path / "p.png")
    assert outcome.status == 0, outcome.err
    assert {s["direction"] for s in json.loads(outcome.out)["moves"]["steps"]} == {"toward"}
    assert sorted(path.name for path in tmp_path.glob("*.png")) == ["p-heights.png", "p.png"]


@pytest.mark.parametrize("told", ["left", "right"])
def test_no_twist_where_one_string_has_no_place(told):
    """How far apart the strings hang is known of both or not at all; the change along the machine is told still."""
    layout = frame(strings="".join(f"[string.{row}]\n{'at = 0' if row == told else ''}\n" for row in RAILS))
    (level,) = solve(layout, read(layout, right=lambda x: x / 350)).state.levels
    assert (level.apart, level.twist) == (None, None)
    assert abs(level.change) == pytest.approx(4.0)


@pytest.mark.parametrize("places", [(0, 1500), (200, 1700), (-700, 800)])
def test_twist_wherever_the_strings_are_measured_from(places):
    """Strings 1500 apart, the right rail falling 4 over 1400: the same angle from any zero across the machine."""
    layout = frame(strings="".join(f"[string.{row}]\nat = {at}\n" for row, at in zip(RAILS, places, strict=True)))
    (level,) = solve(layout, read(layout, right=lambda x: x / 350)).state.levels
    assert level.apart == pytest.approx(1500)
    assert abs(level.twist) == pytest.approx(math.degrees(math.atan(4 / 1500)))
