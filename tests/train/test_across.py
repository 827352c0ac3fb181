"""Openings between rows: one string or two, what their spacing and the tape's zero do, and the sample's truth."""

from __future__ import annotations

import json
import math

import pytest
from scipy.stats import norm

from alignment.choices import Line
from alignment.machine.layout import Plane
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show import door
from alignment.show.json.solution import as_json
from alignment.show.words.solution import summary
from alignment.train.across import openings, rows_across, rows_of
from alignment.train.solve import solve
from alignment.train.train import fit_train
from alignment.uncertainty import COVERAGE
from tests.tools.machines import machine, readings
from tests.tools.sample_truth import AS_FOUND, truth_at

TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.3'"
U, ZERO = math.sqrt(1 / 12 + 0.4**2), 0.3
TWO = {
    "op": "string = 'a'\nstring_side = 'left'\ntarget = '600'",
    "dr": "string = 'b'\nstring_side = 'right'\ntarget = '650'",
}
SPACED = "[string.a]\nat = '-100'\n[string.b]\nat = '1800'\n"


def two_rows(rows=TWO, strings: str = SPACED, **how):
    """Two sections a row, 450 long every 500."""
    parts = [{"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 450} for row in rows for k in range(2)]
    return machine(parts, **({"rows": rows, "tape": TAPE, "joints": strings} | how))


def read(layout, **leaning: float):
    """A survey of targets; a row named leans away by so much for each mm along the machine."""
    rows = []
    for s in layout.sections:
        for end, x in (("entry", s.start), ("exit", s.end)):
            rows.append((s.name, end, f"{(layout.rows[s.row].target or 600) + leaning.get(s.row, 0.0) * x:.3f}"))
    return readings(layout, rows)


def across(layout, survey, line: Line = Line.string):
    (found,) = openings(fit_train(layout, survey, line=line))
    return found


def test_two_strings_outside_of_the_rows():
    """Spacing less both readings; both zeros enter the same way, so that twice the zero is in u."""
    layout = two_rows()
    found = across(layout, read(layout))
    assert found.rows == ("op", "dr")
    assert [p.x for p in found.places] == [0, 450, 500, 950]
    assert [p.opening for p in found.places] == pytest.approx([1900 - 600 - 650] * 4)
    assert [p.u for p in found.places] == pytest.approx([math.sqrt(2 * U**2 + (2 * ZERO) ** 2)] * 4)


def test_one_string_between_the_rows():
    """One string down the middle: the sum of both readings, spacing known without being told."""
    rows = {
        "op": "string = 'm'\nstring_side = 'right'\ntarget = '300'",
        "dr": "string = 'm'\nstring_side = 'left'\ntarget = '250'",
    }
    layout = two_rows(rows, "[string.m]\nat = '900'\n")
    found = across(layout, read(layout))
    assert found.known
    assert found.rows == ("op", "dr")
    assert [p.opening for p in found.places] == pytest.approx([550] * 4)
    assert found.places[0].u == pytest.approx(math.sqrt(2 * U**2 + (2 * ZERO) ** 2))


def test_one_string_on_one_side_of_both():
    """The far row's reading less the near one's: the zero cancels."""
    rows = {
        "near": "string = 'm'\nstring_side = 'left'\ntarget = '300'",
        "far": "string = 'm'\nstring_side = 'left'\ntarget = '850'",
    }
    layout = two_rows(rows, "[string.m]\nat = '0'\n")
    found = across(layout, read(layout))
    assert found.rows == ("near", "far")
    assert found.places[0].opening == pytest.approx(550)
    assert found.places[0].u == pytest.approx(U * math.sqrt(2))


def test_taper():
    """Grows by what both rows lean away: 2 and 1 over 950; the zero is not in its u."""
    layout = two_rows()
    found = across(layout, read(layout, op=-2 / 950, dr=-1 / 950))
    assert found.length == 950
    assert found.change == pytest.approx(3)
    assert found.change_u == pytest.approx(2 * U)
    assert [p.opening for p in found.places] == pytest.approx([650 + 3 * x / 950 for x in (0, 450, 500, 950)], abs=2e-3)


def test_spacing_not_measured():
    """Only the taper is known: said in words, and no opening in the numbers."""
    layout = two_rows(strings="[string.a]\n[string.b]\n")
    solution = solve(layout, read(layout, op=-1 / 950, dr=-1 / 950))
    (found,) = solution.state.openings
    assert not found.known
    answer = as_json(solution)
    assert answer["openings"] == []
    limit = layout.tolerance.opening
    (taper,) = answer["tapers"]
    assert taper.pop("p_in") == pytest.approx(norm.cdf(limit, 2, 2 * U) - norm.cdf(-limit, 2, 2 * U))
    assert taper == {
        "rows": ["op", "dr"],
        "over": 950,
        "change": pytest.approx(2),
        "u": pytest.approx(2 * U),
        "known": False,
        "verdict": "out?",
    }
    text = " ".join(door.text(solution, full=True).split())
    assert (
        "Opening op / dr: not known. The spacing of the strings was not measured. Wider by 2.0 toward the exit" in text
    )


def test_rows_that_share_one_place_have_no_taper():
    parts = [{"name": "op-0", "row": "op", "start": 0, "length": 450}]
    parts.append({"name": "dr-0", "row": "dr", "start": 450, "length": 450})
    layout = machine(parts, rows=TWO, tape=TAPE, joints=SPACED)
    assert openings(fit_train(layout, read(layout))) == ()


def test_one_spacing_told_and_the_other_not():
    layout = two_rows(strings="[string.a]\nat = '0'\n[string.b]\n")
    assert not across(layout, read(layout)).known


def test_words_and_verdict_of_the_taper():
    """Against the tolerance of the opening."""
    fine = "mark = '0.1'\nset = '0.05'\ntilt = 0\nzero = '0.1'"
    layout = two_rows(tolerance="opening = '1'", tape=fine)
    text = " ".join(door.text(solve(layout, read(layout, op=2 / 950, dr=2 / 950)), full=True).split())
    assert "Opening op / dr: 650.0 at x = 0.0, 646.0 at x = 950.0 (U " in text
    assert "Narrower by 4.0 toward the exit (U " in text
    assert "tolerance 1.0): OUT." in text


@pytest.mark.parametrize(("tolerance", "passes"), [("1", False), ("5", True)])
def test_taper_that_is_out_is_told_first_and_fails_the_check(tolerance, passes):
    """Two strings that are not parallel, each row along its own: no section is out, and yet all is not well."""
    fine = "mark = '0.1'\nset = '0.05'\ntilt = 0\nzero = '0.1'"
    layout = two_rows(tolerance=f"offset = '3'\nsquare = '3'\nopening = '{tolerance}'", tape=fine)
    solution = solve(layout, read(layout, op=2 / 950, dr=2 / 950))
    assert solution.verdict.inside
    assert not solution.plan.steps
    assert solution.state.passes is passes
    said = summary(solution)
    assert ("As the strings hang, the opening op / dr is OUT: narrower by 4.0 toward the exit" in said) is not passes


def test_a_machine_that_is_not_told_from_left_to_right():
    """Without sides, or with three rows of which none has a place, nothing is across from anything."""
    assert rows_across(two_rows({"op": "", "dr": ""}, "")) == []
    sides = {"a": "string_side = 'left'", "b": "string_side = 'right'", "c": "string_side = 'right'"}
    assert rows_across(two_rows(sides, "")) == []


def test_rows_stand_in_the_order_of_their_places():
    """Three rows, told in any order."""
    rows = {
        "right": "string = 'c'\nstring_side = 'right'\ntarget = '100'",
        "left": "string = 'a'\nstring_side = 'left'\ntarget = '100'",
        "middle": "string = 'a'\nstring_side = 'left'\ntarget = '600'",
    }
    layout = two_rows(rows, "[string.a]\nat = '0'\n[string.c]\nat = '1500'\n")
    assert rows_across(layout) == [("left", "middle"), ("middle", "right")]


def test_only_where_both_rows_have_a_face():
    """A section that was not measured leaves a gap; none at all leaves no opening."""
    layout = two_rows()
    rows = [(name, end, 600) for name in ("op-0", "dr-0", "dr-1") for end in ("entry", "exit")]
    assert [p.x for p in across(layout, readings(layout, rows)).places] == [0, 450]
    assert openings(fit_train(layout, readings(layout, rows[:2]))) == ()


@pytest.mark.parametrize("line", [Line.fitted, Line.free])
def test_no_other_line_changes_an_opening(line):
    """What lies between the faces is what it is, its u too, whatever deviations are taken from."""
    layout = two_rows()
    survey = read(layout, op=0.01, dr=-0.004)
    plain, other = (solve(layout, survey, line=choice).state.openings[0] for choice in (Line.string, line))
    assert [p.opening for p in other.places] == pytest.approx([p.opening for p in plain.places])
    assert [p.u for p in other.places] == pytest.approx([p.u for p in plain.places])
    assert (other.change, other.change_u) == pytest.approx((plain.change, plain.change_u))


@pytest.mark.parametrize("suffix", ["", "-mm"], ids=["in", "mm"])
def test_sample_as_found_against_the_stated_truth(samples, suffix):
    """Every opening, and its taper, within U; strings 61 1/2 in or 1562 mm apart, measured without error."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    (found,) = openings(fit_train(layout, read_survey(samples / f"as-found{suffix}.csv", layout)))
    spacing = 61.5 * 25.4 if not suffix else 1562.0

    def true(x: float) -> float:
        faces = [next(s for s in layout.row_sections(row) if s.start - 1e-6 <= x <= s.end + 1e-6) for row in found.rows]
        reads = (layout.rows[s.row].target + truth_at(AS_FOUND, layout, s.name, x - s.start) for s in faces)
        return spacing - sum(reads)

    assert len(found.places) >= 12
    for place in found.places:
        assert abs(place.opening - true(place.x)) <= COVERAGE * place.u
    taper = true(found.places[-1].x) - true(found.places[0].x)
    assert abs(found.change - taper) <= COVERAGE * found.change_u


def test_openings_on_the_command_line(samples, run):
    """In the layout's units; after the moves, what the tape will find when it has moved so."""
    answer = json.loads(run("solve", samples / "machine.toml", samples / "as-found.csv", "--json").out)
    before, after = (next(o for o in part["openings"] if o["x"] == 79) for part in (answer, answer["after"]))
    assert before["x"] == after["x"] == pytest.approx(79)
    # operator-5 ends at 79, its bolts at 66 and 77; drive-3 stays: what each bolt end takes off widens the opening
    entry, exit_ = (
        sum(s["move"] for s in answer["moves"]["steps"] if (s["section"], s["loosen"]) == ("operator-5", end))
        for end in ("entry", "exit")
    )
    assert not any(s["section"] == "drive-3" for s in answer["moves"]["steps"])
    assert (entry, exit_) != (0, 0)
    widened = entry * (77 - 79) / 11 + exit_ * (79 - 66) / 11
    assert after["opening"] - before["opening"] == pytest.approx(widened, abs=3e-6)
    assert after["u"] > 0


def test_a_gap_in_one_row_is_stepped_over():
    """Faces across from one another before and behind it: the taper is from the first place to the last."""
    parts = [{"name": f"op-{k}", "row": "op", "start": 500 * k, "length": 450} for k in range(3)]
    parts += [{"name": f"dr-{k}", "row": "dr", "start": 500 * k, "length": 450} for k in (0, 2)]
    layout = machine(parts, rows=TWO, tape=TAPE, joints=SPACED)
    found = across(layout, read(layout, dr=-1 / 1450))
    assert [p.x for p in found.places] == [0, 450, 1000, 1450]
    assert found.change == pytest.approx(1, abs=2e-3)


def test_rows_are_put_in_order_with_their_setbacks():
    """Both strings at one place between the rows: the row set back farther to the left is the left one."""
    rows = {
        "a": "string = 'a'\nstring_side = 'left'\ntarget = '300'",
        "b": "string = 'b'\nstring_side = 'left'\ntarget = '100'",
    }
    parts = [{"name": "a-0", "row": "a", "start": 0, "length": 450, "setback": "-150"}]
    parts.append({"name": "b-0", "row": "b", "start": 0, "length": 450, "setback": "100"})
    layout = machine(parts, rows=rows, tape=TAPE, joints="[string.a]\nat = '0'\n[string.b]\nat = '0'\n")
    # 300 less 150 is nearer the string than 100 and 100 more
    assert rows_across(layout) == [("a", "b")]


def test_rows_of_each_plane():
    """Heights face no side, and a row without sections is nobody's."""
    side = "target = '600'\nstring_side = '{}'"
    rows = {"dr": side.format("right"), "op": side.format("left"), "none": side.format("left")}
    rows["h"] = "target = '300'\nplane = 'height'\nstring_side = 'above'"
    parts = [{"name": f"{row}-1", "row": row, "start": "0", "length": "450"} for row in ("dr", "op", "h")]
    layout = machine(parts, rows=rows)
    assert rows_of(layout, Plane.side) == ["dr", "op"]
    assert rows_of(layout, Plane.height) == ["h"]
    assert rows_across(layout) == [("op", "dr")]
