"""The line: string, fitted, free, and all of them side by side; a large machine with a free line."""

from __future__ import annotations

import json
import time

import numpy as np
import pytest

from alignment.choices import Aim, Line, LineChoice
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show import door, terminal
from alignment.show.json.solution import lines_json
from alignment.show.pictures.train import train_sheet
from alignment.show.words.solution import solution_page
from alignment.show.words.solution_doubts import doubts
from alignment.train.moves.missed import Cause
from alignment.train.moves.plan import plan_moves
from alignment.train.solve import easiest, solve, solve_lines
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

ROWS = dict.fromkeys(("left", "right"), "target = '600'")
TOLERANCE = "offset = '1.6'\nsquare = '1.6'\nstep = '1.6'"
LONG = 98 * 25.4
"""Length of the sample's operator row. [mm]"""


@pytest.fixture(scope="module")
def leaning():
    """The sample whose operator string leans 3/8 in over its row; the sections behind it stand well (stated truth)."""
    from alignment.files.disk import sample_folder

    layout = read_layout(sample_folder() / "machine.toml")
    return solve_lines(layout, read_survey(sample_folder() / "leaning-string.csv", layout), LineChoice.all)


# --- a string that leans ---------------------------------------------------------------------------------------


def test_free_asks_for_fewer_bolt_ends_than_the_string(leaning):
    """Nothing need be moved: the line is laid where the string should have hung."""
    assert list(leaning) == [Line.string, Line.fitted, Line.free]
    ends = {line: s.plan.bolt_ends for line, s in leaning.items()}
    assert ends[Line.free] == 0
    assert ends[Line.free] <= ends[Line.fitted] < ends[Line.string]
    assert leaning[Line.free].plan.optimal
    assert easiest(leaning) is not leaning[Line.string]
    _, slope = leaning[Line.free].train.string_lines["operator"]
    # U of the lean of that file, as it is flagged, is 0.109
    assert slope * LONG / 25.4 == pytest.approx(0.375, abs=0.11)


def test_the_words_make_clear_why(leaning):
    """The table, where the line is beside the string at both ends, and the flag that names the string."""
    page = solution_page(easiest(leaning), leaning)
    (part,) = [part for part in page.parts if part.heading == "What each line takes"]
    table, said = part.blocks
    assert [row[:2] for row in table.rows] == [(str(line), str(s.plan.bolt_ends)) for line, s in leaning.items()]
    assert " line. Leave the string as it is and go by the stops below" in said.words
    # to about 3/8 nearer at the exit
    assert "Beside string operator:" in said.words
    assert '" nearer to the faces at ' in said.words
    text = terminal.render(page)
    assert all(len(line) <= 80 for line in text.splitlines())
    string = " ".join(door.text(leaning[Line.string]).split())
    assert "All sections on string operator slope the same way" in string


def test_the_picture_makes_clear_why(leaning):
    """The string slants by what is said of it, to the scale of the deviations, and the key says how it is drawn."""
    figure = train_sheet(leaning[Line.free])
    axes = figure.axes[0]
    dashed = [line for line in axes.lines if line.get_linestyle() == "--" and len(line.get_xdata()) == 2]
    slant = max(abs(float(np.ptp(line.get_ydata()))) for line in dashed)
    assert slant > 0.1, "to be seen, it slants by a tenth of an inch of paper or more"
    scale = slant / abs(leaning[Line.free].train.string_lines["operator"][1] * LONG)
    along = (figure.get_size_inches()[0] - 1.2) / (1.04 * LONG)
    key = " ".join(text.get_text() for text in figure.texts)
    assert f"drawn {scale / along:.0f} times larger" in key
    assert "the string is drawn as it hangs beside it" in key


def test_side_by_side_in_json(leaning, run, samples):
    """A list of the three, and the whole answer of the easiest."""
    files = samples / "machine.toml", samples / "leaning-string.csv"
    answer = json.loads(run("solve", *files, "--line", "all", "--json").out)
    assert [own["line"] for own in answer["lines"]] == ["string", "fitted", "free"]
    assert [own["bolt_ends"] for own in answer["lines"]] == [s.plan.bolt_ends for s in leaning.values()]
    assert (answer["line"], answer["moves"]["bolt_ends"]) == (str(easiest(leaning).train.line), 0)
    assert "lines" not in lines_json({Line.free: leaning[Line.free]})
    assert "WHAT EACH LINE TAKES" in run("solve", *files, "--line", "all").out


def test_string_is_kept_where_it_does_as_well():
    """A machine in order: no line asks for anything, and the string as it hangs is said to do."""
    layout = machine([{"name": f"s{k}", "row": "left", "start": 500 * k, "length": 400} for k in range(3)], rows=ROWS)
    survey = readings(layout, [(s.name, end, 600) for s in layout.sections for end in ("entry", "exit")])
    found = solve_lines(layout, survey, LineChoice.all)
    assert easiest(found) is found[Line.string]
    told = terminal.render(solution_page(easiest(found), found))
    assert "The string as it hangs needs no more than any other line." in " ".join(told.split())


# --- what lines and plans keep ---------------------------------------------------------------------------------


@pytest.mark.parametrize("line", Line)
@pytest.mark.parametrize("suffix", ["", "-mm"], ids=["in", "mm"])
def test_every_joint_comes_into_step(samples, line, suffix):
    """The plan of the sample as found leaves every joint in step, by the best estimate, from any line."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    found = solve(layout, read_survey(samples / f"as-found{suffix}.csv", layout), line=line)
    assert any(not joint.step.verdict.inside for joint in found.state.joints)
    again = {name for a in found.read_again for name in (a.section, a.beside)}
    joints = [joint for joint in found.plan.state.joints if not again & {joint.upstream, joint.downstream}]
    assert joints
    assert all(joint.step.verdict.inside for joint in joints)
    assert not found.plan.missed


def held(readings_at, holds):
    """Four sections, some on hold, and a survey of them."""
    parts = [{"name": f"s{k}", "row": "left", "start": 500 * k, "length": 400, "hold": k in holds} for k in range(4)]
    layout = machine(parts, rows={"left": "target = '600'"}, tolerance=TOLERANCE)
    rows = [
        (s.name, end, f"{600 + readings_at(s, x):.3f}")
        for s in layout.sections
        for end, x in (("entry", s.start), ("exit", s.end))
    ]
    return layout, readings(layout, rows)


@pytest.mark.parametrize("aim", Aim)
def test_free_line_is_laid_along_the_sections_on_hold(aim):
    """
    Two sections on hold lie along a slant, the others along the string, which would ask for nothing.

    What may not move decides: the line goes along it, and the others are brought to the line.
    """
    layout, survey = held(lambda s, x: 0.01 * x if s.hold else 0.0, (0, 3))
    found = solve(layout, survey, line=Line.free, aim=aim)
    assert not found.plan.missed
    touched = {step.section for step in found.plan.steps}
    assert touched <= {"s1", "s2"}
    assert "s2" in touched | {again.section for again in found.read_again}
    assert found.train.string_lines["left"][1] == pytest.approx(0.01, abs=0.0025)
    assert all(part.verdict.inside for part in found.plan.state.sections if part.name in {"s0", "s3"} | touched)


def test_no_line_serves_the_sections_on_hold():
    """Held sections that no straight line can run along: told by how much they are missed, the least there is."""
    layout, survey = held(lambda s, _: 8.0 if s.name == "s1" else 0.0, (0, 1, 3))
    found = solve(layout, survey, line=Line.free)
    assert {m.cause for m in found.plan.missed} == {Cause.hold}
    # one line for all three: the middle one 8 off cannot come within 1.6 while both others do
    assert sum(m.by for m in found.plan.missed) > 1


def test_easiest_brings_everything_in_before_it_saves_bolt_ends():
    """Held sections along a slant: the string moves nothing and leaves them out, the free line does not."""
    layout, survey = held(lambda s, x: 0.005 * x if s.hold else 0.0, (0, 3))
    found = solve_lines(layout, survey, LineChoice.all)
    assert found[Line.string].plan.missed
    assert found[Line.string].plan.bolt_ends < found[Line.free].plan.bolt_ends
    assert not easiest(found).plan.missed


def test_target_of_the_row_itself_drops_out_of_a_fitted_line():
    """A line through the faces takes up whatever target there is: values and u are as with a number."""
    rng = np.random.default_rng(2)
    reads = [(f"s{k}", end, f"{600 + rng.normal(0, 2):.3f}") for k in range(4) for end in ("entry", "exit")]
    parts = [{"name": f"s{k}", "row": "left", "start": 500 * k, "length": 400} for k in range(4)]
    trains = []
    for target in ("", "target = '590'"):
        layout = machine(parts, rows={"left": target}, tape="mark = '1'\ntilt = 0\nzero = '0'")
        trains.append(fit_train(layout, readings(layout, reads), line=Line.fitted))
    relative, number = trains
    for what in ("offset", "skew"):
        assert getattr(relative, what).value == pytest.approx(getattr(number, what).value, abs=1e-9)
        assert getattr(relative, what).u == pytest.approx(getattr(number, what).u, rel=1e-9)


@pytest.mark.parametrize("aim", Aim)
def test_a_row_that_was_not_read(aim):
    """Only one side of the machine measured: its own line is free, and the other's is not spoken of."""
    parts = [{"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 400} for row in ROWS for k in range(3)]
    layout = machine(parts, rows=ROWS, tolerance=TOLERANCE)
    rows = [(s.name, end, 605) for s in layout.sections if s.row == "left" for end in ("entry", "exit")]
    found = solve(layout, readings(layout, rows), line=Line.free, aim=aim)
    assert found.plan.bolt_ends == 0
    assert found.train.string_lines["right"] == (0.0, 0.0)


def test_tapes_zero_under_a_free_line():
    """
    A line that may lie anywhere takes the tape's zero up; not where two rows see the string from its two sides.

    There a tape that reads long puts both rows too far from the string, and no line is nearer to both.
    """
    tape = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.5'"
    parts = [{"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 400} for row in ROWS for k in range(2)]
    u = np.sqrt(1 / 12 + 0.4**2)
    for side, zero in (("left", 0.0), ("right", 0.5)):
        rows = {
            "left": "string = 'm'\nstring_side = 'left'\ntarget = '600'",
            "right": f"string = 'm'\nstring_side = '{side}'\ntarget = '600'",
        }
        layout = machine(parts, rows=rows, tape=tape)
        survey = readings(layout, [(s.name, end, 600) for s in layout.sections for end in ("entry", "exit")])
        found = solve(layout, survey, line=Line.free).train
        assert found.ends[0].u == pytest.approx([np.hypot(u, zero)] * 4)


# --- sixty sections --------------------------------------------------------------------------------------------


def sixty(seed: int):
    """Two rows of thirty with every joint, put out at random, read to the millimetre from strings that lean 150 mm."""
    rng = np.random.default_rng(seed)
    parts, rows = [], []
    for row in ROWS:
        for k in range(30):
            name, x = f"{row}-{k}", 500.0 * k
            parts.append({"name": name, "row": row, "start": x, "length": 460.0, "bolts": [40.0, 420.0]})
            middle, skew = rng.normal(0, 1.5, 2)
            for end, at, d in (("entry", x, middle - skew / 2), ("exit", x + 460, middle + skew / 2)):
                rows.append((name, end, f"{600 + d + 0.01 * (at - 7500):.0f}"))
    joints = [(f"{row}-{k}", f"{row}-{k + 1}") for row in ROWS for k in range(29)]
    layout = machine(parts, rows=ROWS, joints=joints, tolerance=TOLERANCE)
    return layout, readings(layout, rows)


@pytest.mark.slow
def test_sixty_sections_in_two_rows():
    """
    Joints and a free line, inside half a minute: all brought in, and far fewer sections out than by the string.

    A joint beside a section that is to be read again first waits for that.
    """
    layout, survey = sixty(2)
    begin = time.monotonic()
    found = solve(layout, survey, line=Line.free)
    assert time.monotonic() - begin < 30
    assert len(layout.joints) == 58
    assert found.plan.missed == ()
    assert all(part.verdict.inside for part in found.plan.state.sections)
    waiting = {again.section for again in found.plan.read_again}
    settled = [joint for joint in found.plan.state.joints if not {joint.upstream, joint.downstream} & waiting]
    assert len(settled) > 20
    assert all(joint.step.verdict.inside for joint in settled)
    out = [sum(not part.verdict.inside for part in s.state.sections) for s in (found, solve(layout, survey))]
    assert out[0] < 0.75 * out[1]
    assert found.plan.optimal or "Time ran out before" in door.text(found, full=True)


@pytest.mark.slow
def test_time_runs_out():
    """Cut short, the plan still keeps every rule, and says by how much a better one could be better."""
    layout, survey = sixty(2)
    begin = time.monotonic()
    plan = plan_moves(fit_train(layout, survey, line=Line.free), seconds=1.0)
    assert time.monotonic() - begin < 8
    assert plan.missed == ()
    assert not plan.optimal
    assert plan.ends_gap > 0 or plan.movement_gap > 0


@pytest.mark.parametrize("line", [Line.fitted, Line.free])
def test_one_section_makes_no_line(line):
    """It would be straight by itself, whatever its skew; the string stays, and the answer says so."""
    layout = machine([{"name": "a", "row": "r", "start": 0, "length": 400}], rows={"r": "target = '600'"})
    survey = readings(layout, [("a", "entry", 590), ("a", "exit", 610)])
    found = solve_lines(layout, survey, LineChoice(line))[line]
    string = solve_lines(layout, survey, LineChoice.string)[Line.string]
    assert found.state.sections[0].skew == string.state.sections[0].skew
    assert found.plan.moves == pytest.approx(string.plan.moves)
    assert "String r is taken as it hangs: a line needs two measured sections." in " ".join(doubts(found))


def test_free_line_beside_a_string_that_has_none():
    """Two sections on one string, one on another: the tape's zero stays in what hangs on the second."""
    parts = [
        {"name": name, "row": name[0], "start": x, "length": 400} for name, x in (("a1", 0), ("a2", 500), ("b", 0))
    ]
    layout = machine(parts, rows={"a": "target = '600'", "b": "target = '650'"})
    reads = [(name, end, 600 if name[0] == "a" else 650) for name in ("a1", "a2", "b") for end in ("entry", "exit")]
    survey = readings(layout, reads)
    train = solve_lines(layout, survey, LineChoice.free)[Line.free].train
    # the default tape of these machines: mean of two readings, and the zero common to all
    own, zero = (1 / 12 + 0.4**2) / 2, 0.4**2
    assert train.offset.u**2 == pytest.approx([own, own, own + zero])


def test_one_section_on_hold_gives_the_shift_alone():
    """
    Four true sections, the one on hold askew by 4 mm: nobody is moved to the line of that one section.

    By hand: all eight ends are regressed for the slope, and the line goes through the held one's mid-length.
    """
    layout, survey = held(lambda s, x: 4.0 * (x - s.start) / s.length if s.hold else 0.0, (1,))
    train = fit_train(layout, survey, line=Line.fitted)
    x = np.array([(s.start, s.end) for s in layout.sections])
    d = np.array([(0.0, 4.0) if s.hold else (0.0, 0.0) for s in layout.sections])
    slope = np.polyfit(x.ravel(), d.ravel(), 1)[0]
    shift = 2.0 - slope * layout.sections[1].middle
    assert train.string_lines["left"] == (pytest.approx(shift), pytest.approx(slope))
    assert np.stack([end.value for end in train.ends], axis=1) == pytest.approx(d - shift - slope * x)
    # no section is judged as if it were known without a doubt
    assert min(*train.ends[0].u, *train.ends[1].u, *train.skew.u) > 0
    assert train.skew.u[1] > 0.9 * train.skew.u[0]


@pytest.mark.parametrize("target", ["target = '600'", ""])
@pytest.mark.parametrize("held_", [(), (0,), (1,), (0, 2)])
def test_faces_on_one_slant_deviate_from_no_fitted_line(target, held_):
    """Whether the row has a target or takes it from a section, and whichever sections are on hold."""
    parts = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 400, "hold": k in held_} for k in range(3)]
    layout = machine(parts, rows={"r": target})
    read = [(f"s{k}", end, 600 + 0.01 * (500 * k + x)) for k in range(3) for end, x in (("entry", 0), ("exit", 400))]
    found = fit_train(layout, readings(layout, read), line=Line.fitted)
    for end in found.ends:
        assert end.value == pytest.approx([0, 0, 0], abs=1e-6)
