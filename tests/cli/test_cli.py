"""The command line: what is printed, written, refused, and the exit status."""

from __future__ import annotations

import importlib
import inspect
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from alignment.choices import Aim, Line
from alignment.lengths import Units
from alignment.show import demo
from alignment.show.words.cautions import SHORT
from cli import app, prompts
from cli.app import WHEN

VERDICTS = {"ok", "ok?", "?", "out?", "out"}
WRITE = "Write for example 18 3/8, 18-3/8, 18.375 or 467 mm."


@pytest.fixture
def here(samples, tmp_path, monkeypatch) -> Path:
    """A folder with the sample in it, as the current one."""
    for name in ("machine.toml", "as-found.csv", "as-left.csv", "machine-mm.toml", "as-found-mm.csv"):
        (tmp_path / name).write_bytes((samples / name).read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def program(*arguments: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "alignment", *arguments],
        capture_output=True,
        text=True,
        errors="replace",
        cwd=cwd,
        env=os.environ | environment,
        check=False,
        timeout=100,
    )


# --- what is printed -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "names", [("machine.toml", "as-found.csv"), ("machine-mm.toml", "as-found-mm.csv"), ("machine.toml", "as-left.csv")]
)
@pytest.mark.parametrize("options", [(), ("--line", "fitted"), ("--aim", "true"), ("--units", "mm")])
def test_text_fits_the_screen(here, run, names, options):
    outcome = run("solve", *names, *options)
    assert outcome.status == 0
    assert outcome.err == ""
    assert max(map(len, outcome.out.splitlines())) <= 80
    assert outcome.out.isascii()
    assert "\x1b" not in outcome.out


def test_what_to_do_first_comes_first(here, run):
    """Verdict and size of the job, cautions, moves, the table, the doubts; in this order."""
    text = run("solve", "machine.toml", "as-found.csv").out
    flat = " ".join(text.split())
    order = [
        "Verdict: OUT. Move 5 bolt ends on 4 sections", SHORT[0], "First: operator-2: loosen exit",
        "MOVES, IN THIS ORDER", "1 operator-2: loosen exit", "Chance that all is OK then", "HOW IT IS",
    ]  # fmt: skip
    places = [flat.index(part) for part in order]
    assert places == sorted(places)
    assert all(caution in flat for caution in SHORT)
    assert len(text.splitlines()) <= 44
    head, _, rest = text.partition("\nFirst: ")
    assert len(head.splitlines()) < 8
    assert text.endswith(f"\nFirst: {rest.split(chr(10) * 2)[0]}\n")
    full = " ".join(run("solve", "machine.toml", "as-found.csv", "--full").out.split())
    assert full.index("HOW IT IS") < full.index("FIGURES") < full.index("AFTER THE MOVES") < full.index("DOUBTS")


def test_no_cautions_where_nobody_is_sent(here, run):
    text = run("solve", "machine.toml", "as-left.csv").out
    assert "Nothing to move" in text
    assert "Lock out" not in text


def test_units_of_what_is_printed(here, run):
    inches, metric = (run("solve", "machine.toml", "as-found.csv", "--json", "--units", u).out for u in ("in", "mm"))
    one, other = (json.loads(text)["sections"][0] for text in (inches, metric))
    assert (json.loads(inches)["units"], json.loads(metric)["units"]) == ("in", "mm")
    assert other["skew"]["value"] == pytest.approx(25.4 * one["skew"]["value"], rel=1e-9)
    assert other["skew"]["angle"] == pytest.approx(one["skew"]["angle"], rel=1e-9)


def test_json(here, run):
    """One object and nothing else, with the agreed keys and types."""
    outcome = run("solve", "machine.toml", "as-found.csv", "--json")
    assert (outcome.status, outcome.err) == (0, "")
    found = json.loads(outcome.out)
    assert found["machine"] == "Liner line, bay 2"
    assert found["units"] == "in"
    assert found["line"] == "string"
    assert found["survey"]["file"] == "as-found.csv"
    assert found["survey"]["taken"] == "2026-10-02 07:40"
    assert found["stringtrue"].count(".") == 2
    assert found["verdict"] in VERDICTS
    assert {s["string"] for s in found["strings"]} == {"operator", "drive"}
    assert all(isinstance(s["shift"], float) and isinstance(s["slope"], float) for s in found["strings"])
    for part in (found, found["after"]):
        assert [s["section"] for s in part["sections"]][:2] == ["operator-1", "operator-2"]
        for section in part["sections"]:
            _check_section(section)
        assert len(part["joints"]) == 7
        for joint in part["joints"]:
            assert len(joint["sections"]) == 2
            assert _numbers(joint, "step", "u")
            assert joint["verdict"] in VERDICTS
        assert part["openings"]
        for opening in part["openings"]:
            assert opening["rows"] == ["operator", "drive"]
            assert _numbers(opening, "x", "opening", "u")
        assert part["verdict"] in VERDICTS
    for flag in found["flags"]:
        assert all(isinstance(flag[key], str) for key in ("flag", "section", "point", "message"))
    for again in found["read_again"]:
        assert again["points"]
        assert again["why"]
    moves = found["moves"]
    assert 0 < moves["chance"] < 1
    assert moves["aim"] == "fewest"
    assert isinstance(moves["bolt_ends"], int)
    assert isinstance(moves["total"], float)
    assert moves["optimal"] is True
    assert moves["missed"] == []
    for step in moves["steps"]:
        assert step["loosen"] in ("entry", "exit")
        assert step["pivot"] in ("entry", "exit", None)
        assert step["direction"] == ("toward" if step["move"] > 0 else "away")
        assert step["watch"]["words"].startswith("1")
        for key in ("watch", "other"):
            assert isinstance(step[key]["point"], str)
            assert _numbers(step[key], "from", "to")
    both = [s for s in moves["steps"] if s["section"] == "operator-5"]
    assert [(s["loosen"], s["pivot"]) for s in both] == [("entry", None), ("exit", None)]


def _numbers(table, *keys) -> bool:
    return all(isinstance(table[key], float) for key in keys)


def _check_section(section) -> None:
    assert isinstance(section["section"], str)
    assert isinstance(section["row"], str)
    assert isinstance(section["readings"], int)
    assert isinstance(section["dof"], int)
    assert isinstance(section["chi2"], float)
    for key in ("offset", "skew"):
        assert _numbers(section[key], "value", "u", "p_in")
        assert section[key]["verdict"] in VERDICTS
    assert isinstance(section["skew"]["angle"], float)
    for end in ("entry", "exit"):
        own = section["ends"][end]
        assert _numbers(own, "reading", "target", "deviation", "u")
        assert own["deviation"] == pytest.approx(own["reading"] - own["target"], abs=2e-6)


def test_json_of_a_section_not_measured_enough(here, run):
    """Null, never a number or a NaN, and the rest goes on."""
    Path("as-found.csv").write_text("section,entry,exit\noperator-1,18 3/8,\noperator-2,18 3/8,18 1/2\n")
    found = json.loads(run("solve", "machine.toml", "as-found.csv", "--json").out)
    one, other = found["sections"][:2]
    assert one["readings"] == 1
    assert one["offset"] is one["skew"] is one["ends"] is None
    assert other["skew"]["value"] == pytest.approx(0.125)
    assert all(joint["step"] is None for joint in found["joints"])


@pytest.mark.parametrize("line", Line)
@pytest.mark.parametrize("aim", Aim)
def test_every_choice(here, run, line, aim):
    outcome = run("solve", "machine.toml", "as-found.csv", "--line", line, "--aim", aim, "--json")
    assert outcome.status == 0
    found = json.loads(outcome.out)
    assert (found["line"], found["moves"]["aim"]) == (line, aim)


@pytest.mark.parametrize("units", Units)
def test_every_unit(here, run, units):
    assert json.loads(run("solve", "machine.toml", "as-found.csv", "--units", units, "--json").out)["units"] == units


# --- what is written -------------------------------------------------------------------------------------------

BEGINS = {".svg": b"<?xml", ".png": b"\x89PNG\r\n\x1a\n", ".pdf": b"%PDF-"}


def test_strays_are_left_out_only_where_that_is_asked_for(run, tmp_path):
    """Three points on a face, the middle one a whole inch off: no line goes through all."""
    sections = "".join(
        f'[[section]]\nname = "s{k}"\nrow = "r"\nstart = "{16 * k}"\nlength = "15"\npoints = ["0", "7", "15"]\n'
        for k in range(3)
    )
    head = '[machine]\nname = "m"\nunits = "in"\n[row.r]\ntarget = "18 3/8"\n'
    (tmp_path / "m.toml").write_text(head + sections)
    rows = [(k, at, "19 3/8" if (k, at) == (1, 7) else "18 3/8") for k in range(3) for at in (0, 7, 15)]
    (tmp_path / "s.csv").write_text("section,point,reading\n" + "".join(f"s{k},{at},{r}\n" for k, at, r in rows))
    kept, left_out = (
        json.loads(run("solve", tmp_path / "m.toml", tmp_path / "s.csv", "--json", *more).out)["dropped"]
        for more in ((), ("--drop-strays",))
    )
    assert kept == []
    assert [(r["section"], r["text"]) for r in left_out] == [("s1", "19 3/8")]


@pytest.mark.parametrize("suffix", BEGINS)
def test_picture(here, run, suffix):
    outcome = run("solve", "machine.toml", "as-found.csv", "--plot", f"train{suffix}")
    assert outcome.status == 0, outcome.err
    data = Path(f"train{suffix}").read_bytes()
    assert data.startswith(BEGINS[suffix])
    assert len(data) > 10_000


def test_out(here, run):
    printed = run("solve", "machine.toml", "as-found.csv").out
    outcome = run("solve", "machine.toml", "as-found.csv", "-o", "answer.txt")
    assert (outcome.status, outcome.out) == (0, "")
    assert Path("answer.txt").read_text() == printed
    run("solve", "machine.toml", "as-found.csv", "--json", "--out", "answer.json")
    assert json.loads(Path("answer.json").read_text())["verdict"] == "out"


@pytest.mark.parametrize("option", ["--plot", "--out"])
def test_files_that_are_there_are_kept(here, run, option):
    Path("there.svg").write_text("old")
    outcome = run("solve", "machine.toml", "as-found.csv", option, "there.svg")
    assert (outcome.status, outcome.out) == (2, "")
    assert outcome.err == (
        "stringtrue: there.svg: is there already. Give --force to write over it, or another name.\n"
    )  # fmt: skip
    assert Path("there.svg").read_text() == "old"
    assert run("solve", "machine.toml", "as-found.csv", option, "there.svg", "--force").status == 0
    assert Path("there.svg").read_text() != "old"


def test_check(here, run):
    """Exit status 1 unless the machine is in; what is printed is the same."""
    out = run("solve", "machine.toml", "as-found.csv", "--check")
    assert out.status == 1
    assert out.out == run("solve", "machine.toml", "as-found.csv").out
    assert run("solve", "machine.toml", "as-left.csv", "--check").status == 0


# --- bad input -------------------------------------------------------------------------------------------------


def spoil(name: str, good: str, bad: str) -> None:
    text = Path(name).read_text()
    assert good in text
    Path(name).write_text(text.replace(good, bad, 1))


def reading(bad: str, said: str):
    """A reading of the survey as found replaced by another text."""
    return (
        lambda: spoil("as-found.csv", "18 9/16", bad),
        f"as-found.csv: 1 reading cannot be used\n  row 11, reading: {said}",
    )


def layout(good: str, bad: str, said: str):
    """Part of the layout replaced by another text."""
    return lambda: spoil("machine.toml", good, bad), f"machine.toml: this layout cannot be used\n  {said}"


def holding(name: str, data: bytes, said: str):
    """A whole file replaced."""
    return lambda: Path(name).write_bytes(data), said


BELOW = "Use 2, 4, 8, 16, 32 or 64 below the line."
BINARY = "not a text file. Expected text in UTF-8, or for a survey also .xlsx."
HEADERS = "Expected columns section,point,reading, or section,entry,exit."
BAD = {
    "improper fraction": reading("18 9/8", "'18 9/8' is not a length: 9/8 is more than one. Write 19 1/8 or 18 7/8."),
    "sevenths": reading("5/7", f"'5/7' is not a length: 7 does not divide a tape's inch. {BELOW}"),
    "over nothing": reading("1/0", f"'1/0' is not a length: 0 does not divide a tape's inch. {BELOW}"),
    "nan": reading("nan", f"'nan' is not a length. {WRITE}"),
    "inf": reading("inf", f"'inf' is not a length. {WRITE}"),
    "5,000 digits": reading("8" * 5000, f"'{'8' * 40}...' (5000 characters) is not a length: it is too long."),
    "boolean reading": reading("true", f"'true' is not a length. {WRITE}"),
    "overlap": layout(
        'start = "16"', 'start = "14"',
        "[[section]] 'operator-2' start: 14 is before the exit end of 'operator-1' at 15: they overlap.",
    ),
    "equal bolts": layout(
        'bolts = ["2", "13"]', 'bolts = ["2", "2"]',
        "[[section]] 'operator-1' bolts: a section has two bolt ends, entry first, at two places.",
    ),
    "point off the section": layout(
        'bolts = ["2", "13"]', 'points = ["0", "18 1/2"]',
        "[[section]] 'operator-1' points: 18 1/2 is off the section, which is 15 long.",
    ),
    "one point in the layout": layout(
        'bolts = ["2", "13"]', 'points = ["9"]',
        "[[section]] 'operator-1' points: a section needs two points or more, each at its own place, to show its skew.",
    ),
    "boolean length": layout(
        'length = "15"', "length = true", f"[[section]] 'operator-1' length: 'True' is not a length. {WRITE}"
    ),
    "nan length": layout(
        'length = "15"', "length = nan", f"[[section]] 'operator-1' length: 'nan' is not a length. {WRITE}"
    ),
    "inf length": layout(
        'length = "15"', "length = inf", f"[[section]] 'operator-1' length: 'inf' is not a length. {WRITE}"
    ),
    "5,000 digits in the layout": holding(
        "machine.toml", b"a = " + b"1" * 5000, "machine.toml: not a TOML file\n  syntax: a number in it is too long."
    ),
    "binary survey": holding("as-found.csv", bytes(range(256)), f"as-found.csv: {BINARY}"),
    "binary layout": holding("machine.toml", bytes(range(256)), f"machine.toml: {BINARY}"),
    "stranger's section": (
        lambda: spoil("as-found.csv", "operator-2", "operater-2"),
        "as-found.csv: 1 reading cannot be used\n"
        "  row 10, section: 'operater-2' is not in machine.toml. Perhaps you meant 'operator-2'.",
    ),
    "point beyond the section": holding(
        "as-found.csv", b"section,point,reading\noperator-1,19,18\n",
        "as-found.csv: 1 reading cannot be used\n"
        "  row 2, point: '19' is off operator-1, which ends before it. Check the point.",
    ),
    "one point only": holding(
        "as-found.csv", b"section,point,reading\noperator-1,entry,18\n",
        "as-found.csv: no section was read at two distinct points, so no face can be drawn. Read each section at its "
        "entry and exit points.",
    ),
    "empty survey": holding(
        "as-found.csv", b"", f"as-found.csv: no readings\n  row 1: the file is empty. {HEADERS}"
    ),
    "empty layout": holding(
        "machine.toml", b"",
        "machine.toml: this layout cannot be used\n  [machine] units: is missing, and is needed.\n"
        "  [machine] name: is missing, and is needed.\n"
        "  [[section]]: there is none, and a machine has at least one. Add a [[section]].",
    ),
    "missing survey": (
        lambda: Path("as-found.csv").rename("as-fond.csv"),
        "as-found.csv: there is no such file. Perhaps you meant 'as-fond.csv'.",
    ),
    "missing layout": (
        lambda: Path("machine.toml").rename("machines.toml"),
        "machine.toml: there is no such file. Perhaps you meant 'machines.toml'.",
    ),
    "duplicate header": holding(
        "as-found.csv", b"section,point,reading,point\noperator-1,entry,18,\n",
        "as-found.csv: this survey cannot be used\n  row 1, column 4: the header 'point' stands twice.",
    ),
    "every error at once": holding(
        "as-found.csv", b"section,point,reading\noperator-1,entry,18 9/8\noperater-2,exit,18\n",
        "as-found.csv: 2 readings cannot be used\n"
        "  row 2, reading: '18 9/8' is not a length: 9/8 is more than one. Write 19 1/8 or 18 7/8.\n"
        "  row 3, section: 'operater-2' is not in machine.toml. Perhaps you meant 'operator-2'.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input(here, run, name):
    """Exit status 2, one message, standard output empty, nothing written."""
    prepare, message = BAD[name]
    prepare()
    before = sorted(Path().iterdir())
    outcome = run("solve", "machine.toml", "as-found.csv", "--json", "--plot", "a.svg", "-o", "b.txt")
    assert outcome.err == f"stringtrue: {message}\n"
    assert (outcome.status, outcome.out) == (2, "")
    assert sorted(Path().iterdir()) == before


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--plot", "a.jpg"), "stringtrue: a.jpg: cannot be written as '.jpg'. Use .svg, .png, .pdf.\n"),
        (("--plot", "no/a.svg"), "stringtrue: no/a.svg: there is no folder 'no'. Make it first.\n"),
        (("-o", "."), "stringtrue: .: this is a folder. Name a file in it.\n"),
        (("--plot", "a.svg", "-o", "a.svg"), "stringtrue: a.svg: is named twice to be written. Give each file a name "
         "of its own.\n"),
        (("--line", "strng"), "stringtrue: --line: 'strng' is not a choice. Perhaps you meant 'string'.\n"),
        (("--aim", "x"), "stringtrue: --aim: 'x' is not a choice. Known: fewest, least, true.\n"),
        (("--units", "cm"), "stringtrue: --units: 'cm' is not a choice. Known: in, mm.\n"),
        (("--nope",), "No such option: --nope"),
        (("more",), "unexpected extra argument"),
        (("--done", "drive-7"), "stringtrue: --done: 'drive-7' is not in machine.toml. Perhaps you meant 'drive-3'.\n"),
    ],
)  # fmt: skip
def test_bad_options(here, run, options, said):
    before = sorted(Path().iterdir())
    outcome = run("solve", "machine.toml", "as-found.csv", *options)
    assert said in outcome.err
    assert (outcome.status, outcome.out) == (2, "")
    assert sorted(Path().iterdir()) == before


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (("enter", "machine.toml", "s.csv", "--repeats", "0"), "--repeats: 0 is not from 1 to 20."),
        (("enter", "machine.toml", "s.csv", "--repeats", "21"), "--repeats: 21 is not from 1 to 20."),
        (("sheet", "machine.toml", "-o", "s.pdf", "--repeats", "two"),
         "--repeats: 'two' is not a whole number. Write one from 1 to 5."),
        (("square", "-18", "18", "--length", "18"),
         "'-18' is less than nothing, and a length is not. Leave the minus off."),
        (("square", "18", "-.5", "--length", "18"),
         "'-.5' is less than nothing, and a length is not. Leave the minus off."),
        (("square", "18", "3/8", "18", "7/16", "--length", "18"),
         "(18 7/16). Write a fraction with a dash, 18-3/8, or in quotes."),
        (("square", "18", "18"), "--length"),
        (("solve", "machine.toml"), "SURVEY"),
        (("solv", "machine.toml"), "solv"),
    ],
)  # fmt: skip
def test_a_command_line_that_cannot_be_used(here, run, line, said):
    """In the words of the other messages, with the way to its help; nothing on standard output."""
    outcome = run(*line)
    assert (outcome.status, outcome.out) == (2, "")
    first, last = outcome.err.splitlines()
    assert first.startswith("stringtrue: ")
    assert said in first
    assert last in (f"Try: stringtrue {line[0]} --help", "Try: stringtrue --help")
    assert not Path("s.csv").exists()


@pytest.mark.parametrize("before", [[], ["--mark", "1/32"]])
def test_a_mark_that_no_tape_has(here, run, before):
    """A count or a reading taken for a mark, wherever a mark is told on the command line."""
    said = "'3' is more than 1/2 in, as no tape has. Write for example 1/16 in or 1 mm.\n"
    for line in (
        ("budget", "machine.toml"),
        ("enter", "machine.toml", "s.csv"),
        ("square", "18", "18", "--length", "18"),
    ):
        outcome = run(*line, *before, "--mark", "3")
        assert (outcome.status, outcome.out) == (2, "")
        assert outcome.err.endswith(f"mark: {said}")
    assert not Path("s.csv").exists()
    assert run("budget", "machine.toml", "--mark", "1/2").status == 0


def test_one_fault_in_every_row_is_told_once(here, run):
    """Readings in inches under a layout in millimetres: one line, the rows listed and the rest counted."""
    outcome = run("solve", "machine-mm.toml", "as-found.csv")
    assert (outcome.status, outcome.out) == (2, "")
    assert outcome.err == (
        "stringtrue: as-found.csv: 20 readings cannot be used\n"
        "  rows 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19 and 8 more, reading: '18 3/8' is not a length: fractions "
        "are inches, and this file is in millimetres. Write 467.5, or 18 3/8 in.\n"
    )


def test_faults_that_differ_stay_apart_and_in_order(here, run):
    bad = ["18 9/8", "x", "18 9/8", "y", "5/7", "z"]
    rows = "".join(f"operator-1,entry,{text}\n" for text in bad)
    Path("as-found.csv").write_text(f"section,point,reading\n{rows}")
    lines = run("solve", "machine.toml", "as-found.csv").err.splitlines()[1:]
    assert [line.split(" is not")[0].strip() for line in lines] == [
        "row 2, reading: '18 9/8'", "row 3, reading: 'x'", "row 4, reading: '18 9/8'", "row 5, reading: 'y'",
        "row 6, reading: '5/7'", "row 7, reading: 'z'",
    ]  # fmt: skip
    Path("as-found.csv").write_text(f"section,point,reading\n{rows}operator-1,exit,w\n")
    lines = run("solve", "machine.toml", "as-found.csv").err.splitlines()[1:]
    assert [line.split(" is not")[0].strip() for line in lines] == [
        "row 2, reading: '18 9/8'", "rows 3, 5, 7, 8, reading: 'x'", "row 4, reading: '18 9/8'",
        "row 6, reading: '5/7'",
    ]  # fmt: skip


# every command that reads something and writes a file; the file that it would read is not there
WRITING = [
    ("budget", "machine.toml", "-o"),
    ("budget", "machine.toml", "--plot"),
    ("sheet", "machine.toml", "-o"),
    ("compare", "machine.toml", "a.csv", "b.csv", "--table"),
    ("compare", "machine.toml", "a.csv", "b.csv", "-o"),
    ("panel", "a.toml", "-o"),
    ("causes", "machine.toml", "-", "a.toml", "-o"),
    ("settings", "a.toml", "--table"),
    ("report", "a.toml", "a.csv", "-o"),
    ("history", "machine.toml", "a.csv", "--plot"),
    ("solve", "machine.toml", "-", "-o"),
    ("solve", "machine.toml", "-", "--plot"),
    ("solve", "machine.toml", "-", "--checklist"),
]
SUFFIX = {"--plot": ".svg", "--table": ".csv", "--checklist": ".txt"}


@pytest.mark.parametrize("line", WRITING, ids=" ".join)
def test_files_to_be_written_are_looked_at_before_anything_is_read(here, run, line, monkeypatch):
    """Nobody pastes a survey, or waits, only to learn that the file to be written is there."""
    suffix = SUFFIX.get(line[-1], ".pdf")
    Path(f"there{suffix}").write_text("old")
    monkeypatch.setattr("sys.stdin", io.StringIO())  # without the bytes that a reader takes
    outcome = run(*line, f"there{suffix}")
    assert (outcome.status, outcome.out) == (2, "")
    assert outcome.err.startswith(f"stringtrue: there{suffix}: is there already.")


def test_demo_looks_at_its_folder_first(here, run, monkeypatch):
    Path("demo").mkdir()
    Path("demo/report.pdf").write_text("old")
    monkeypatch.setattr("alignment.show.demo.solve", None)  # whoever solves fails
    outcome = run("demo", "demo")
    assert (outcome.status, outcome.out) == (2, "")
    assert "report.pdf: is there already" in outcome.err
    assert [path.name for path in Path("demo").iterdir()] == ["report.pdf"]


def test_both_pictures_or_none(here, run):
    """Of a machine with rows in height, the second picture is looked at before the first is written."""
    spoil("machine.toml", 'string_side = "right"', 'plane = "height"\nstring_side = "above"')
    Path("p-heights.svg").write_text("old")
    outcome = run("solve", "machine.toml", "as-found.csv", "--plot", "p.svg")
    assert (outcome.status, outcome.out) == (2, "")
    assert outcome.err.startswith("stringtrue: p-heights.svg: is there already.")
    assert not Path("p.svg").exists()
    assert Path("p-heights.svg").read_text() == "old"
    assert run("solve", "machine.toml", "as-found.csv", "--plot", "p.svg", "--force").status == 0
    assert Path("p.svg").read_bytes()[:5] == Path("p-heights.svg").read_bytes()[:5] == b"<?xml"


READ = {
    "utf-16": lambda data: data.decode().encode("utf-16"),
    "utf-16 without mark": lambda data: data.decode().encode("utf-16-le"),
    "byte order mark": lambda data: b"\xef\xbb\xbf" + data,
    "semicolons": lambda data: data.replace(b",", b";"),
    "tabs": lambda data: data.replace(b",", b"\t"),
    "windows line ends": lambda data: data.replace(b"\n", b"\r\n"),
}


@pytest.mark.parametrize("name", READ)
def test_read_not_refused(here, run, name):
    plain = run("solve", "machine.toml", "as-found.csv").out
    Path("as-found.csv").write_bytes(READ[name](Path("as-found.csv").read_bytes()))
    outcome = run("solve", "machine.toml", "as-found.csv")
    assert (outcome.status, outcome.err) == (0, "")
    assert outcome.out == plain


# --- as a program ----------------------------------------------------------------------------------------------


def test_as_a_program(here):
    done = program("solve", "machine.toml", "as-found.csv", cwd=here)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Liner line, bay 2, as-found.csv")


def test_bad_input_as_a_program(here):
    spoil("as-found.csv", "18 9/16", "18 9/8")
    done = program("solve", "machine.toml", "as-found.csv", "--json", cwd=here)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("stringtrue: as-found.csv: 1 reading cannot be used\n")
    assert "Traceback" not in done.stderr


def test_names_that_the_terminal_cannot_show(here):
    spoil("machine.toml", '"Liner line, bay 2"', '"Línea ⅝"')
    done = program("solve", "machine.toml", "as-found.csv", cwd=here, PYTHONIOENCODING="latin-1", PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, "")
    assert ", as-found.csv, taken" in done.stdout.splitlines()[0]


def test_nothing_but_the_object_on_standard_output(tmp_path):
    """Not a word of the solver's own either, under a free line, where it has the most to do."""
    ends = {"a": (1.4, -2.0), "b": (-3.1, -5.8), "c": (-0.7, 2.5), "d": (0.1, 1.0)}
    sections = "".join(
        f'[[section]]\nname = "{name}"\nrow = "r"\nstart = {500 * k}\nlength = 460\nbolts = [40, 400]\n'
        for k, name in enumerate(ends)
    )
    joints = "".join(f'[[joint]]\nsections = ["{a}", "{b}"]\n' for a, b in zip("abc", "bcd", strict=True))
    (tmp_path / "m.toml").write_text(
        "[machine]\nname = 'm'\nunits = 'mm'\n[tolerance]\noffset = '1'\nsquare = '0.8'\nstep = '1'\n"
        f"[moves]\ntravel = '2'\n[row.r]\ntarget = '600'\n{sections}{joints}"
    )
    rows = "".join(f"{name},{600 + a:.1f},{600 + b:.1f}\n" for name, (a, b) in ends.items())
    (tmp_path / "s.csv").write_text(f"section,entry,exit\n{rows}")
    done = program("solve", "m.toml", "s.csv", "--line", "free", "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("{")
    assert json.loads(done.stdout)["line"] == "free"


def test_version(run):
    from alignment import __version__

    outcome = run("--version")
    assert (outcome.status, outcome.out) == (0, f"stringtrue {__version__}\n")


def test_what_was_typed_begins_behind_the_name_of_the_program(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["stringtrue", "--version"])
    assert app.run() == 0
    assert capsys.readouterr().out.startswith("stringtrue ")


@pytest.mark.parametrize(("code", "status"), [(0, 0), (None, 0), (1, 2)])
def test_a_library_that_ends_the_program_is_no_failed_check(run, monkeypatch, code, status):
    def leave(*_, **__):
        raise SystemExit(code)

    monkeypatch.setattr(app, "commands", leave)
    assert run("solve").status == status


def test_help_names_every_option(run):
    text = run("solve", "--help").out
    for word in ("LAYOUT", "SURVEY", "--line", "--aim", "--plot", "--check", "--json", "--units", "--out", "--force"):
        assert word in text
    for choice in (*Line, *Aim, *Units):
        assert choice in text
    for word in (*Line, *Aim):
        assert f"{word}: " in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(("typed", "told"), [
    ("", True), ("y", True), ("yes", True), (None, True), (" Y ", True), ("n", False), ("no", False),
])  # fmt: skip
def test_enter_and_the_end_of_input_are_yes(monkeypatch, capsys, typed, told):
    answers = iter(["perhaps", typed])
    monkeypatch.setattr(prompts, "_typed", lambda _: next(answers))
    assert prompts.yes("Sure? ") is told
    assert capsys.readouterr().out.count("Type y or n.") == 1


@pytest.mark.parametrize("name", app.NAMES)
def test_nothing_is_done_that_was_not_asked_for(name):
    """No switch is on by itself, and what is counted is one."""
    asked = inspect.signature(getattr(importlib.import_module(f"cli.{name}"), name)).parameters.values()
    assert not [option.name for option in asked if option.default is True]
    assert {option.default for option in asked if type(option.default) is int} <= {0, 1}


def test_help_lists_every_command_uncut(run):
    outcome = run("--help")
    listed = outcome.out.partition("To try it:")[2]
    assert "..." not in listed
    assert all(f"\n  {name} " in listed for names in WHEN.values() for name in names)
    assert max(map(len, outcome.out.splitlines())) <= 80
    bare = run()
    assert (bare.status, bare.out) == (0, outcome.out)


# --- the demonstration -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("units", "suffix"), [("in", ""), ("mm", "-mm")])
def test_demo(run, tmp_path, units, suffix):
    """What to do, and the picture; its files can be solved again."""
    folder = tmp_path / "demo"
    outcome = run("demo", folder, "--units", units)
    assert (outcome.status, outcome.err) == (0, "")
    assert "MOVES, IN THIS ORDER" in outcome.out
    (tray,) = (row.split() for row in outcome.out.splitlines() if "  a tray  " in row)
    assert tray[-1] == "OUT"
    # the folder's own name may be longer than a line
    assert max(len(line) for line in outcome.out.splitlines() if str(folder) not in line) <= 80
    assert (folder / "train.png").read_bytes().startswith(BEGINS[".png"])
    again = run("solve", folder / f"machine{suffix}.toml", folder / f"as-found{suffix}.csv")
    assert again.out in outcome.out


def test_demo_twice(here, run, monkeypatch):
    """A folder of its own each time; a folder that is named is not written over."""
    for drawing in (demo.plots, demo.report):
        monkeypatch.setattr(drawing, "render", lambda *_: b"drawn")
    assert run("demo").status == run("demo").status == 0
    assert Path("stringtrue-demo/train.png").is_file()
    assert Path("stringtrue-demo-2/train.png").is_file()
    outcome = run("demo", "stringtrue-demo")
    assert (outcome.status, outcome.out) == (2, "")
    assert "is there already" in outcome.err
    assert run("demo", "stringtrue-demo", "--force").status == 0
    outcome = run("demo", "machine.toml")
    assert (outcome.status, outcome.out) == (2, "")
    assert outcome.err == "stringtrue: machine.toml: is a file. Name a folder for the demonstration.\n"
