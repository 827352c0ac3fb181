"""The plan as a checklist, as text and as a table, and a plan taken up again half done."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from alignment.errors import NameUnknownError
from alignment.lengths import show
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show import terminal
from alignment.show.words.cautions import SHORT
from alignment.show.words.checklist import COLUMNS, checklist_page, checklist_rows
from alignment.show.words.moves import DIRECTIONS, by_section, job_words, step_lines
from alignment.show.words.stops import reading_words, stop_words
from alignment.train.moves.missed import Cause
from alignment.train.solve import solve
from alignment.train.state import Measurand
from tests.tools.machines import machine, readings

TOLERANCE = "offset = '1.5'\nsquare = '1.5'\nstep = '1.5'"


@pytest.fixture
def found(samples):
    layout = read_layout(samples / "machine.toml")
    return solve(layout, read_survey(samples / "as-found.csv", layout))


def out_of_line(**how):
    """Two rows of three; the middle one of each is off, and one section is on hold."""
    parts = [
        {"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 400, "hold": (row, k) == ("b", 0)}
        for row in "ab"
        for k in range(3)
    ]
    joints = [(f"{row}-{k}", f"{row}-{k + 1}") for row in "ab" for k in range(2)]
    layout = machine(parts, rows=dict.fromkeys("ab", "target = '600'"), joints=joints, tolerance=TOLERANCE, **how)
    return layout, {"a-1": (604.0, 604.0), "b-1": (600.0, 604.0), "b-2": (596.0, 596.0)}


def survey_of(layout, off):
    return readings(layout, [(s.name, end, r) for s in layout.sections
                             for end, r in zip(("entry", "exit"), off.get(s.name, (600, 600)), strict=True)])  # fmt: skip  # noqa: E501


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def text_of(solution) -> str:
    return terminal.render(checklist_page(solution))


# --- text ------------------------------------------------------------------------------------------------------


def test_text(found):
    """Cautions first, then each section in turn: what to loosen, where to stop, tighten, a blank for each reading."""
    text = text_of(found)
    said = " ".join(text.split())
    assert all(" ".join(caution.split()) in said for caution in SHORT)
    assert said.index(SHORT[0].split()[0]) < said.index("1. operator-2")
    groups = by_section(found.plan.steps)
    at = [text.index(f"\n  {n}. {steps[0].section}\n") for n, steps in enumerate(groups, 1)]
    assert at == sorted(at)
    for steps, begin, end in zip(groups, at, [*at[1:], len(text)], strict=True):
        part = text[begin:end]
        for step in steps:
            assert stop_words(step.watch.stop, found.survey.tape.mark, found.layout.units) in " ".join(part.split())
        assert part.count("Tighten, then read again:") == 1
        assert part.count("____________") == 2
        assert part.count("[ ]") >= 3
        assert part.index("[ ] Loosen") < part.index("[ ] Tighten")
    assert all(len(line) <= 80 and line.isascii() for line in text.splitlines())


def test_sections_on_hold_come_first():
    layout, off = out_of_line()
    text = text_of(solve(layout, survey_of(layout, off)))
    assert "[ ] Check that these are tight; they stay as they are: b-0." in text
    assert text.index("b-0") < text.index("1. a-1")


def test_upstream_before_downstream():
    """Row by row, entry to exit: of two neighbours at a joint the upstream one first."""
    layout, off = out_of_line()
    order = [steps[0].section for steps in by_section(solve(layout, survey_of(layout, off)).plan.steps)]
    assert order == ["a-1", "b-1", "b-2"]


def test_doubtful_reading_is_taken_again_first(samples):
    """A section with a flag on it: read again, and not among the moves until it was."""
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "inch-slip.csv", layout))
    text = text_of(solution)
    part = text[text.index("READ AGAIN FIRST") :].split("\n\n")[0]
    assert "[ ] operator-4" in part
    assert ". operator-4\n" not in text
    assert "operator-4" not in {row["section"] for row in rows_of(checklist_rows(solution))}


def test_nothing_to_move(samples):
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "as-left.csv", layout))
    assert "Nothing to move." in text_of(solution)
    assert rows_of(checklist_rows(solution)) == []


# --- table -----------------------------------------------------------------------------------------------------


def test_table(found):
    """One row a bolt end, in order, with what is needed at the machine and blanks to fill."""
    rows = rows_of(checklist_rows(found))
    assert list(rows[0]) == list(COLUMNS)
    assert len(rows) == found.plan.bolt_ends
    for row, step in zip(rows, found.plan.steps, strict=True):
        units = found.layout.units
        assert (row["section"], row["loosen"], row["pivot"]) == (step.section, step.loosen, step.pivot)
        assert row["move"] == show(abs(step.move), units)
        assert row["direction"] == DIRECTIONS[step.direction]
        mark = found.survey.tape.mark
        assert row["stop at"] == stop_words(step.watch.stop, mark, units)
        assert row["wanted"] == reading_words(step.watch.target, mark, units)
        assert (row["units"], row["done"], row["read after"]) == ("in", "", "")
    assert [row["order"] for row in rows] == sorted((row["order"] for row in rows), key=int)
    assert len({row["order"] for row in rows}) == len({step.section for step in found.plan.steps})


def test_names_that_a_spreadsheet_would_run():
    """A name that begins like a formula is text in the table."""
    parts = [{"name": name, "row": "r", "start": 500 * k, "length": 400} for k, name in enumerate(("=1+1", "b"))]
    layout = machine(parts, rows={"r": "target = '600'"}, tolerance=TOLERANCE)
    rows = [("=1+1", "entry", 604), ("=1+1", "exit", 604), ("b", "entry", 600), ("b", "exit", 600)]
    (first, *_) = rows_of(checklist_rows(solve(layout, readings(layout, rows))))
    assert not first["section"].startswith("=")
    assert "1+1" in first["section"]


# --- half done -------------------------------------------------------------------------------------------------


def test_half_done():
    """
    The first section is moved, though not quite as planned, and left so; the rest is planned from new readings.

    What is done is not touched again, and its neighbours are brought in step with it as it now lies.
    """
    layout, off = out_of_line()
    plan = solve(layout, survey_of(layout, off)).plan
    assert by_section(plan.steps)[0][0].section == "a-1"
    new = survey_of(layout, off | {"a-1": (601.8, 601.8)})
    again = solve(layout, new)
    rest = solve(layout, new, done=["a-1"])
    assert "a-1" in {step.section for step in again.plan.steps}
    assert "a-1" not in {step.section for step in rest.plan.steps}
    assert {step.section for step in rest.plan.steps} >= {"b-1", "b-2"}
    assert [(m.names, m.cause) for m in rest.plan.missed if m.what is Measurand.offset] == [(("a-1",), Cause.done)]
    again = {(a.section, a.beside) for a in rest.read_again}
    for joint in rest.plan.state.joints:
        names = joint.upstream, joint.downstream
        assert joint.step.verdict.inside or names in again, names


def test_everything_done():
    layout, off = out_of_line()
    solution = solve(layout, survey_of(layout, off), done=[s.name for s in layout.sections])
    assert solution.plan.steps == ()
    assert {m.cause for m in solution.plan.missed} == {Cause.done}


def test_carried_out_step_by_step():
    """Each section moved as told, read, marked done and the rest planned anew: the same moves to the end."""
    layout, off = out_of_line()
    layout = replace(layout)
    planned = solve(layout, survey_of(layout, off)).plan
    now, done = dict(off), []
    for steps in by_section(planned.steps):
        solution = solve(layout, survey_of(layout, now), done=done)
        own = by_section(solution.plan.steps)[0]
        assert [(s.section, s.loosen, round(s.move, 6)) for s in own] == [
            (s.section, s.loosen, round(s.move, 6)) for s in steps
        ]
        watched = {s.other.point: s.other.after for s in own} | {s.watch.point: s.watch.stop for s in own}
        now[own[0].section] = (round(watched["entry"], 4), round(watched["exit"], 4))
        done.append(own[0].section)
    last = solve(layout, survey_of(layout, now), done=done)
    assert last.plan.steps == ()
    assert last.plan.missed == ()
    assert last.verdict.inside


def test_a_name_that_is_not_in_the_layout():
    layout, off = out_of_line()
    with pytest.raises(NameUnknownError) as error:
        solve(layout, survey_of(layout, off), done=["a1"])
    assert str(error.value) == "'a1' is not in machine.toml. Perhaps you meant 'a-1'."


# --- on the command line ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [".txt", ".csv"])
def test_written_to_a_file(samples, run, tmp_path, found, kind):
    """Beside the answer; an old one is kept unless told otherwise."""
    path = tmp_path / f"moves{kind}"
    how = ["solve", samples / "machine.toml", samples / "as-found.csv", "--checklist", path]
    outcome = run(*how)
    assert outcome.status == 0, outcome.err
    assert "MOVES" in outcome.out
    assert path.read_bytes().decode() == {".txt": text_of, ".csv": checklist_rows}[kind](found)
    again = run(*how)
    assert (again.status, again.out) == (2, "")
    assert run(*how, "--force").status == 0


def test_another_kind_of_file(samples, run, tmp_path):
    path = tmp_path / "moves.doc"
    outcome = run("solve", samples / "machine.toml", samples / "as-found.csv", "--checklist", path)
    assert (outcome.status, outcome.out) == (2, "")
    assert ".txt" in outcome.err
    assert not path.exists()


def test_done_on_the_command_line(samples, run):
    text = run("solve", samples / "machine.toml", samples / "as-found.csv", "--done", "operator-2", "--done", "drive-2")
    moves = text.out[text.out.index("MOVES") : text.out.index("Tighten")]
    assert "operator-2" not in moves
    assert "drive-2" not in moves
    assert "operator-3" in moves
    bad = run("solve", samples / "machine.toml", samples / "as-found.csv", "--done", "operater-2")
    assert (bad.status, bad.out) == (2, "")
    assert "--done: 'operater-2' is not in " in bad.err
    assert "Perhaps you meant 'operator-2'." in bad.err


# --- what is told at the section -------------------------------------------------------------------------------


def test_one_end_is_told_where_to_stop_and_where_to_read_if_elsewhere(found):
    groups = [steps for steps in by_section(found.plan.steps) if len(steps) == 1]
    assert groups
    mark = found.survey.tape.mark
    for (step,) in groups:
        first = step_lines([step], found.layout, mark)[0]
        assert first.endswith(f" {stop_words(step.watch.stop, mark, found.layout.units)}.")
        away = replace(step, watch=step.watch._replace(point="middle"))
        assert step_lines([away], found.layout, mark)[0].endswith(" at middle.")


def test_of_two_ends_one_that_stays_is_kept():
    layout, off = out_of_line()
    solution = solve(layout, survey_of(layout, off))
    one, two = next(steps for steps in by_section(solution.plan.steps) if len(steps) == 2)
    mark = solution.survey.tape.mark
    assert "Set both to 600, toward the string." in step_lines([one, two], layout, mark)[0]
    stays = replace(two, watch=two.watch._replace(before=two.watch.stop))
    first = step_lines([one, stays], layout, mark)[0]
    assert f"Set {one.watch.point} to 600, toward the string. Keep {two.watch.point} at 600." in first


def test_a_doubted_string_is_checked_before_anything_is_moved():
    layout, off = out_of_line()
    plain = solve(layout, survey_of(layout, off))
    assert job_words(plain).startswith("Move ")
    rows = [(s.name, end, r, "") for s in layout.sections
            for end, r in zip(("entry", "exit"), off.get(s.name, (600, 600)), strict=True)]  # fmt: skip
    rows.append(("a-0", "entry", 640, "close"))
    doubted = solve(layout, readings(layout, rows, header="section,point,reading,kind"))
    assert job_words(doubted).startswith("Check the string first.")
