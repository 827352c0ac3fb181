"""
What may come of any input whatever: something sane, or one error that is told at a glance.

Each check runs a reader and raises AssertionError where it accepted nonsense, lost a reading, took too long or failed
in a way that is none of the library's errors. fuzz_readers.py and test_fuzz.py make up the inputs.
"""

from __future__ import annotations

import csv
import json
import math
import re
import time
import tomllib
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

from alignment.errors import StringtrueError
from alignment.lengths import FINEST_U, INCH, LARGEST, TAPE_FINEST, Units, parse, show_exact
from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey import Survey
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel
from alignment.settings import judging
from alignment.settings.settings_file import parse_settings
from alignment.show import terminal
from alignment.show.json import panel as panel_json
from alignment.show.json import settings as settings_json
from alignment.show.page import Degree
from alignment.show.words import panel as panel_wording
from alignment.show.words import settings as settings_wording
from alignment.show.words.entering import enter

Result = TypeVar("Result")
LONGEST_WAIT = 2.0
"""Seconds of the processor that one input may take, with what a reader imports on first use."""
MOST_LINES, LONGEST_LINE = 22, 440
MISTAKES = ("#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!")
MISSING = re.compile(r"\b(?:nan|inf|None)\b")
FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}

LAYOUT = """\
[machine]
name = "Small line"
units = "in"
[tape]
mark = "1/16"
[row.op]
target = "18 3/8"
[row.drive]
[[section]]
name = "op-1"
row = "op"
start = "0"
length = "18"
[[section]]
name = "op-2"
row = "op"
start = "20"
length = "18"
points = ["1", "6.3333333333", "17"]
[[section]]
name = "drive-1"
row = "drive"
start = "0"
length = "22"
"""


def small_layout(units: str = "in") -> Layout:
    """Two rows, three sections, one of them with a point that has no name."""
    text = LAYOUT
    if units == "mm":
        text = re.sub(r'"([\d./ ]+)"', r'"\1 in"', LAYOUT).replace('units = "in"', 'units = "mm"')
    return parse_layout(text, "machine.toml")


def ran(call: Callable[[], Result]) -> Result | None:
    """What a reader gives; None where it refuses, in time and in words that can be read at a glance."""
    began = time.process_time()
    try:
        found = call()
    except StringtrueError as error:
        found, message = None, str(error)
        lines = message.split("\n")
        assert len(lines) <= MOST_LINES, message
        assert all(len(line) <= LONGEST_LINE and line.isprintable() and line.strip() for line in lines), message
    took = time.process_time() - began
    assert took < LONGEST_WAIT, f"took {took:.1f} s"
    return found


# lengths


def check_length(
    text: str, units: Units, *, signed: bool = False, comma: bool = False, mark: bool = False, finest: int = TAPE_FINEST
) -> Fraction | None:
    """A length, as the text says by a second reading of it; or refused."""
    told_mark = INCH / 16 if mark else None
    length = ran(lambda: parse(text, units, signed=signed, decimal_comma=comma, mark=told_mark, finest=finest))
    if length is None:
        return None
    assert isinstance(length, Fraction)
    assert (-LARGEST if signed else 0) <= length <= LARGEST, text
    assert length == second_reading(text, units, told_mark), (text, float(length))
    assert _comes_back(float(length), units), text
    return length


def _comes_back(length: float, units: Units) -> bool:
    shown = show_exact(length, units)
    return abs(float(parse(shown, units, signed=True)) - length) < 1e-7


def second_reading(text: str, units: Units, mark: Fraction | None) -> Fraction:
    """The length a text says, read token by token [mm]; AssertionError where its tokens make no sense."""
    for sign, fraction in FRACTIONS.items():
        text = text.replace(sign, f" {fraction} ")
    text = re.sub("[\u2018\u2019\u2032\u02b9]", "'", re.sub("[\u201c\u201d\u2033\u02ba]", '"', text))
    text = re.sub("[\u2212\u2013\u2010\u2011]", "-", re.sub("[\u2044\u2215]", "/", text))
    text = re.sub("''|inches|inch|in[.]|in", '"', " ".join(text.lower().split()))
    text = re.sub("feet|foot|ft[.]|ft", "'", text)
    tokens = re.findall(r"\d+[.,]?\d*|[.,]\d+|mm|cm|m|\S", text, re.ASCII)
    negative = tokens[0] == "-"
    tokens = tokens[tokens[0] in "+-" :]
    quarters, unit = 0, ""
    # strong or shy, before the unit or behind it
    for _ in range(2):
        if tokens[-1] in "+-" and mark is not None and not quarters:
            quarters = 1 if tokens.pop() == "+" else -1
        elif tokens[-1] in ("mm", "cm", "m", '"') and not unit:
            unit = tokens.pop()
    feet: Fraction | None = None
    if len(tokens) > 1 and tokens[1] == "'":
        feet, tokens, unit = _number(tokens[0]), tokens[2:], '"'
        tokens = tokens[tokens[:1] == ["-"] :]
    body = Fraction(0)
    if "/" in tokens:
        whole, over, under = tokens[:-3], tokens[-3], tokens[-1]
        assert tokens[-2] == "/", text
        whole = [part for part in whole if part != "-"]
        assert len(whole) <= 1, text
        assert (over + under + "".join(whole)).isdecimal(), text
        body = int((whole or ["0"])[0]) + Fraction(int(over), int(under))
        assert int(over) < int(under) <= FINEST_U, text
        unit = unit or ('"' if units is Units.inch else "none")
    elif tokens:
        assert len(tokens) == 1, text
        body = _number(tokens[0])
    else:
        assert feet is not None, text
    size = {"mm": 1, "cm": 10, "m": 1000, '"': INCH, "": units.size}[unit]
    length = (feet or 0) * 12 * INCH + body * size + quarters * Fraction(mark or 0) / 4
    return -length if negative else length


def _number(token: str) -> Fraction:
    assert token.isascii(), token
    return Fraction(token.replace(",", "."))


# surveys


def check_survey(text: str, layout: Layout) -> Survey | None:
    """Every reading in its place and none lost; or refused. What is accepted can be gone on with at the prompt."""
    survey = ran(lambda: parse_survey(text, layout, "s.csv"))
    if survey is None:
        return None
    sane_survey(survey, layout)
    table = _table(text)
    if table is not None:
        delimiter, cells = table
        assert len(cells) == len(survey.readings) + len(survey.steps), f"{len(cells)} cells"
        units = Units(survey.record.get("units", layout.units).lower())
        mark = Fraction(repr(survey.tape.mark))
        for thing in (*survey.readings, *survey.steps):
            assert thing.text in cells, thing
            signed = thing in survey.steps
            again = parse(thing.text, units, mark=mark, signed=signed, decimal_comma=delimiter == ";")
            assert float(again) == thing.value, thing
    _check_taken_up(text, survey, layout)
    return survey


def sane_survey(survey: Survey, layout: Layout) -> None:
    """Readings on sections that there are, finite, and with an uncertainty."""
    assert survey.readings
    for reading in survey.readings:
        section = layout.sections[layout.index[reading.section]]
        assert -1e-6 <= reading.place <= section.length + 1e-6, reading
        assert 0 <= reading.value <= LARGEST, reading
        assert 0 < reading.u < math.inf, reading
        assert (reading.text + reading.note).isprintable(), reading
    for step in survey.steps:
        assert abs(step.value) <= LARGEST, step
        assert 0 < step.u < math.inf, step
    tape = survey.tape
    assert all(0 <= value <= LARGEST for value in (tape.mark, tape.set_u, tape.zero)), tape
    assert tape.mark > 0
    assert 0 <= tape.tilt <= 30


def _table(text: str) -> tuple[str, list[str]] | None:
    """Delimiter and all cells that hold a reading or a step, told without the reader; None where quotes muddle it."""
    lines = [line for line in re.split("\r\n|\r|\n", text) if line.strip(" \t,;")]
    head = next((line for line in lines if not _note(line)), "")
    delimiter = next((d for d in "\t;" if d in head), ",")
    plain = [line for line in lines if not _note(line.split(delimiter)[0])]
    if not plain:
        return None
    rows = [[" ".join(cell.split()) for cell in row] for row in csv.reader(plain, delimiter=delimiter)]
    # a cell of several lines, or a note that hides behind blanks: not told apart here
    if '"' in text and len(rows) != len(plain):
        return None
    rows = [row for row in rows if any(row) and not _note(row[0])]
    # a column without a header is no other: what stands in it must not be passed over
    other = {at for at, name in enumerate(rows[0]) if name.lower() in ("section", "point", "repeat", "note", "u")}
    return delimiter, [cell for row in rows[1:] for at, cell in enumerate(row) if cell and at not in other]


def _note(cell: str) -> bool:
    return cell.lstrip(' "').startswith("#") and cell.strip().upper() not in MISTAKES


def _check_taken_up(text: str, survey: Survey, layout: Layout) -> None:
    """A survey that was read can be gone on with, and nothing of it is lost by that."""
    entry = ran(lambda: enter(layout, text, "s.csv"))
    if entry is None:
        return
    for after in (entry, entry.answer("18 3/8 in").answer("k")):
        again = parse_survey(after.text, layout, "s.csv")
        key = [(r.section, r.place, r.value, r.closing) for r in survey.readings]
        assert [(r.section, r.place, r.value, r.closing) for r in again.readings][: len(key)] == key, after.text
        assert [(s.upstream, s.value) for s in again.steps] == [(s.upstream, s.value) for s in survey.steps]
        assert after.entry.done <= len(after.entry.asks)


def check_bytes(data: bytes, path: Path, layout: Layout) -> Survey | None:
    """A file of any bytes, read as a survey."""
    path.write_bytes(data)
    survey = ran(lambda: read_survey(path, layout))
    if survey is not None:
        sane_survey(survey, layout)
    return survey


def check_answers(answers: list[str], layout: Layout) -> None:
    """Whatever is typed, the file reads back as what was taken."""
    entry = enter(layout, None, "s.csv", record={"taken": "today"})
    for answer in answers:
        before = entry
        entry = entry.answer(answer)
        assert len(entry.entry.taken) - len(before.entry.taken) in (0, 1)
        assert all(line.isprintable() and len(line) <= LONGEST_LINE for line in entry.says), entry.says
        assert entry.prompt.isprintable()
        if entry.text != before.text:
            survey = parse_survey(entry.text, layout)
            assert [r.value for r in survey.readings] == [t.reading.value for t in entry.entry.taken]
            again = enter(layout, entry.text, "s.csv")
            assert (again.text, again.entry.done) == (entry.text, entry.entry.done)
        if entry.over:
            break


# TOML files


def check_layout(text: str) -> Layout | None:
    """A machine that could stand somewhere, with all that its file says; or refused."""
    layout = ran(lambda: parse_layout(text, "machine.toml"))
    if layout is None:
        return None
    table = tomllib.loads(text)
    assert set(table) <= {"machine", "tape", "tolerance", "moves", "string", "row", "section", "joint"}
    assert len(table["section"]) == len(layout.sections) == len(layout.index)
    assert len(table.get("joint", [])) == len(layout.joints)
    said = {" ".join(own["name"].split()): own for own in table["section"]}
    for section in layout.sections:
        own = said[section.name]
        assert set(own) <= {"name", "row", "start", "length", "points", "bolts", "setback", "hold"}, own
        for key, value in (("start", section.start), ("length", section.length)):
            assert float(parse(own[key], layout.units, signed=True)) == value
        assert 0 < section.length <= LARGEST
        assert abs(section.start) <= LARGEST
        assert section.name.isprintable()
        assert layout.rows[section.row].string in layout.strings
        places = (*section.points, *section.bolts)
        assert all(-1e-6 <= place <= section.length + 1e-6 for place in places)
        assert len(section.points) == len(own.get("points", "12"))
        assert section.bolts[0] < section.bolts[1]
    for one in layout.sections:
        for other in layout.sections:
            apart = one.end <= other.start + 1e-5 or other.end <= one.start + 1e-5
            assert one is other or one.row != other.row or apart, (one, other)
    for joint in layout.joints:
        up, down = (layout.sections[layout.index[name]] for name in (joint.upstream, joint.downstream))
        assert up.row == down.row
        assert up.start < down.start
        assert joint.step is None or abs(joint.step) <= LARGEST
    tape, limits, moves = layout.tape, layout.tolerance, layout.moves
    more = (tape.mark, tape.feeler, limits.square, limits.offset, limits.step, limits.opening)
    assert all(0 < value <= LARGEST for value in more)
    assert 0 <= moves.bolt <= 1
    assert 0 <= moves.creep <= LARGEST
    assert moves.travel is None or moves.travel > 0
    assert all(0 <= value <= LARGEST for value in (tape.set_u, tape.zero, tape.tilt))
    for row in layout.rows.values():
        assert row.target is None or 0 <= row.target <= LARGEST
    return layout


def check_panel(text: str) -> bool:
    """A panel of which all that its file says is read, measured and told; or refused."""
    panel = ran(lambda: parse_panel(text, "panel.toml"))
    if panel is None:
        return False
    table = tomllib.loads(text)
    for kind, found in (("offsets", panel.offsets), ("wave", panel.waves), ("across", panel.across)):
        assert len(table.get(kind, [])) == len(found)
    assert set(panel.lengths) <= {"left", "right", "lead", "tail", "from_left", "from_right"}
    assert len(table.get("square", {})) == len(panel.lengths)
    assert ("twist" in table) == (panel.twist is not None)
    assert len(set(panel.edges)) == 2
    numbers = [panel.width, panel.length, *(v for values in panel.lengths.values() for v in values)]
    assert all(0 < value <= LARGEST for value in numbers)
    for offsets in panel.offsets:
        assert len(offsets.places) == len(offsets.readings) >= 3
        assert all(abs(value) <= LARGEST for value in (*offsets.places, *offsets.readings))
    found = ran(lambda: measure(panel))
    if found is not None:
        _tellable(panel_json.as_json(found), terminal.render(panel_wording.panel_page(found), Degree.full), text)
    return True


def check_settings(text: str) -> bool:
    """Settings of which all that their file says is read, judged and told; or refused."""
    found = ran(lambda: parse_settings(text, "settings.toml"))
    if found is None:
        return False
    table = tomllib.loads(text)
    assert len(table["setting"]) == len(found.settings)
    for setting in found.settings:
        assert setting.kind in ("guide", "gap", "die", "level", "shear")
        assert math.isnan(setting.tolerance) or 0 < setting.tolerance <= LARGEST
        if setting.found:
            assert all(abs(value) <= LARGEST for value in setting.found.readings)
            assert setting.kind == "level" or min(setting.found.readings) >= 0
    judged = judging.judge_settings(found)
    _tellable(settings_json.as_json(judged), terminal.render(settings_wording.settings_page(judged), Degree.full), text)
    return True


def _tellable(data: dict[str, Any], text: str, said: str) -> None:
    """JSON without a NaN, and text that prints, with no number missing but where the file itself has such a word."""
    json.dumps(data, allow_nan=False)
    assert all(line.isprintable() for line in text.split("\n")), text
    assert set(MISSING.findall(text)) <= set(MISSING.findall(said)), text
