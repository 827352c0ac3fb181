"""The first layout: what is written is read and solved at once, and every answer that cannot be used is told."""

from __future__ import annotations

import tomllib

import pytest

from alignment.errors import InputError
from alignment.machine import first_layout as starting
from alignment.machine.first_layout import ASKED, layout_text, wrong
from alignment.machine.layout_file import parse_layout, read_layout
from alignment.machine.survey_text import parse_survey
from alignment.train.budget import work_out
from alignment.train.first_tolerances import READ, first_layout, readings
from alignment.train.solve import solve

TOLD = {"sections": "5,4", "length": "18,22", "gap": "2,3", "bolts": "2", "target": "18 3/8"}


def test_what_is_written_reads_back_as_it_was_told():
    layout = parse_layout(layout_text(TOLD | {"name": 'The "old" line'}))
    assert layout.name == 'The "old" line'
    assert [s.name for s in layout.sections] == [
        *(f"operator-{k}" for k in range(1, 6)),
        *(f"drive-{k}" for k in range(1, 5)),
    ]
    fifth, last = layout.sections[4], layout.sections[-1]
    assert [fifth.start, fifth.length, *fifth.bolts] == pytest.approx([x * 25.4 for x in (80, 18, 2, 16)])
    assert [last.start, last.end, *last.bolts] == pytest.approx([x * 25.4 for x in (75, 97, 2, 20)])
    assert [(j.upstream, j.downstream) for j in layout.joints][3:5] == [
        ("operator-4", "operator-5"),
        ("drive-1", "drive-2"),
    ]
    assert {row.target for row in layout.rows.values()} == {466.725}
    assert layout.assumed == ()


@pytest.mark.parametrize("units", ["in", "mm"])
@pytest.mark.parametrize("target", ["", "30"])
def test_what_is_written_solves_at_once(units, target):
    told = {"units": units, "sections": "2", "length": "20", "gap": "1", "target": target}
    layout = parse_layout(layout_text(told))
    rows = "".join(f"{s.name},30,30\n" for s in layout.sections)
    found = solve(layout, parse_survey(f"section,entry,exit\n{rows}", layout))
    assert found.verdict.inside
    assert found.plan.steps == ()


@pytest.mark.parametrize("units", ["in", "mm"])
def test_the_defaults_written_are_those_that_stand_in_where_a_file_is_silent(units):
    told = {"units": units, "sections": "1", "length": "18", "gap": "0", "rows": "a"}
    written = parse_layout(layout_text(told))
    bare = f"[machine]\nname='m'\nunits='{units}'\n[[section]]\nname='a-1'\nrow='a'\nstart=0\nlength=18\n"
    silent = parse_layout(bare)
    assert (written.tape, written.tolerance, written.moves) == (silent.tape, silent.tolerance, silent.moves)


@pytest.mark.parametrize("units", ["in", "mm"])
def test_every_line_that_is_commented_out_can_be_used_by_taking_the_mark_away(units):
    told = {"units": units, "sections": "2", "length": "600 mm", "gap": "100 mm"}
    lines = layout_text(told).splitlines()
    keyed = ("set", "travel", "target", "string_side", "points", "hold", "strip_width")
    used = [line[2:] if line.startswith(tuple(f"# {key} =" for key in keyed)) else line for line in lines]
    assert len(set(used) - set(lines)) >= len(keyed)
    layout = parse_layout("\n".join(used))
    assert layout.sections[0].hold
    assert layout.moves.travel is not None


def test_lengths_that_no_tape_shows_are_written_so_that_they_read_back():
    layout = parse_layout(layout_text({"rows": "a", "sections": "3", "length": "500 mm", "gap": "33.3 mm"}))
    assert [s.start for s in layout.sections] == pytest.approx([0, 533.3, 1066.6], abs=1e-5)


def test_row_names_that_are_no_bare_keys():
    told = TOLD | {"rows": "Gerüst links, drive side"}
    text = layout_text(told)
    assert list(tomllib.loads(text)["row"]) == ["Gerüst links", "drive side"]
    assert parse_layout(text).sections[0].name == "Gerüst links-1"


def test_every_answer_that_cannot_be_used_is_told_at_once():
    with pytest.raises(InputError) as error:
        layout_text({"rows": "a,b", "mark": "x", "sections": "0,5", "length": "18,x", "gap": "1", "target": "1,2,3"})
    assert str(error.value) == (
        "start: these answers cannot be used\n"
        "  --mark: 'x' is not a length. Write for example 18 3/8, 18-3/8, 18.375 or 467 mm.\n"
        "  --sections: '0' is not a number of sections, 1 to 200.\n"
        "  --target: '1,2,3' is 3 things for 2 rows. Give one, or one for each row."
    )


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("gap", "-1", "'-1' is not a length: it is negative, and a distance is not. Leave the minus off."),
        ("gap", "1:2,1", "'1:2' is 2 things for the 4 gaps of row operator. Give one, or one for each."),
        ("length", "18:18,22", "'18:18' is 2 things for the 5 sections of row operator. Give one, or one for each."),
        ("mark", "0", "'0' is not more than nothing."),
        ("bolts", "9", "9 in from both ends, the bolts of row operator would meet."),
        ("length", "0", "'0' is not more than nothing."),
        ("units", "cm", "'cm' is not a unit. Write in or mm."),
        ("rows", "a,,b", "'' is not a name of a row. Use letters and digits, commas between rows."),
        ("rows", "a,a", "A name stands twice. Give each row its own."),
        ("rows", "#1", "'#1' is not a name of a row. Use letters and digits, commas between rows."),
    ],
)
def test_one_answer_is_judged_as_it_is_given(key, text, said):
    told = {**ASKED} | TOLD
    assert said in wrong(key, text, told)
    assert wrong(key, told[key], told) == []


def test_from_options_alone(run, tmp_path):
    file = tmp_path / "machine.toml"
    done = run("start", file, "--sections", "5,4", "--length", "18,22", "--gap", "2,3")
    assert (done.status, done.err) == (0, "")
    assert f"stringtrue enter {file} as-found.csv" in done.out.replace("\n", " ")
    assert "Read each end once." in " ".join(done.out.split())
    assert len(read_layout(file).sections) == 9


def test_what_options_leave_out_is_asked_until_it_can_be_used(run, tmp_path, monkeypatch):
    file = tmp_path / "machine.toml"
    asked = []
    answers = iter(["", "left,right", "", "two", "2,3", "x", "22.8", "", "50", "", ""])

    def answer(prompt: str) -> str:
        asked.append(prompt)
        return next(answers)

    monkeypatch.setattr("builtins.input", answer)
    done = run("start", file, "--length", "18 in", "--units", "mm")
    assert done.status == 0
    assert asked == [
        "Name of the machine [My machine]: ",
        "Names of the rows [operator,drive]: ",
        "Smallest mark of the tape, if not 1/16 in or 1 mm: ",
        *["Sections in each row, as 6 or 6,3: "] * 2,
        *["Gap from one section to the next, as 1 or 1,2 or 1:2,1: "] * 2,
        "Where each row begins, from the first entry end [0]: ",
        "Bolts, how far in from a section's ends [0]: ",
        "Setback of a face behind its row's [0]: ",
        "Wanted reading of each row, if you know it: ",
    ]
    assert "'two' is not a number of sections" in done.out
    layout = read_layout(file)
    assert [s.name for s in layout.sections] == ["left-1", "left-2", "right-1", "right-2", "right-3"]
    assert layout.sections[1].start == pytest.approx(480)
    assert layout.sections[0].length == pytest.approx(457.2)


def test_no_answer_writes_nothing(run, tmp_path, monkeypatch):
    def nobody(prompt: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    done = run("start", tmp_path / "machine.toml", "--sections", "5")
    assert done.status == 2
    assert done.err == "stringtrue: no answer for --units, so nothing was written.\n"
    assert list(tmp_path.iterdir()) == []


def test_a_layout_that_is_there_is_not_written_over(run, tmp_path):
    file = tmp_path / "machine.toml"
    file.write_text("mine")
    told = ("--sections", "5", "--length", "18", "--gap", "2")
    done = run("start", file, *told)
    assert (done.status, done.out) == (2, "")
    assert "is there already" in done.err
    assert file.read_text() == "mine"
    assert run("start", file, "--force", *told).status == 0


def test_rows_and_sections_that_differ_in_everything():
    """Commas between rows, colons between the sections of one; after the last section there is no gap."""
    told = {
        "sections": "3,2", "length": "15:18:15,31", "gap": "1:2,1 1/2", "start": "0,-2", "bolts": "2:3:2,3",
        "setback": "0:1/4:0,0", "target": "18 3/8,19 7/8",
    }  # fmt: skip
    layout = parse_layout(layout_text(told))
    size = 25.4
    assert [s.start / size for s in layout.sections] == pytest.approx([0, 16, 36, -2, 30.5])
    assert [s.length / size for s in layout.sections] == pytest.approx([15, 18, 15, 31, 31])
    assert [s.bolts[0] / size for s in layout.sections] == pytest.approx([2, 3, 2, 3, 3])
    assert [s.setback / size for s in layout.sections] == pytest.approx([0, 0.25, 0, 0, 0])
    assert [row.target / size for row in layout.rows.values()] == pytest.approx([18.375, 19.875])
    # the nominal step of a joint is what the setbacks make
    assert [j.step for j in layout.joints] == [None] * 3


@pytest.mark.parametrize(("units", "mark"), [("in", "1/16"), ("in", "1/32"), ("in", "1/8"), ("mm", "1"), ("mm", "0.5")])
@pytest.mark.parametrize(
    "shape", [{"sections": "1", "rows": "a"}, {"sections": "6,3"}, {"sections": "16", "rows": "a"}]
)
def test_no_tolerance_is_finer_than_the_tape_can_set_and_prove(units, mark, shape):
    """With as many readings as it says: every promise of the budget is kept, and none is below one mark."""
    long = {"in": "15", "mm": "380"}[units]
    layout = parse_layout(first_layout(shape | {"units": units, "mark": mark, "length": long, "gap": "1"}))
    often = readings(layout)
    assert often <= READ
    assert all(promise.proved for promise in work_out(layout, repeats=often).promises)
    assert often == 1 or not all(promise.proved for promise in work_out(layout, repeats=often - 1).promises)
    own = layout.tolerance
    assert min(own.square, own.offset, own.step, own.opening) >= layout.tape.mark - 1e-9
    usual = starting.defaults(layout.units).tolerance
    assert own.square >= usual.square - 1e-9


@pytest.mark.parametrize("panel", [(), ("--panel",)])
def test_another_ending_is_refused(run, tmp_path, panel):
    file = tmp_path / "m9.txt"
    done = run("start", file, "--sections", "5", "--length", "18", "--gap", "2", *panel)
    assert (done.status, done.out) == (2, "")
    assert done.err == f"stringtrue: {file}: cannot be written as '.txt'. Use .toml.\n"
    assert list(tmp_path.iterdir()) == []


def test_bad_options_write_nothing(run, tmp_path):
    done = run("start", tmp_path / "m.toml", "--sections", "5", "--length", "18", "--gap", "-2")
    assert (done.status, done.out) == (2, "")
    assert "--gap: '-2' is not a length" in done.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_file_for_a_panel(run, tmp_path, units):
    pytest.importorskip("alignment.panel.panel", reason="no panel in this version")
    file = tmp_path / "panel.toml"
    assert run("start", file, "--panel", "--blank", "--units", units).status == 0
    assert tomllib.loads(file.read_text(encoding="utf-8"))
