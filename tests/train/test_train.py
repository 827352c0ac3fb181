"""The train: targets, lines, sections with few readings, and plain arithmetic beside the program's answers."""

from __future__ import annotations

import csv
import json
import math
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from alignment.choices import Line
from alignment.errors import NotEnoughReadingsError
from alignment.train.train import Train, fit_train
from tests.tools.machines import machine, readings

TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.4'"
U = math.sqrt(1 / 12 + 0.4**2)
"""Independent standard uncertainty of a reading with this tape. [mm]"""


def sections(*names: str, row: str = "r", **keys: object) -> list[dict[str, object]]:
    """Sections of 400 mm every 500 mm."""
    return [{"name": name, "row": row, "start": 500 * k, "length": 400, **keys} for k, name in enumerate(names)]


def fitted(parts, taken, *, line: Line = Line.string, **how) -> Train:
    layout = machine(parts, **({"tape": TAPE} | how))
    return fit_train(layout, readings(layout, taken), line=line)


def ends(**read: tuple[float, float]):
    """Rows of a survey: each section at its entry and its exit."""
    return [row for name, (a, b) in read.items() for row in ((name, "entry", a), (name, "exit", b))]


# --- targets ---------------------------------------------------------------------------------------------------


def test_target_that_is_a_number():
    """Reading less target less setback; the tape's zero is in every u."""
    parts = sections("a", "b")
    parts[1]["setback"] = "-3"
    train = fitted(parts, ends(a=(601, 603), b=(598, 599)), rows={"r": "target = '600'"})
    assert train.offset.value == pytest.approx([2.0, 1.5])
    assert train.offset.u == pytest.approx([math.sqrt(U**2 / 2 + 0.4**2)] * 2)
    assert train.target_at(train.middle) == pytest.approx([600, 597])


def test_target_from_the_sections_on_hold():
    """Mean of their mid-length readings less setbacks: (602 + (606 - 2)) / 2 = 603."""
    parts = sections("a", "b", "c", "d")
    parts[1]["hold"] = parts[3]["hold"] = True
    parts[3]["setback"] = "2"
    train = fitted(parts, ends(a=(600, 600), b=(601, 603), c=(605, 605), d=(606, 606)))
    assert train.offset.value == pytest.approx([-3, -1, 2, 1])
    # a and c against the mean of two others: u^2/2 (1 + 1/2); b and d are half of that mean themselves
    a, b = math.sqrt(U**2 / 2 * 1.5), math.sqrt(U**2 / 2 * 0.5)
    assert train.offset.u == pytest.approx([a, b, a, b])


def test_target_from_the_first_section():
    """Neither a number nor any on hold: the first is the reference, has no offset, and its u is in the others."""
    train = fitted(sections("a", "b"), ends(a=(600, 602), b=(603, 603)))
    assert train.offset.value == pytest.approx([0, 2])
    assert train.offset.u == pytest.approx([0, U], abs=1e-7)
    assert train.ends[0].value == pytest.approx([-1, 2])


def test_rows_have_targets_of_their_own():
    parts = [*sections("a", "b"), *sections("c", "d", row="q")]
    train = fitted(parts, ends(a=(600, 600), b=(601, 601), c=(500, 500), d=(504, 504)), rows={"r": "", "q": ""})
    assert train.offset.value == pytest.approx([0, 1, 0, 4])


# --- lines -----------------------------------------------------------------------------------------------------


def test_fitted_line_takes_off_how_the_string_was_hung():
    """Faces on one slanted line have no deviation left, and its shift and slope are told."""

    def face(x):
        return 600 + 3 + 0.01 * x

    rows = ends(**{n: (face(500 * k), face(500 * k + 400)) for k, n in enumerate("abc")})
    train = fitted(sections("a", "b", "c"), rows, line=Line.fitted, rows={"r": "target = '600'"})
    for end in (*train.ends, train.skew):
        assert end.value == pytest.approx([0, 0, 0], abs=1e-9)
    assert train.string_lines["r"] == pytest.approx((3, 0.01))
    assert fitted(sections("a", "b", "c"), rows, rows={"r": "target = '600'"}).skew.value == pytest.approx([4, 4, 4])


def test_fitted_line_goes_through_the_sections_on_hold():
    parts = sections("a", "b", "c")
    parts[0]["hold"] = parts[2]["hold"] = True
    rows = ends(a=(601, 601.8), b=(612, 612.8), c=(603, 603.8))
    train = fitted(parts, rows, line=Line.fitted, rows={"r": "target = '600'"})
    assert train.offset.value == pytest.approx([0, 10, 0], abs=1e-9)
    assert train.skew.value == pytest.approx([0, 0, 0], abs=1e-9)


def test_row_across_the_string_sees_it_from_the_other_side():
    """A string that leans toward one row leans away from the other."""
    parts = [*sections("a", "b"), *sections("c", "d", row="q")]
    rows = ends(a=(600, 604), b=(605, 609), c=(600, 596), d=(595, 591))
    told = {"r": "string = 's'\nstring_side = 'left'\ntarget = '600'",
            "q": "string = 's'\nstring_side = 'right'\ntarget = '600'"}  # fmt: skip
    train = fitted(parts, rows, line=Line.fitted, rows=told)
    assert train.offset.value == pytest.approx([0] * 4, abs=1e-9)
    assert train.string_lines["s"] == pytest.approx((0, 0.01), abs=1e-9)


# --- few readings, many readings -------------------------------------------------------------------------------


def test_two_points_read_once():
    """Exact, legal, and all u from the budget: offset u / sqrt 2, ends u, skew u sqrt 2."""
    tape = "mark = '1'\nset = '0'\ntilt = 0\nzero = '0'"
    train = fitted(sections("a"), ends(a=(600, 603)), rows={"r": "target = '600'"}, tape=tape)
    u = math.sqrt(1 / 12)
    assert train.lines.dof[0] == 0
    assert train.offset.u[0] == pytest.approx(u / math.sqrt(2))
    assert [end.u[0] for end in train.ends] == pytest.approx([u, u])
    assert train.skew.u[0] == pytest.approx(u * math.sqrt(2))
    assert train.birge[0] == 1


def test_section_not_measured_enough():
    """Never guessed: NaN, and the others as if it were not there."""
    rows = [*ends(a=(600, 601), c=(602, 602)), ("b", "entry", 603), ("b", "entry", 604)]
    train = fitted(sections("a", "b", "c"), rows, rows={"r": "target = '600'"}, joints=[("a", "b"), ("b", "c")])
    assert train.measured.tolist() == [True, False, True]
    for found in (train.offset, train.skew, *train.ends):
        assert np.isnan(found.value[1])
        assert np.isnan(found.u[1])
    assert train.offset.value[[0, 2]] == pytest.approx([0.5, 2])
    assert np.isnan(train.steps.value).all()


def test_section_that_was_not_read_at_all():
    train = fitted(sections("a", "b"), ends(b=(600, 601)))
    assert train.measured.tolist() == [False, True]
    assert train.offset.value[1] == pytest.approx(0)


@pytest.mark.parametrize("line", Line)
def test_nothing_measured(line):
    with pytest.raises(NotEnoughReadingsError) as error:
        fitted(sections("a", "b"), [("a", "entry", 600), ("b", "exit", 601)], line=line)
    assert str(error.value) == (
        "survey.csv: no section was read at two distinct points, so no face can be drawn. "
        "Read each section at its entry and exit points."
    )


@pytest.mark.parametrize("off", [0.5, 3.0])
def test_u_grows_only_where_readings_scatter(off):
    """Beyond chi-square's 95 % point by the Birge ratio; never shrunk below the budget."""
    rows = [*ends(a=(600, 600)), ("a", "mid", 600 + off)]
    train = fitted(sections("a"), rows, rows={"r": "target = '600'"})
    # the middle of three is off by two thirds of its slip, the ends by a third each
    chi2 = off**2 * (4 / 9 + 1 / 9 + 1 / 9) / U**2
    assert train.lines.chi2[0] == pytest.approx(chi2)
    beyond = chi2 > stats.chi2.ppf(0.95, 1)
    assert beyond == (off == 3.0)
    assert train.birge[0] == pytest.approx(math.sqrt(chi2) if beyond else 1.0)
    assert train.skew.u[0] == pytest.approx(U * math.sqrt(2) * train.birge[0])


def test_repeats_that_agree_too_well_do_not_shrink_u():
    train = fitted(sections("a"), ends(a=(600, 601)) * 4, rows={"r": "target = '600'"})
    assert train.lines.chi2[0] == pytest.approx(0)
    # a quarter of the variance of one reading, but for what four repeats keep of the rounding
    one = stats.norm(0, 0.4)
    at = np.linspace(0, 1, 1001)[:-1]
    bias = sum(k * (one.cdf(k + 0.5 - at[:, None]) - one.cdf(k - 0.5 - at[:, None]))[:, 0] for k in range(-3, 5)) - at
    kept = np.mean(bias**2)
    assert train.skew.u[0] == pytest.approx(math.sqrt(2 * ((U**2 - kept) / 4 + kept)), rel=1e-6)


def test_closing_readings_are_not_fitted():
    layout = machine(sections("a"), tape=TAPE)
    rows = [("a", "entry", 600, ""), ("a", "exit", 601, ""), ("a", "entry", 650, "close")]
    train = fit_train(layout, readings(layout, rows, header="section,point,reading,repeat"))
    assert train.lines.count[0] == 2
    assert train.skew.value[0] == pytest.approx(1)


# --- joints ----------------------------------------------------------------------------------------------------


def test_step_is_that_of_the_downstream_face():
    """Positive where the downstream face is farther from the string; faces are drawn out to their ends."""
    parts = sections("a", "b", points=["100", "300"])
    rows = [("a", "entry", 600), ("a", "exit", 602), ("b", "entry", 608), ("b", "exit", 606)]
    train = fitted(parts, rows, joints=[("a", "b")])
    # a reads 603 at its exit end, b 609 at its entry end
    assert train.steps.value[0] == pytest.approx(6)
    # a face drawn out by half its points' distance: u^2 (1.5^2 + 0.5^2) on either side
    assert train.steps.u[0] == pytest.approx(U * math.sqrt(2 * 2.5))


def test_nominal_step_is_what_the_setbacks_make_unless_it_is_told():
    parts = sections("a", "b")
    parts[1]["setback"] = "5"
    rows = ends(a=(600, 600), b=(606, 606))
    how = {"rows": {"r": "target = '600'"}}
    assert fitted(parts, rows, joints=[("a", "b")], **how).steps.value[0] == pytest.approx(1)
    told = "[[joint]]\nsections = ['a', 'b']\nstep = '4'"
    assert fitted(parts, rows, joints=told, **how).steps.value[0] == pytest.approx(2)


# --- moves -----------------------------------------------------------------------------------------------------


def test_moved():
    """Faces go where they are put; what is kept of the ends keeps its covariance, and what is new adds its own."""
    parts = sections("a", "b", bolts=["50", "350"])
    train = fitted(parts, ends(a=(600, 603), b=(601, 601)), rows={"r": "target = '600'"})
    lever = np.array([[[1.0, 0.0], [0.0, 0.0]], np.eye(2)])
    fresh = np.array([[[0.0, 0.0], [0.0, 0.09]], np.zeros((2, 2))])
    after = train.moved(np.array([[0.5, -0.5], [1.0, 1.0]]), lever, fresh)
    assert after.ends[0].value == pytest.approx([0.5, 1])
    assert after.ends[1].value == pytest.approx([-0.5, 1])
    assert after.ends[0].u == pytest.approx(train.ends[0].u)
    assert after.ends[1].u == pytest.approx([math.hypot(0.3, train.survey.tape.zero), train.ends[1].u[1]])
    # the zero is common to both ends and drops out of the skew
    own = train.ends[0].u[0] ** 2 - train.survey.tape.zero**2
    assert after.skew.u[0] == pytest.approx(math.sqrt(own + 0.09))
    assert train.ends[0].value == pytest.approx([0, 1])


def test_targets_stay_when_their_section_is_moved():
    train = fitted(sections("a", "b"), ends(a=(600, 600), b=(603, 603)))
    keep = np.array([np.eye(2)] * 2)
    after = train.moved(np.array([[-2.0, -2.0], [3.0, 3.0]]), keep, np.zeros((2, 2, 2)))
    assert after.offset.value == pytest.approx([-2, 3])
    assert after.offset.u == pytest.approx(train.offset.u)


# --- plain arithmetic on the sample ----------------------------------------------------------------------------


@pytest.mark.parametrize(("suffix", "size"), [("", 25.4), ("-mm", 1.0)])
def test_sample_by_plain_arithmetic(samples, run, suffix, size):
    """Offset, skew, ends, steps and their u of the survey as found to a millionth of the unit, from its own text."""
    layout, survey = samples / f"machine{suffix}.toml", samples / f"as-found{suffix}.csv"
    found = json.loads(run("solve", layout, survey, "--json").out)
    read: dict[str, dict[str, float]] = {}
    lines = [line for line in survey.read_text().splitlines() if not line.startswith("#")]
    for row in csv.DictReader(lines):
        if row["kind"] != "close":
            read.setdefault(row["section"], {})[row["point"]] = float(sum(map(Fraction, row["reading"].split())))
    mark, placing, zero = (0.0625, 1 / 64, 1 / 64) if size > 1 else (1.0, 0.4, 0.4)
    targets = (18.375, 19.875) if size > 1 else (467.0, 505.0)

    def u(r):
        return math.sqrt(mark**2 / 12 + placing**2 + (r * math.radians(2) ** 2) ** 2 / 45)

    def tilted(r):
        return r * math.radians(2) ** 2 / 6

    for section in found["sections"]:
        own, target = read[section["section"]], targets[section["row"] == "drive"]
        a, b = own["entry"], own["exit"]
        near = pytest.approx
        assert section["offset"]["value"] == near((a + b) / 2 - target, abs=1e-6)
        assert section["offset"]["u"] == near(
            math.sqrt((u(a) ** 2 + u(b) ** 2) / 4 + zero**2 + tilted((a + b) / 2) ** 2), abs=1e-6
        )
        assert section["skew"]["value"] == near(b - a, abs=1e-6)
        assert section["skew"]["u"] == near(math.hypot(u(a), u(b)), abs=1e-6)
        for end, r in own.items():
            assert section["ends"][end]["reading"] == near(r, abs=1e-6)
            assert section["ends"][end]["deviation"] == near(r - target, abs=1e-6)
            assert section["ends"][end]["u"] == near(math.hypot(u(r), zero, tilted((a + b) / 2)), abs=1e-6)
    for joint in found["joints"]:
        up, down = (read[name] for name in joint["sections"])
        assert joint["step"] == pytest.approx(down["entry"] - up["exit"], abs=1e-6)
        assert joint["u"] == pytest.approx(math.hypot(u(down["entry"]), u(up["exit"])), abs=1e-6)
    # both strings' places are told, 61 1/2 in and 1562 mm apart; the zero enters both readings the same way
    across = found["openings"][0]
    assert (across["rows"], across["x"]) == (["operator", "drive"], 0.0)
    a, b = read["operator-1"]["entry"], read["drive-1"]["entry"]
    assert across["opening"] == pytest.approx((61.5 if size > 1 else 1562) - a - b, abs=1e-6)
    middles = [sum(read[name].values()) / 2 for name in ("operator-1", "drive-1")]
    common = (2 * zero) ** 2 + tilted(sum(middles)) ** 2
    assert across["u"] == pytest.approx(math.sqrt(u(a) ** 2 + u(b) ** 2 + common), abs=1e-6)


# --- sums of deviations ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", [Line.string, Line.fitted])
@pytest.mark.parametrize("target", ["target = '600'", ""])
def test_sums_agree_with_what_is_worked_out_for_all_at_once(line, target):
    """A deviation, a skew and a step as sums of deviations, under targets and lines that the readings make."""
    rng = np.random.default_rng(8)
    parts = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 400} for k in range(4)]
    taken = ends(**{f"s{k}": tuple(600 + rng.normal(0, 2, 2).round(3)) for k in range(4)})
    train = fitted(parts, taken, line=line, rows={"r": target}, joints=[("s0", "s1"), ("s1", "s2")])
    x = [(s.start, s.end) for s in train.layout.sections]
    near = {"rel": 1e-9, "abs": 1e-9}
    for i in range(4):
        for end in (0, 1):
            value, u = train.combine([(i, x[i][end], 1.0)])
            assert (value, u) == pytest.approx((train.ends[end].value[i], train.ends[end].u[i]), **near)
        value, u = train.combine([(i, x[i][1], 1.0), (i, x[i][0], -1.0)])
        assert (value, u) == pytest.approx((train.skew.value[i], train.skew.u[i]), **near)
    for j in (0, 1):
        # at one place, so that no line comes between them
        value, u = train.combine([(j + 1, x[j + 1][0], 1.0), (j, x[j][1], -1.0)], readings=True)
        if line is Line.string:
            assert (value, u) == pytest.approx((train.steps.value[j], train.steps.u[j]), **near)


def test_lines_and_string_of_a_train():
    """Lines of several strings keep apart, and a string without one hangs as it did."""
    parts = [{"name": name, "row": name, "start": 0, "length": 400} for name in "abc"]
    train = fitted(parts, ends(a=(600, 600), b=(605, 609), c=(590, 590)), rows=dict.fromkeys("abc", "target = '600'"))
    seen = train.on_line({"a": (1.0, 0.0), "b": (5.0, 0.01)})
    assert seen.line is Line.free
    assert seen.string_lines == {"a": (1.0, 0.0), "b": (5.0, 0.01), "c": (0.0, 0.0)}
    assert seen.ends[0].value == pytest.approx([-1, 0, -10])
    assert seen.ends[1].value == pytest.approx([-1, 0, -10])
    back = seen.on_string()
    assert back.line is Line.string
    assert back.ends[1].value == pytest.approx(train.ends[1].value)
    assert back.ends[1].u == pytest.approx(train.ends[1].u)
