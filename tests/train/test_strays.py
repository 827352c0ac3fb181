"""Readings that the others of their section contradict."""

from __future__ import annotations

import json

import numpy as np
import pytest

from alignment.choices import Line, LineChoice
from alignment.fitting.lines import fit_line
from alignment.train.flags.find import find_flags
from alignment.train.flags.flag import Flag, FlagKind
from alignment.train.flags.strays import critical_w, find_strays, without
from alignment.train.solve import of_string, solve, solve_lines
from alignment.train.train import fit_train
from tests.tools.machines import layout_text, machine, readings, said, survey_text

U = float(np.hypot(1 / np.sqrt(12), 0.4))
"""Standard uncertainty of a reading of the machines here: marks of 1 mm, placing 0.4 mm, no tilt."""


def sections(count: int, points: tuple[int, ...] = (0, 225, 450)) -> list[dict[str, object]]:
    return [
        {"name": f"a-{k + 1}", "row": "a", "start": str(500 * k), "length": "450", "points": [str(p) for p in points]}
        for k in range(count)
    ]


def rows(values: dict[str, list[object]], points: tuple[int, ...] = (0, 225, 450)) -> list[tuple[str, str, object]]:
    return [(name, str(point), value) for name, own in values.items() for point, value in zip(points, own, strict=True)]


def strays(values: dict[str, list[object]], points: tuple[int, ...] = (0, 225, 450), target: str = "target = '600'"):
    layout = machine(sections(len(values), points), rows={"a": target})
    return find_strays(fit_train(layout, readings(layout, rows(values, points))))


CLEAN = {f"a-{k}": [600, 600, 600] for k in range(1, 6)}


@pytest.mark.parametrize("section", ["a-1", "a-3", "a-5"])
@pytest.mark.parametrize("at", [0, 1, 2])
@pytest.mark.parametrize("by", [10, -25])
def test_slip_among_three_points_is_found_with_the_neighbours_help(section, at, by):
    """Three readings of one face have one check between them: their own residuals cannot tell which is wrong."""
    own = [600, 600, 600]
    own[at] += by
    (stray,) = strays(CLEAN | {section: own})
    assert (stray.reading.section, stray.reading.place) == (section, 225.0 * at)
    assert stray.slip == pytest.approx(by)
    assert len(stray.tied) == 2
    assert stray.decided


def test_numbers_of_a_stray():
    """Three points at even places: redundancies 1/6, 2/3 and 1/6, and the residual of the middle one two thirds."""
    (stray,) = strays(CLEAN | {"a-2": [600, 609, 600]})
    assert stray.u_slip == pytest.approx(U / np.sqrt(2 / 3))
    assert stray.w == pytest.approx(9 * np.sqrt(2 / 3) / U)
    assert stray.detectable == pytest.approx(4.1321479651 * U / np.sqrt(2 / 3), rel=1e-9)


def test_five_points_need_no_neighbour():
    (stray,) = strays({"a-1": [600, 600, 606, 601, 600]}, (0, 100, 225, 350, 450))
    assert stray.reading.place == 225
    assert stray.tied == ()
    assert stray.decided


def test_lonely_section_cannot_tell_which_of_three():
    """No neighbours and no target: one of the three is wrong, and nothing tells which. None is dropped by chance."""
    layout = machine(sections(1), rows={"a": ""})
    survey = readings(layout, rows({"a-1": [600, 620, 600]}))
    (stray,) = find_strays(fit_train(layout, survey))
    assert not stray.decided
    (flag,) = find_flags(fit_train(layout, survey))
    names = {"entry": "600", "mid": "620", "exit": "600"}
    del names[flag.point]  # all three fit equally: which one is named is left to rounding
    others = " or ".join(f"{point} ({read})" for point, read in names.items())
    assert f"It may as well be {others} that is wrong: nothing here tells which." in said(flag)
    assert "neighbours" not in said(flag)
    assert solve(layout, survey, drop_strays=True).dropped == ()


def test_lonely_section_is_told_by_its_target():
    """Two of the three agree with the wanted reading."""
    (stray,) = strays({"a-1": [600, 620, 600]})
    assert stray.decided
    assert stray.reading.text == "620"


def test_two_slips_in_two_sections_are_both_found_worst_first():
    found = strays(CLEAN | {"a-2": [600, 600, 610], "a-4": [625, 600, 600]})
    assert [(s.reading.section, s.reading.place) for s in found] == [("a-4", 0), ("a-2", 450)]
    assert abs(found[0].w) > abs(found[1].w)


def test_two_slips_in_one_section():
    """Six points, two of them wrong, each by its own."""
    points = (0, 90, 180, 270, 360, 450)
    (a, b) = strays({"a-1": [600, 600, 640, 600, 600, 612]}, points)
    assert (a.reading.place, b.reading.place) == (180, 450)


@pytest.mark.parametrize(("over", "count"), [(1.001, 1), (0.999, 0)])
def test_point_of_the_test(over, count):
    """A residual just beyond the Bonferroni point over all fifteen tests, and one just short of it."""
    by = over * critical_w(15) * U / np.sqrt(2 / 3)
    assert len(strays(CLEAN | {"a-2": [600, round(600 + by, 6), 600]})) == count


def test_two_readings_have_no_stray():
    assert strays({"a-1": [600, 625], "a-2": [600, 600]}, (0, 450)) == ()


def test_without_a_target():
    (stray,) = strays(CLEAN | {"a-1": [600, 600, 625]}, target="")
    assert (stray.reading.section, stray.reading.place) == ("a-1", 450)


def test_one_of_two_repeats():
    """Each end read twice and one of the four an inch off: the neighbours say which of the two that differ."""
    layout = machine(sections(4, (0, 450)), rows={"a": "target = '600'"})
    read = [(f"a-{k}", p, 600) for k in (1, 2, 3, 4) for p in ("entry", "exit") for _ in (1, 2)]
    read[5] = ("a-2", "entry", 625)
    survey = readings(layout, read)
    (stray,) = find_strays(fit_train(layout, survey))
    assert stray.reading is survey.readings[5]
    (flag,) = find_flags(fit_train(layout, survey))
    assert "read 625, the others say 600.0 mm." in said(flag)
    assert "Its section alone could not tell it from entry (600); the neighbours or the target did." in said(flag)


def test_no_smaller_set_is_as_good():
    """What is left of a random section without its stray: every normalised residual within the point of the test."""
    rng = np.random.default_rng(5)
    points = tuple(range(0, 451, 50))
    values = [round(float(v), 3) for v in 600 + rng.normal(0, U, 10)]
    values[4] += 12
    layout = machine(sections(1, points), rows={"a": "target = '600'"})
    survey = readings(layout, rows({"a-1": values}, points))
    (stray,) = find_strays(fit_train(layout, survey))
    left = without(survey, [stray.reading])
    assert len(left.readings) == 9
    line = fit_line([r.place for r in left.readings], [r.value for r in left.readings], u=U)
    assert np.abs(line.w).max() <= critical_w(10)
    says = line.at(stray.reading.place)[0]
    assert stray.slip == pytest.approx(stray.reading.value - says)


def test_dropping_is_recorded(run, tmp_path):
    """Through the program: what was left out stands in the answer, with the row of the file, and the fit is without."""
    layout, survey = tmp_path / "machine.toml", tmp_path / "survey.csv"
    layout.write_text(layout_text(sections(5), rows={"a": "target = '600'"}))
    survey.write_text(survey_text(rows(CLEAN | {"a-4": [600, 700, 600]})))
    kept = json.loads(run("solve", layout, survey, "--json").out)
    assert kept["dropped"] == []
    assert kept["sections"][3]["readings"] == 3
    assert kept["sections"][3]["offset"]["value"] == pytest.approx(100 / 3)
    answer = json.loads(run("solve", layout, survey, "--json", "--drop-strays").out)
    assert answer["dropped"] == [{"section": "a-4", "point": "mid", "reading": 700.0, "text": "700", "row": 12}]
    assert answer["sections"][3]["readings"] == 2
    assert answer["sections"][3]["offset"]["value"] == pytest.approx(0, abs=1e-9)
    assert [f["flag"] for f in answer["flags"]] == ["stray"], "the flag stays: a record of what was wrong"
    text = run("solve", layout, survey, "--drop-strays").out
    assert "Left out of the fit, as you asked: a-4, row 12: 700." in " ".join(text.split())


def test_neighbours_decide_along_a_leaning_string():
    """Every face slants with its string, far from the zero mark: the slip is what leaves the slant."""
    slanted = {f"a-{k}": [600 + 0.02 * (500 * (k - 1) + x) for x in (0, 225, 450)] for k in range(1, 7)}
    for at in range(3):
        own = slanted["a-6"].copy()
        own[at] += 12
        (stray,) = strays(slanted | {"a-6": own})
        assert (stray.reading.section, stray.reading.place, stray.decided) == ("a-6", 225.0 * at, True)
        assert stray.slip == pytest.approx(12)


def test_nothing_is_dropped_unless_that_is_asked_for():
    layout = machine(sections(5), rows={"a": "target = '600'"})
    survey = readings(layout, rows(CLEAN | {"a-2": [600, 640, 600]}))
    for line in Line:
        assert solve(layout, survey, line=line).dropped == ()
        assert [r.text for r in solve(layout, survey, line=line, drop_strays=True).dropped] == ["640"]
    assert [found.dropped for found in solve_lines(layout, survey, LineChoice.all).values()] == [()] * len(Line)


def test_which_flags_doubt_a_string():
    assert of_string(Flag(flag=FlagKind.line_skewed, string="s"))
    assert of_string(Flag(flag=FlagKind.off_target, string="s"))
    assert not of_string(Flag(flag=FlagKind.off_target, section="a-1"))
    assert not of_string(Flag(flag=FlagKind.unlikely, section="a-1", string="s"))
