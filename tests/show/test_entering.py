"""Taking readings one by one: what is asked, what an answer does to the file, and what is told at once."""

from __future__ import annotations

import io
import os
import shlex
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alignment.errors import InputError, NameUnknownError
from alignment.lengths import INCH
from alignment.machine.layout import Layout
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.show.words.doubts import doubt_words
from alignment.show.words.entering import Entering, enter
from cli import square as squaring
from tests.tools.machines import machine

IN = float(INCH)
RECORD = {"taken": "2026-10-02 07:40", "by": "R. Quill", "tape": "T-14"}
TAPE = "mark = '1/16'\nset = '1/64'\ntilt = 0\nzero = '1/64'"


@pytest.fixture
def layout() -> Layout:
    """Two rows on strings of their own: two sections of 18 in, and one with three points."""
    sections = [
        {"name": "a-1", "row": "a", "start": "0", "length": "18"},
        {"name": "a-2", "row": "a", "start": "20", "length": "18"},
        {"name": "b-1", "row": "b", "start": "0", "length": "22", "points": ["1", "8 1/2", "21"]},
    ]
    tolerance = "square = '1/16'\noffset = '1/16'"
    rows = {"a": "target = '18 3/8'", "b": "target = '18 3/8'"}
    return machine(sections, units="in", tape=TAPE, tolerance=tolerance, rows=rows)


def start(layout: Layout, text: str | None = None, **how: object) -> Entering:
    return enter(layout, text, "survey.csv", record=RECORD, **how)  # type: ignore[arg-type]


def typed(entry: Entering, *answers: str | None) -> Entering:
    for answer in answers:
        entry = entry.answer(answer)
    return entry


def readings(entry: Entering) -> list[tuple[str, str, str, str]]:
    """Section, point, reading and kind of each row of the file."""
    rows = [line.split(",") for line in entry.text.splitlines() if not line.startswith("#")]
    return [(row[0], row[1], row[2], row[3]) for row in rows[1:]]


def test_points_are_asked_row_by_row_entry_to_exit_then_again_then_each_strings_first(layout):
    entry = start(layout, repeats=2)
    prompts = []
    while not entry.entry.complete:
        prompts.append(entry.prompt)
        entry = typed(entry, "18 3/8")
    assert prompts == [
        "1/16 a-1 entry: ",
        "2/16 a-1 exit: ",
        "3/16 a-2 entry: ",
        "4/16 a-2 exit: ",
        "5/16 b-1 entry: ",
        "6/16 b-1 mid: ",
        "7/16 b-1 exit: ",
        "8/16 a-1 entry, again (2): ",
        "9/16 a-1 exit, again (2): ",
        "10/16 a-2 entry, again (2): ",
        "11/16 a-2 exit, again (2): ",
        "12/16 b-1 entry, again (2): ",
        "13/16 b-1 mid, again (2): ",
        "14/16 b-1 exit, again (2): ",
        "15/16 a-1 entry, closing: ",
        "16/16 b-1 entry, closing: ",
    ]
    assert entry.prompt == "Enter for the answer, b to go back: "
    assert typed(entry, "").over
    survey = parse_survey(entry.text, layout)
    assert [r.closing for r in survey.readings] == [False] * 14 + [True, True]
    assert survey.record == RECORD


def test_the_file_after_each_answer(layout):
    entry = start(layout)
    assert entry.text == ""
    entry = typed(entry, "18-3/8")
    assert entry.text == (
        "# taken: 2026-10-02 07:40\n# by: R. Quill\n# tape: T-14\n"
        "section,point,reading,kind,when,note\na-1,entry,18-3/8,,,\n"
    )
    assert entry.says == ("  a-1 entry 18-3/8 saved",)
    assert typed(entry, "1' 6.44").says == ("  a-1 exit 1' 6.44 = 18 7/16 saved",)


@pytest.mark.parametrize(
    ("form", "inches"),
    [
        ("18 3/8", 18.375),
        ("18-3/8", 18.375),
        ("18⅜", 18.375),
        ('18 3/8"', 18.375),
        ("1' 6 3/8\"", 18.375),
        ("18,375", None),
        ("466.725 mm", 18.375),
        ("46.6725 cm", 18.375),
        ("18 3/8+", 18.375 + 1 / 64),
        ("18 3/8-", 18.375 - 1 / 64),
    ],
)
def test_every_form_of_length_goes_to_the_file_and_back(layout, form, inches):
    entry = typed(start(layout), form)
    if inches is None:
        assert entry.says[0].startswith(f"'{form}' is not a length: the comma may mark decimals or thousands.")
        return
    (reading,) = parse_survey(entry.text, layout).readings
    assert reading.text == form
    assert reading.value == pytest.approx(inches * IN, abs=1e-9)


@pytest.mark.parametrize(
    "mistake", ["18 9/8", "18 5/", "18 5/7", "nan", "-18", "x", "18..5", "\x1b[A18", "#", '"', ","]
)
def test_a_typing_mistake_is_told_and_the_point_asked_again(layout, mistake):
    before = typed(start(layout), "18 3/8")
    after = typed(before, mistake)
    assert (after.text, after.prompt) == (before.text, before.prompt)
    assert " is not a length" in after.says[0]


def test_help_says_the_keys_and_asks_again(layout):
    entry = typed(start(layout), "?")
    assert entry.prompt == "1/9 a-1 entry: "
    assert "Enter: skip" in " ".join(entry.says)
    assert "survey.csv" in " ".join(entry.says)


def test_back_shows_what_stands_keeps_it_on_enter_and_replaces_it_otherwise(layout):
    entry = typed(start(layout), "18 3/8", "18 7/16", "b", "b")
    assert entry.prompt == "1/9 a-1 entry [18 3/8]: "
    assert typed(entry, "b").says == ("This is the first point.",)
    kept = typed(entry, "")
    assert kept.prompt == "3/9 a-2 entry: "
    assert kept.text == entry.text
    mended = typed(entry, "18 5/16")
    assert mended.prompt == "3/9 a-2 entry: "
    assert readings(mended) == [("a-1", "entry", "18 5/16", ""), ("a-1", "exit", "18 7/16", "")]


def test_the_last_reading_can_still_be_mended(layout):
    entry = typed(start(layout, sections=["a-1"]), "18 3/8", "18 3/8", "18 7/16")
    assert entry.entry.complete
    entry = typed(entry, "b", "18 3/8")
    assert entry.entry.complete
    assert readings(entry)[-1] == ("a-1", "entry", "18 3/8", "close")


def test_a_skipped_point_is_asked_when_the_survey_is_taken_up_again(layout):
    entry = typed(start(layout), "18 3/8", "", "18 3/8", "q")
    assert entry.over
    again = start(layout, entry.text)
    assert again.says == (
        "Going on with survey.csv, begun 2026-10-02 07:40.",
        "2 of 9 read. Last: a-2 entry 18 3/8",
        "Wanted 18 3/8.",
    )
    assert again.prompt == "2/9 a-1 exit: "
    assert typed(again, "18 3/8").prompt == "4/9 a-2 exit: "
    assert readings(typed(again, "18 3/8"))[-1] == ("a-1", "exit", "18 3/8", "")


def test_a_closing_reading_is_asked_again_when_its_string_was_read_after_it(layout):
    entry = typed(start(layout), "18 3/8", "18 3/8", "18 3/8", "", "18 3/8", "18 3/8", "18 3/8", "18 3/8", "18 3/8")
    assert entry.entry.complete
    again = start(layout, entry.text)
    assert again.prompt == "4/9 a-2 exit: "
    again = typed(again, "18 3/8")
    # string b was closed and not read since
    assert again.prompt == "8/9 a-1 entry, closing: "
    assert typed(again, "18 3/8").entry.complete


def test_a_string_without_readings_has_nothing_to_close(layout):
    entry = typed(start(layout), "", "18 3/8", "", "", "", "", "")
    assert entry.prompt == "8/9 a-1 exit, closing: "
    assert typed(entry, "18 3/8").entry.complete


def test_one_section_alone(layout):
    entry = typed(start(layout, sections=["a-2"]), "18 3/8", "18 3/8", "18 3/8")
    assert readings(entry) == [
        ("a-2", "entry", "18 3/8", ""),
        ("a-2", "exit", "18 3/8", ""),
        ("a-2", "entry", "18 3/8", "close"),
    ]


def test_a_survey_written_elsewhere_keeps_its_form_notes_and_columns(layout):
    text = (
        "# by: R. Quill, M. Oren\n# a free note\nSection;Point;Reading;u;Note\na-1;entry;18,375;1/64;new hook\n"
        "a-1;exit;18 3/8;;\n"
    )
    entry = typed(start(layout, text), "18 3/8")
    assert entry.text == (
        "# by: R. Quill, M. Oren\n# a free note\n# taken: 2026-10-02 07:40\n# tape: T-14\n"
        "section;point;reading;u;note;kind;when\na-1;entry;18,375;1/64;new hook;;\na-1;exit;18 3/8;;;;\n"
        "a-2;entry;18 3/8;;;;\n"
    )


def test_a_survey_in_other_units_than_its_layout(layout):
    text = "# units: mm\nsection,point,reading\na-1,entry,467\n"
    entry = typed(start(layout, text), "468")
    assert [r.value for r in parse_survey(entry.text, layout).readings] == [467, 468]
    assert entry.says == ("  a-1 exit 468 saved",)


def test_a_table_of_blank_readings_is_begun_at_its_first_point(layout):
    entry = start(layout, "section,point,reading\na-1,entry,\na-1,exit,\n")
    assert readings(typed(entry, "18 3/8")) == [("a-1", "entry", "18 3/8", "")]


def test_points_that_have_no_name_are_written_so_that_they_read_back():
    section = {"name": "a-1", "row": "a", "start": "0", "length": "18", "points": ["0", "6.123", "12.3456", "18"]}
    layout = machine([section], units="in", tape=TAPE)
    entry = typed(start(layout), "18 3/8", "18 3/8", "18 3/8", "18 3/8")
    assert [r.place for r in parse_survey(entry.text, layout).readings] == pytest.approx(layout.sections[0].points)
    assert start(layout, entry.text).prompt == "5/5 a-1 entry, closing: "


def test_what_cannot_be_taken_up_is_told_before_anything_is_asked(layout):
    with pytest.raises(InputError) as wide:
        start(layout, "section,entry,exit\na-1,18 3/8,18 3/8\n")
    assert str(wide.value) == (
        "survey.csv: readings cannot be added to this survey\n"
        "  row 1: this one does not have a reading on each row (section,point,reading,kind). Give the new survey a "
        "file."
    )
    with pytest.raises(InputError, match=r"row 2, reading: '18 9/8' is not a length"):
        start(layout, "section,point,reading\na-1,entry,18 9/8\n")
    with pytest.raises(InputError, match=r"# mark: 'thin' is not a length"):
        enter(layout, None, "survey.csv", record={"mark": "thin"})
    with pytest.raises(NameUnknownError, match=r"^'a-3' is not in .*\. Perhaps you meant 'a-2'\."):
        start(layout, sections=["a-3"])


def test_names_with_commas_and_quotes_in_the_record(layout):
    entry = enter(layout, None, "s.csv", record={"by": 'R. "Bob" Quill, "QA'})
    assert parse_survey(typed(entry, "18 3/8").text, layout).record["by"] == 'R. "Bob" Quill, "QA'


def test_a_misread_inch_is_told_at_once_and_read_again(layout):
    entry = typed(start(layout), "19 3/8")
    assert entry.says == ('? 1" more than its target (18 3/8). Perhaps a whole inch too much?',)
    assert entry.prompt == "Read it again (k keeps it): "
    assert entry.text == ""
    assert readings(typed(entry, "18 3/8")) == [("a-1", "entry", "18 3/8", "")]
    # the same once more is what the tape shows; k says so without reading
    assert typed(entry, "19 3/8").text.splitlines()[-1] == 'a-1,entry,19 3/8,,,"in doubt, read twice"'
    assert typed(entry, "k").text.splitlines()[-1] == 'a-1,entry,19 3/8,,,"in doubt, kept"'
    dropped = typed(entry, "")
    assert (dropped.text, dropped.prompt) == ("", "1/9 a-1 entry: ")
    still = typed(entry, "20 3/8")
    assert still.says == ('? 2" more than its target (18 3/8). Perhaps two inches too much?',)
    assert typed(entry, "19 9/8").prompt == "Read it again (k keeps it): "
    assert typed(entry, "q").text == ""


def test_implausible_against_a_neighbour_the_other_end_a_repeat_and_the_face(layout):
    entry = typed(start(layout), "18 3/8", "19")
    assert entry.says == ('? 5/8" more than entry (18 3/8). Perhaps a half inch too much?',)
    entry = typed(entry, "18 3/8", "17 3/8")
    assert entry.says == ('? 1" less than a-1 exit (18 3/8). Perhaps a whole inch too little?',)
    entry = typed(entry, "18 3/8", "18 3/8", "18 3/8", "18 3/8", "18 5/8")
    assert entry.says == ("? 1/4\" more than its section's other points say (18 3/8).",)
    entry = typed(start(layout, sections=["a-1"], repeats=2), "18 3/8", "18 3/8", "18 1/2")
    assert entry.says == ('? 1/8" more than before (18 3/8).',)
    entry = typed(start(layout, sections=["a-1"]), "18 3/8", "18 3/8", "18 1/2")
    assert entry.says == ('? 1/8" more than at first (18 3/8). If it reads the same again, the string has moved.',)


def test_a_wrong_reading_that_was_kept_is_pointed_at_by_the_next(layout):
    (said,) = typed(start(layout), "19 3/8", "k", "18 3/8").says
    assert said.startswith('? 1" less than entry (19 3/8). Perhaps a whole inch too little?')
    assert said.endswith("But the target is 18 3/8: look at entry too.")


def test_repeats_may_differ_by_what_two_readings_of_this_tape_do(layout):
    """Limit 3 sqrt(u1^2 + u2^2): GUM (JCGM 100:2008) 5.1.2 and 6.2.1 with k = 3, worked here by hand."""
    u = ((1 / 16) ** 2 / 12 + (1 / 64) ** 2) ** 0.5
    limit = 3 * 2**0.5 * u
    entry = typed(start(layout, sections=["a-1"], repeats=2), "18.375", "18.375")
    assert "saved" in typed(entry, f"{18.375 + limit - 1e-4:.5f}").says[0]
    assert typed(entry, f"{18.375 + limit + 1e-4:.5f}").says[0].startswith("? ")


@pytest.mark.parametrize("suffix", ["", "-mm"])
@pytest.mark.parametrize("name", ["before-move", "as-found", "as-left"])
def test_the_samples_raise_hardly_a_doubt_and_every_misread_inch_raises_one(samples, name, suffix):
    layout = read_layout(samples / f"machine{suffix}.toml")
    survey = read_survey(samples / f"{name}{suffix}.csv", layout)
    taken = survey.readings
    quiet = [doubt_words(layout, taken[:i], r, layout.units) for i, r in enumerate(taken)]
    # a good reading is doubted now and then, or a doubt would mean nothing: at most one of a survey
    assert sum(map(bool, quiet)) <= 1
    # a section that is off the other way by 4 mm hides 20 mm
    slip = IN if layout.units == "in" else 30.0
    for i, reading in enumerate(taken):
        for way in (slip, -slip):
            assert doubt_words(layout, taken[:i], replace(reading, value=reading.value + way), layout.units)


@pytest.mark.parametrize("command", ["start", "enter", "square"])
def test_help_ends_with_an_example(run, command):
    done = run(command, "--help")
    assert done.out.splitlines()[-1].startswith(f"  Example: stringtrue {command} ")
    assert max(map(len, done.out.splitlines())) <= 80


def test_the_example_of_square_runs(run):
    assert run(*shlex.split(squaring.EXAMPLE)[2:]).status == 0


def completed(words: str) -> list[str]:
    """What the shell offers for the sixth word of a command line."""
    asked = {"_STRINGTRUE_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": "5"}
    done = subprocess.run(
        [sys.executable, "-m", "alignment"],
        env=os.environ | asked | {"PYTHONPATH": str(Path(__file__).parent.parent.parent)},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout.split()


@pytest.mark.parametrize("option", [("enter", "--section"), ("solve", "--done")])
def test_the_shell_completes_section_names(samples, option):
    words = [option[0], str(samples / "machine.toml"), "s.csv", option[1]]
    assert completed(f"stringtrue {' '.join(words)} drive") == [f"drive-{k}" for k in range(1, 4)]


def test_the_shell_completes_choices():
    assert completed("stringtrue solve m.toml s.csv --line f") == ["fitted", "free"]


@pytest.mark.parametrize("between", [",", "\t", ";"])
def test_a_survey_from_standard_input(run, samples, monkeypatch, between):
    text = (samples / "as-found.csv").read_text(encoding="utf-8").replace(",", between)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.replace("\n", "\r\n").encode())))
    pasted = run("solve", samples / "machine.toml", "-")
    assert pasted.status == 0
    assert pasted.out.startswith("Liner line, bay 2, standard input, taken")
    assert pasted.out.replace("standard input", "as-found.csv") == (
        run("solve", samples / "machine.toml", samples / "as-found.csv").out
    )


def test_nothing_and_nonsense_from_standard_input(run, samples, monkeypatch):
    for data, said in ((b"", "no readings"), (b"section,entry\nnobody,1\n", "row 2, section"), (b"\xff\xfea", "byte")):
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data)))
        done = run("solve", samples / "machine.toml", "-")
        assert (done.status, done.out) == (2, "")
        assert done.err.startswith("stringtrue: standard input: ")
        assert said in done.err


@pytest.mark.parametrize(
    ("name", "said"), [("s.xlsx", "Give a name that ends in .csv or .tsv"), ("none/s.csv", "there is no folder")]
)
def test_a_file_that_readings_cannot_go_to_is_told_before_anything_is_asked(run, samples, tmp_path, name, said):
    done = run("enter", samples / "machine.toml", tmp_path / name)
    assert (done.status, done.out) == (2, "")
    assert said in done.err


def test_a_folder_that_takes_no_file_is_told_before_anything_is_asked(run, samples, tmp_path, monkeypatch):
    def denied(*_arguments, **_keywords):
        raise PermissionError(13, "Permission denied")

    def asked(prompt: str) -> str:
        raise AssertionError(prompt)

    monkeypatch.setattr("os.open", denied)
    monkeypatch.setattr("builtins.input", asked)
    file = tmp_path / "s.csv"
    done = run("enter", samples / "machine.toml", file)
    assert (done.status, done.out) == (2, "")
    assert done.err == f"stringtrue: {file}: cannot be written: Permission denied.\n"


def test_looking_whether_a_file_can_be_written_leaves_none(run, samples, tmp_path, monkeypatch):
    monkeypatch.setattr("builtins.input", lambda _: "q")
    assert run("enter", samples / "machine.toml", tmp_path / "s.csv").status == 0
    assert list(tmp_path.iterdir()) == []


def test_a_section_that_is_not_there_is_told_by_its_option(run, samples, tmp_path):
    done = run("enter", samples / "machine.toml", tmp_path / "s.csv", "--section", "drive-7")
    assert (done.status, done.out) == (2, "")
    assert done.err == "stringtrue: --section: 'drive-7' is not in machine.toml. Perhaps you meant 'drive-3'.\n"


ANSWERS = ["18 3/8", "18 7/16", "19 3/8", "18.35", "467 mm", "18 9/8", "", "", "b", "b", "?", "k", "x,y", '"', "#1"]


@given(answers=st.lists(st.sampled_from(ANSWERS), max_size=40), stop=st.integers(0, 40))
@settings(max_examples=60, deadline=None)
def test_whatever_is_typed_the_file_reads_back_and_is_taken_up_where_it_stood(answers: Iterable[str], stop: int):
    layout = machine(
        [{"name": f"a-{k}", "row": "a", "start": f"{20 * k}", "length": "18"} for k in (1, 2)],
        units="in",
        tape=TAPE,
        rows={"a": "target = '18 3/8'"},
    )
    entry = start(layout, repeats=2)
    for i, answer in enumerate(answers):
        before = entry
        entry = entry.answer(answer)
        assert len(entry.entry.taken) in (len(before.entry.taken), len(before.entry.taken) + 1)
        if entry.text:
            survey = parse_survey(entry.text, layout)
            assert [r.text for r in survey.readings] == [t.reading.text for t in entry.entry.taken]
            again = start(layout, entry.text, repeats=2)
            assert again.text == entry.text
        if i == stop or entry.over:
            break


def test_the_wanted_reading_is_told_before_it_is_asked_for():
    """At the start, and where the row has another; where the layout has none nothing is told."""
    sections = [{"name": f"{row}-1", "row": row, "start": "0", "length": "18"} for row in "abc"]
    rows = {"a": "target = '18 3/8'", "b": "target = '19 7/8'", "c": ""}
    entry = start(machine(sections, units="in", tape=TAPE, rows=rows))
    told = [entry.says]
    for text in ("18 3/8", "18 3/8", "19 7/8", "19 7/8", ""):
        entry = typed(entry, text)
        told.append(entry.says[1:])
    assert told == [("Wanted 18 3/8.",), (), ("Wanted 19 7/8.",), (), (), ()]
