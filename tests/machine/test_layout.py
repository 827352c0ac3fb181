"""Layout files: what is read, the defaults, and one test for each way to spoil a good file."""

from __future__ import annotations

import pytest

from alignment.errors import InputError
from alignment.lengths import Units
from alignment.machine.layout import Joint
from alignment.machine.layout_file import parse_layout, read_layout

IN = 25.4
GOOD = """
[machine]
name = "Liner line"
units = "in"
strip_width = "23 1/4"
yield = "33 ksi"

[tape]
mark = "1/32"
set = "1/128"
tilt = 1.5
zero = "1/64"

[tolerance]
square = "1/32"
offset = "1/16"
step = 0.03
opening = "1/8"

[moves]
creep = "1/128"
travel = "1/4"
bolt = 0.1

[string.operator]
at = "-2"

[row.operator]
string_side = "left"
target = "18 3/8"

[[section]]
name = "operator-1"
row = "operator"
start = "-1"
length = "18"
points = ["9", "0", "18"]
bolts = ["2", "16"]
setback = "-1/8"
hold = true

[[section]]
name = "operator-2"
row = "operator"
start = "20"
length = "18"

[[joint]]
sections = ["operator-1", "operator-2"]
step = "-1/16"
"""
LEAST = """
machine = {name = "Bare", units = "mm"}
section = [
  {name = "b", row = "one", start = 500, length = 460},
  {name = "a", row = "one", start = 0, length = 460.5},
  {name = "c", row = "two", start = "19 in", length = "18 1/8 in"},
]
"""


def test_everything_told():
    layout = parse_layout(GOOD, "machine.toml")
    assert (layout.name, layout.units, layout.source) == ("Liner line", Units.inch, "machine.toml")
    assert layout.strip.width == pytest.approx(23.25 * IN)
    # 1 ksi is 6.894757 MPa (exactly 1000 lbf/in2)
    assert layout.strip.yield_strength == pytest.approx(227.527, abs=0.0005)
    assert layout.tape.mark == pytest.approx(IN / 32)
    assert layout.tape.set_u == pytest.approx(IN / 128)
    assert layout.tape.tilt == 1.5
    assert layout.tape.zero == pytest.approx(IN / 64)
    tolerance = layout.tolerance
    assert [tolerance.square, tolerance.offset, tolerance.step, tolerance.opening] == pytest.approx(
        [IN / 32, IN / 16, 0.03 * IN, IN / 8]
    )
    assert (layout.moves.creep, layout.moves.travel, layout.moves.bolt) == pytest.approx((IN / 128, IN / 4, 0.1))
    assert layout.strings["operator"].at == pytest.approx(-2 * IN)
    row = layout.rows["operator"]
    assert (row.string, row.side, row.target) == ("operator", "left", pytest.approx(18.375 * IN))
    one, two = layout.sections
    assert (one.name, one.hold, two.hold) == ("operator-1", True, False)
    assert (one.start, one.end, one.middle) == pytest.approx((-IN, 17 * IN, 8 * IN))
    assert one.points == pytest.approx((0, 9 * IN, 18 * IN))
    assert one.bolts == pytest.approx((2 * IN, 16 * IN))
    assert one.setback == pytest.approx(-IN / 8)
    assert layout.joints == (Joint(upstream="operator-1", downstream="operator-2", step=-IN / 16),)
    assert layout.assumed == ()


def test_least_that_will_do():
    """Name, units and the sections; sections stand row by row from entry to exit, and points and bolts at the ends."""
    layout = parse_layout(LEAST)
    assert [s.name for s in layout.sections] == ["a", "b", "c"]
    a, _, c = layout.sections
    assert a.points == a.bolts == (0.0, 460.5)
    assert (c.start, c.length) == pytest.approx((482.6, 460.375))
    assert list(layout.rows) == ["one", "two"]
    assert [row.string for row in layout.rows.values()] == ["one", "two"]
    assert list(layout.strings) == ["one", "two"]
    assert all(row.target is None for row in layout.rows.values())
    assert layout.joints == ()
    assert layout.assumed == ("tape", "tolerance")


def test_defaults_in_both_units():
    """1/64 in and 0.4 mm of zero, a quarter of the mark of placing, 2 degrees, 1/64 in and 0.4 mm of creep."""
    metric = parse_layout(LEAST)
    assert (metric.tape.zero, metric.tape.tilt, metric.moves.creep, metric.moves.travel) == (0.4, 2.0, 0.4, None)
    assert metric.tape.set_u == metric.tape.mark / 4
    assert metric.moves.bolt == 0.06
    inches = parse_layout(LEAST.replace('"mm"', '"in"'))
    assert (inches.tape.zero, inches.moves.creep) == pytest.approx((IN / 64, IN / 64))
    assert inches.tape.set_u == inches.tape.mark / 4


def test_places_by_name():
    one = parse_layout(GOOD).sections[0]
    assert [one.place(name) for name in ("entry", "mid", "exit")] == pytest.approx([0, 9 * IN, 18 * IN])
    assert one.place("middle") is None
    assert [one.point_name(x * IN, Units.inch) for x in (0, 9, 18, 4.5)] == ["entry", "mid", "exit", "4 1/2"]


def test_samples_are_read(samples):
    for name in ("machine.toml", "machine-mm.toml"):
        layout = read_layout(samples / name)
        assert [len(layout.row_sections(row)) for row in layout.rows] == [6, 3]
        assert len(layout.joints) == 7


SPOILED = [
    ('name = "Liner line"', "", "[machine] name: is missing, and is needed."),
    ('units = "in"', "", "[machine] units: is missing, and is needed."),
    ('units = "in"', 'units = "inch"', "[machine] units: 'inch' is not a choice. Perhaps you meant 'in'."),
    ('units = "in"', 'unit = "in"', "[machine] units: is missing, and is needed.\n"
     "  [machine] unit: is not a known key. Perhaps you meant 'units'."),
    ('name = "Liner line"', "name = 7", "[machine] name: '7' is not a name. Write a text in quotes."),
    ('name = "Liner line"', 'name = " "', "[machine] name: ' ' is not a name. Write a text in quotes."),
    ('yield = "33 ksi"', 'yield = "33"', "[machine] yield: '33' is not a number with one of the units MPa, N/mm2, "
     "ksi, psi."),
    ('mark = "1/32"', 'mark = "0"', "[tape] mark: '0' is not more than nothing."),
    ('mark = "1/32"', 'mark = "1/0"', "[tape] mark: '1/0' is not a length: 0 does not divide a tape's inch. Use 2, 4, "
     "8, 16, 32 or 64 below the line."),
    ('mark = "1/32"', 'marks = "1/32"', "[tape] marks: is not a known key. Perhaps you meant 'mark'."),
    ("tilt = 1.5", "tilt = true", "[tape] tilt: 'True' is not a number. Write for example 2, without quotes."),
    ("tilt = 1.5", "tilt = nan", "[tape] tilt: 'nan' is not a number. Write for example 2, without quotes."),
    ("tilt = 1.5", "tilt = 45", "[tape] tilt: 45 is not from 0 to 30. Write for example 2."),
    ("tilt = 1.5", 'tilt = "2"', "[tape] tilt: '2' is not a number. Write for example 2, without quotes."),
    ("bolt = 0.1", "bolt = 2", "[moves] bolt: 2 is not from 0 to 1. Write for example 0.06."),
    ('square = "1/32"', 'square = "-1/32"', "[tolerance] square: '-1/32' is not a length: it is negative, and a "
     "distance is not. Leave the minus off."),
    ("[moves]", "[move]", "move: is not a known key. Perhaps you meant 'moves'."),
    ('string_side = "left"', 'string_side = "port"', "[row.operator] string_side: 'port' is not a choice. Known: left, "
     "right."),
    ('string_side = "left"', 'string = "operater"', "[row.operator] string: no [string.operater] in this file. Perhaps "
     "you meant 'operator'.\n  [string.operator]: no row hangs on this string. Perhaps you meant 'operater'."),
    ("[string.operator]", "[string.operator]\n[string.drive]", "[string.drive]: no row hangs on this string. Known: "
     "operator."),
    ('start = "20"', 'start = "16 3/4"', "[[section]] 'operator-2' start: 16 3/4 is before the exit end of "
     "'operator-1' at 17: they overlap."),
    ('start = "20"', "", "[[section]] 'operator-2' start: is missing, and is needed."),
    ('start = "20"', "start = true", "[[section]] 'operator-2' start: 'True' is not a length. Write for example "
     "18 3/8, 18-3/8, 18.375 or 467 mm."),
    ('start = "20"', "start = nan", "[[section]] 'operator-2' start: 'nan' is not a length. Write for example "
     "18 3/8, 18-3/8, 18.375 or 467 mm."),
    ('start = "20"', "start = inf", "[[section]] 'operator-2' start: 'inf' is not a length. Write for example "
     "18 3/8, 18-3/8, 18.375 or 467 mm."),
    ('start = "20"', "start = 2026-10-02", "[[section]] 'operator-2' start: '2026-10-02' is not a length. Write for "
     "example 18 3/8, 18-3/8, 18.375 or 467 mm."),
    ('start = "20"', 'start = "18 9/8"', "[[section]] 'operator-2' start: '18 9/8' is not a length: 9/8 is more than "
     "one. Write 19 1/8 or 18 7/8."),
    ('bolts = ["2", "16"]', 'bolts = ["2", "2"]', "[[section]] 'operator-1' bolts: a section has two bolt ends, entry "
     "first, at two places."),
    ('bolts = ["2", "16"]', 'bolts = ["16", "2"]', "[[section]] 'operator-1' bolts: a section has two bolt ends, entry "
     "first, at two places."),
    ('bolts = ["2", "16"]', 'bolts = ["2", "9", "16"]', "[[section]] 'operator-1' bolts: a section has two bolt ends, "
     "entry first, at two places."),
    ('bolts = ["2", "16"]', 'bolts = "2"', "[[section]] 'operator-1' bolts: '2' is not a list. Write for example "
     '["0", "18"].'),
    ('bolts = ["2", "16"]', 'bolts = ["2", "18 1/4"]', "[[section]] 'operator-1' bolts: 18 1/4 is off the section, "
     "which is 18 long."),
    ('points = ["9", "0", "18"]', 'points = ["0", "19"]', "[[section]] 'operator-1' points: 19 is off the section, "
     "which is 18 long."),
    ('points = ["9", "0", "18"]', 'points = ["-1", "18"]', "[[section]] 'operator-1' points: -1 is off the section, "
     "which is 18 long."),
    ('points = ["9", "0", "18"]', 'points = ["9"]', "[[section]] 'operator-1' points: a section needs two points or "
     "more, each at its own place, to show its skew."),
    ('points = ["9", "0", "18"]', 'points = ["9", "9"]', "[[section]] 'operator-1' points: a section needs two points "
     "or more, each at its own place, to show its skew."),
    ('points = ["9", "0", "18"]', "points = [true, 18]", "[[section]] 'operator-1' points: 'True' is not a length. "
     "Write for example 18 3/8, 18-3/8, 18.375 or 467 mm."),
    ("hold = true", 'hold = "yes"', "[[section]] 'operator-1' hold: 'yes' is neither true nor false. Write it without "
     "quotes."),
    ("hold = true", "holds = true", "[[section]] 'operator-1' holds: is not a known key. Perhaps you meant 'hold'."),
    ('name = "operator-2"', 'name = "operator-1"', "[[section]] 'operator-1' name: stands twice. Give each section a "
     "name of its own.\n  [[joint]] 1 sections: no section 'operator-2' in this file. Perhaps you meant 'operator-1'."),
    ('name = "operator-2"\nrow = "operator"', 'name = "operator-2"\nrow = "drive"', "[[section]] 'operator-2' row: no "
     "[row.drive] in this file. Known: operator.\n  [[joint]] 1 sections: are not neighbours of one row, upstream one "
     "first."),
    ('"operator-1", "operator-2"]', '"operator-1", "operater-2"]', "[[joint]] 1 sections: no section 'operater-2' in "
     "this file. Perhaps you meant 'operator-2'."),
    ('"operator-1", "operator-2"]', '"operator-2", "operator-1"]', "[[joint]] 1 sections: are not neighbours of one "
     "row, upstream one first."),
    ('"operator-1", "operator-2"]', '"operator-1"]', "[[joint]] 1 sections: '['operator-1']' is not a pair of names. "
     'Write ["operator-1", "operator-2"].'),
    ("[[joint]]", '[[joint]]\nsections = ["operator-1", "operator-2"]\n[[joint]]', "[[joint]] 2 sections: this joint "
     "stands twice."),
    ("[[joint]]", "[joint]", "[[joint]]: '{'sections': ['operator-1', 'operator-2'...' (59 characters) is no list "
     "of tables. Write [[joint]] above each."),
]  # fmt: skip


@pytest.mark.parametrize(("good", "bad", "message"), SPOILED, ids=[bad or f"no {good}" for good, bad, _ in SPOILED])
def test_one_thing_spoiled(good, bad, message):
    assert good in GOOD
    with pytest.raises(InputError) as error:
        parse_layout(GOOD.replace(good, bad, 1), "machine.toml")
    assert str(error.value) == f"machine.toml: this layout cannot be used\n  {message}"


@pytest.mark.parametrize("table", ["tape", "tolerance", "moves", "row", "string"])
@pytest.mark.parametrize("value", ["0", "false", "''", "7"])
def test_no_table(table, value):
    with pytest.raises(InputError) as error:
        parse_layout(f"{table} = {value}\n{LEAST}", "machine.toml")
    (problem,) = error.value.problems
    assert problem.where == f"[{table}]"
    read = value.strip("'").replace("false", "False")
    assert problem.what == f"'{read}' is not a table of keys. Write [{table}] on a line."


def test_everything_wrong_at_once():
    bad = GOOD.replace('"in"', '"inch"').replace("tilt = 1.5", "tilt = 90").replace('length = "18"', 'length = "5/7"')
    with pytest.raises(InputError) as error:
        parse_layout(bad, "machine.toml")
    assert [p.where for p in error.value.problems] == [
        "[machine] units",
        "[tape] tilt",
        "[[section]] 'operator-1' length",
        "[[section]] 'operator-2' length",
    ]


def test_a_bad_section_is_not_blamed_on_its_joint():
    with pytest.raises(InputError) as error:
        parse_layout(GOOD.replace('bolts = ["2", "16"]', 'bolts = ["2", "2"]'), "machine.toml")
    assert [p.where for p in error.value.problems] == ["[[section]] 'operator-1' bolts"]


def test_empty():
    with pytest.raises(InputError) as error:
        parse_layout("", "machine.toml")
    assert str(error.value) == (
        "machine.toml: this layout cannot be used\n"
        "  [machine] units: is missing, and is needed.\n"
        "  [machine] name: is missing, and is needed.\n"
        "  [[section]]: there is none, and a machine has at least one. Add a [[section]]."
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hello there", "row 1: Expected '=' after a key in a key/value pair."),
        ("a = " + "1" * 5000, "syntax: a number in it is too long."),
        ("a = " + "[" * 100_000, "syntax: nested too deeply."),
    ],
    ids=["words", "5000 digits", "deep"],
)
def test_no_toml(text, said):
    with pytest.raises(InputError) as error:
        parse_layout(text, "machine.toml")
    assert str(error.value) == f"machine.toml: not a TOML file\n  {said}"


def test_many_problems_are_cut():
    sections = "".join(f'[[section]]\nname = "{k}"\nrow = "r"\nstart = {20 * k}\n' for k in range(30))
    with pytest.raises(InputError) as error:
        parse_layout("[machine]\nname = 'x'\nunits = 'in'\n" + sections, "machine.toml")
    lines = str(error.value).splitlines()
    assert len(lines) == 22
    assert lines[-1] == "  and 10 more of the kind"


def test_strings_are_matched_where_rows_come_from_the_sections():
    """With [string] tables and no [row] tables, a section's row needs its string, and a string its row."""
    sections = "".join(
        f"[[section]]\nname = '{row}-1'\nrow = '{row}'\nstart = '0'\nlength = '18'\n" for row in ("operator", "drive")
    )
    head = "[machine]\nname = 'm'\nunits = 'in'\n"
    with pytest.raises(InputError, match=r"\[row.drive\] string: no \[string.drive\] in this file."):
        parse_layout(f"{head}[string.operator]\n{sections}", "machine.toml")
    with pytest.raises(InputError, match=r"\[string.other\]: no row hangs on this string."):
        parse_layout(f"{head}[string.operator]\n[string.drive]\n[string.other]\n{sections}", "machine.toml")
    assert list(parse_layout(f"{head}[string.operator]\n[string.drive]\n{sections}").strings) == ["operator", "drive"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[row.a]\nstring = 's'\n[row.b]\nstring = 's'\nplane = 'height'\n",
            "[row.b] string: 's' serves another plane. Name a string for heights and one for the side.",
        ),
        (
            "[[section]]\nname = '# 1'\nrow = 'a'\nstart = '0'\nlength = '18'\n",
            "[[section]] '# 1' name: '# 1' starts with '#', which marks a note in a survey. Begin it otherwise.",
        ),
        (
            "[[section]]\nname = \"a\\u200b1\"\nrow = 'a'\nstart = '0'\nlength = '18'\n",
            "name: 'a?1' holds a character that does not print. Leave it out.",
        ),
    ],
)
def test_names_and_strings_that_would_mislead(text, said):
    with pytest.raises(InputError) as error:
        parse_layout(f"[machine]\nname = 'm'\nunits = 'in'\n{text}", "machine.toml")
    assert said in str(error.value)


def test_default_tolerances_are_told_one_by_one():
    """A [tolerance] table that leaves some out: the record must not call those the owner's."""
    text = "[machine]\nname = 'm'\nunits = 'in'\n[tape]\nmark = '1/16'\n[tolerance]\nsquare = '1/16'\n"
    section = "[[section]]\nname = 'a'\nrow = 'r'\nstart = '0'\nlength = '18'\n"
    layout = parse_layout(text + section, "machine.toml")
    assert layout.assumed == ("tolerance.offset", "tolerance.step", "tolerance.opening")


@pytest.mark.parametrize("name", ["' op'", "'a  b'", '"a\\u001b"', "''"])
def test_what_is_no_name_of_a_table(name):
    with pytest.raises(InputError, match=r"is not a name\. Leave out blanks at its ends"):
        parse_layout(f"{GOOD}\n[row.{name}]\n", "machine.toml")
