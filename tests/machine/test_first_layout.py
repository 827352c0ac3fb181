"""The first layout: what is written is read and solved at once, and every answer that cannot be used is told."""

from __future__ import annotations

import re
import tomllib

import pytest

from alignment.errors import InputError
from alignment.machine import first_layout as starting
from alignment.machine.first_layout import QUESTIONS, layout_text, wrong
from alignment.machine.layout_file import parse_layout, read_layout
from alignment.machine.survey_text import parse_survey
from alignment.train.solve import solve

TOLD = {"sections": "5,4", "length": "18,22", "spacing": "20,25", "bolts": "2", "target": "18 3/8"}


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
    told = {"units": units, "sections": "2", "length": "20", "spacing": "21", "target": target}
    layout = parse_layout(layout_text(told))
    rows = "".join(f"{s.name},30,30\n" for s in layout.sections)
    found = solve(layout, parse_survey(f"section,entry,exit\n{rows}", layout))
    assert found.verdict.inside
    assert found.plan.steps == ()


@pytest.mark.parametrize("units", ["in", "mm"])
def test_the_defaults_written_are_those_that_stand_in_where_a_file_is_silent(units):
    told = {"units": units, "sections": "1", "length": "18", "spacing": "18", "rows": "a"}
    written = parse_layout(layout_text(told))
    bare = f"[machine]\nname='m'\nunits='{units}'\n[[section]]\nname='a-1'\nrow='a'\nstart=0\nlength=18\n"
    silent = parse_layout(bare)
    assert (written.tape, written.tolerance, written.moves) == (silent.tape, silent.tolerance, silent.moves)


@pytest.mark.parametrize("units", ["in", "mm"])
def test_every_line_that_is_commented_out_can_be_used_by_taking_the_mark_away(units):
    told = {"units": units, "sections": "2", "length": "600 mm", "spacing": "700 mm"}
    lines = layout_text(told).splitlines()
    keyed = ("set", "travel", "target", "string_side", "points", "hold", "strip_width")
    used = [line[2:] if line.startswith(tuple(f"# {key} =" for key in keyed)) else line for line in lines]
    assert len(set(used) - set(lines)) >= len(keyed)
    layout = parse_layout("\n".join(used))
    assert layout.sections[0].hold
    assert layout.moves.travel is not None


def test_lengths_that_no_tape_shows_are_written_so_that_they_read_back():
    layout = parse_layout(layout_text({"rows": "a", "sections": "3", "length": "500 mm", "spacing": "533.3 mm"}))
    assert [s.start for s in layout.sections] == pytest.approx([0, 533.3, 1066.6], abs=1e-5)


def test_row_names_that_are_no_bare_keys():
    told = TOLD | {"rows": "Gerüst links, drive side"}
    text = layout_text(told)
    assert list(tomllib.loads(text)["row"]) == ["Gerüst links", "drive side"]
    assert parse_layout(text).sections[0].name == "Gerüst links-1"


def test_every_answer_that_cannot_be_used_is_told_at_once():
    with pytest.raises(InputError) as error:
        layout_text({"rows": "a,b", "sections": "0,5", "length": "18,x", "spacing": "1", "target": "1,2,3"})
    assert str(error.value) == (
        "start: these answers cannot be used\n"
        "  --sections: '0' is not a number of sections, 1 to 200.\n"
        "  --length: 'x' is not a length. Write for example 18 3/8, 18-3/8, 18.375 or 467 mm.\n"
        "  --target: '1,2,3' is 3 things for 2 rows. Give one, or one for each row."
    )


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("spacing", "17", "17 is less than a section of row operator is long: they would overlap."),
        ("bolts", "9", "9 in from both ends, the bolts of row operator would meet."),
        ("length", "0", "'0' is not more than nothing."),
        ("units", "cm", "'cm' is not a unit. Write in or mm."),
        ("rows", "a,,b", "'' is not a name of a row. Use letters and digits, commas between rows."),
        ("rows", "a,a", "A name stands twice. Give each row its own."),
        ("rows", "#1", "'#1' is not a name of a row. Use letters and digits, commas between rows."),
    ],
)
def test_one_answer_is_judged_as_it_is_given(key, text, said):
    told = {name: default for name, (_, default) in QUESTIONS.items()} | TOLD
    assert said in wrong(key, text, told)
    assert wrong(key, told[key], told) == []


def test_from_options_alone(run, tmp_path):
    file = tmp_path / "machine.toml"
    done = run("start", file, "--sections", "5,4", "--length", "18,22", "--spacing", "20,25")
    assert (done.status, done.err) == (0, "")
    assert f"stringtrue enter {file} as-found.csv" in done.out.replace("\n", " ")
    # sixteenths, each point once: see test_budget
    assert done.out.replace("\n", " ").strip().endswith(f"What could: stringtrue budget {file}")
    assert len(read_layout(file).sections) == 9


def test_what_options_leave_out_is_asked_until_it_can_be_used(run, tmp_path, monkeypatch):
    file = tmp_path / "machine.toml"
    asked = []
    answers = iter(["", "left,right", "two", "2,3", "400", "480", "50", ""])

    def answer(prompt: str) -> str:
        asked.append(prompt)
        return next(answers)

    monkeypatch.setattr("builtins.input", answer)
    done = run("start", file, "--length", "18 in", "--units", "mm")
    assert done.status == 0
    assert asked == [
        "Name of the machine [My machine]: ",
        "Names of the rows [operator,drive]: ",
        *["Sections in each row, as 5 or 5,4: "] * 2,
        *["From one entry end to the next: "] * 2,
        "Bolts, how far in from its ends [0]: ",
        "Reading wanted, if you know it: ",
    ]
    assert "'two' is not a number of sections" in done.out
    layout = read_layout(file)
    assert [s.name for s in layout.sections] == ["left-1", "left-2", "right-1", "right-2", "right-3"]
    assert layout.sections[1].start == 480
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
    told = ("--sections", "5", "--length", "18", "--spacing", "20")
    done = run("start", file, *told)
    assert (done.status, done.out) == (2, "")
    assert "is there already" in done.err
    assert file.read_text() == "mine"
    assert run("start", file, "--force", *told).status == 0


def test_a_tape_that_proves_everything_sends_nobody_to_the_budget(run, tmp_path, monkeypatch):
    usual = starting.layout_text

    def wide(told):
        return re.sub(r'^(square|offset|step|opening) = "[^"]*"', r'\1 = "1"', usual(told), flags=re.MULTILINE)

    monkeypatch.setattr(starting, "layout_text", wide)
    done = run("start", tmp_path / "m.toml", "--sections", "2", "--length", "18", "--spacing", "20")
    assert done.status == 0
    assert "budget" not in done.out


@pytest.mark.parametrize("panel", [(), ("--panel",)])
def test_another_ending_is_refused(run, tmp_path, panel):
    file = tmp_path / "m9.txt"
    done = run("start", file, "--sections", "5", "--length", "18", "--spacing", "20", *panel)
    assert (done.status, done.out) == (2, "")
    assert done.err == f"stringtrue: {file}: cannot be written as '.txt'. Use .toml.\n"
    assert list(tmp_path.iterdir()) == []


def test_bad_options_write_nothing(run, tmp_path):
    done = run("start", tmp_path / "m.toml", "--sections", "5", "--length", "18", "--spacing", "2")
    assert (done.status, done.out) == (2, "")
    assert "--spacing: 2 is less than a section" in done.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_file_for_a_panel(run, tmp_path, units):
    pytest.importorskip("alignment.panel.panel", reason="no panel in this version")
    file = tmp_path / "panel.toml"
    assert run("start", file, "--panel", "--units", units).status == 0
    assert tomllib.loads(file.read_text(encoding="utf-8"))
