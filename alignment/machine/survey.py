"""
One survey: the readings of one machine, with its date, hands and tape.

Takes the rows of a file, long or wide, and gives readings in millimetres with the text as it was written beside
them. Everything wrong in the rows is told at once.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from alignment.errors import InputError, LengthError, Problem, nearest, quote
from alignment.files.rows import Cell, Row, is_note, split_rows, swallowed, tidy
from alignment.instruments import Tape
from alignment.lengths import FINEST_U, SMALLEST, TAPE_FINEST, Units, parse, show
from alignment.machine.layout import Layout, Section
from alignment.uncertainty import reading_u

__all__ = ["JOINT", "LONG", "Reading", "StepReading", "Survey", "parse_rows", "parse_survey"]

POINTS: Final = ("entry", "mid", "exit")
JOINT: Final = "joint"
"""Stands for a point where a step is read at a section's joint with the next one downstream."""
CLOSE: Final = ("close", "closing")
UNIT_SLIP: Final = 0.2
"""Share of its target within which a reading taken in the other unit would lie: none that is right is so far off."""
WORTH: Final = ("mark", "set", "tilt", "zero", "units")
"""Lines of the record on which readings hang."""
LONG: Final = ("section", "point", "reading", "repeat", "note", "u")
WIDE: Final = ("section", *POINTS, JOINT, "repeat", "note", "u")


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One tape reading."""

    section: str
    place: float
    """Where on the section, from its entry end. [mm]"""
    value: float
    """Distance from face to string. [mm]"""
    u: float
    """Its own independent standard uncertainty. [mm]"""
    text: str
    """As it was written."""
    row: int
    """Row of the file."""
    closing: bool = False
    """Read again last, to see whether the line stood still; checked, not fitted."""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class StepReading:
    """A step at a joint, measured on the faces themselves with straightedge and feeler. [mm]"""

    upstream: str
    downstream: str
    value: float
    """How much farther from the string the downstream face is."""
    u: float
    text: str
    row: int


@dataclass(frozen=True, kw_only=True)
class Survey:
    """Readings of one machine in the order of the file."""

    source: str
    readings: tuple[Reading, ...]
    tape: Tape
    """The tape of this survey: the layout's, with what the record says in its place."""
    steps: tuple[StepReading, ...] = ()
    record: Mapping[str, str]
    """Lines ``# key: value`` of the file, keys in lower case."""

    @property
    def fitted(self) -> tuple[Reading, ...]:
        """Readings that enter the fit: all but the closing ones."""
        return tuple(reading for reading in self.readings if not reading.closing)


def parse_survey(text: str, layout: Layout, source: str = "survey") -> Survey:
    """
    Read a survey from text: comma, semicolon or tab between columns, long or wide.

    Parameters
    ----------
    text : str
        The file's text.
    layout : Layout
        Gives section names, units and the tape.
    source : str
        Name of the file, for messages.

    Raises
    ------
    InputError
        With everything that is wrong in the file.
    """
    delimiter, rows = split_rows(text, source)
    return parse_rows(rows, layout, source, decimal_comma=delimiter == ";")


def parse_rows(rows: Iterable[Row], layout: Layout, source: str, *, decimal_comma: bool = False) -> Survey:
    """
    Read a survey from the rows of a table.

    Parameters
    ----------
    rows : iterable of (int, sequence)
        Row number and cells: text, numbers or None.
    layout : Layout
        Gives section names, units and the tape.
    source : str
        Name of the file, for messages.
    decimal_comma : bool
        Whether the file writes decimals with a comma.

    Raises
    ------
    InputError
        With everything that is wrong in the file.
    """
    record: dict[str, str] = {}
    body: list[Row] = []
    problems: list[Problem] = []
    for number, row in rows:
        cells = [tidy(cell) for cell in row]
        problems += swallowed(number, row, layout.index)
        if cells and is_note(cells[0]):
            key, colon, value = ", ".join(str(c) for c in cells if c != "").strip('"').lstrip("# ").partition(":")
            key, value = key.strip().lower(), value.strip()
            if key in WORTH and record.get(key, value) != value:
                problems.append(Problem(f"row {number}, # {key}", "stands twice, not alike. Leave one out."))
            if colon and value:
                record[key] = value
        elif any(cell != "" for cell in cells):
            body.append((number, cells))
    if not body:
        raise InputError(source, "no readings", [Problem("row 1", f"the file is empty. Expected {_EXPECTED}.")])
    table = _Table(layout, source, record, decimal_comma, problems)
    readings = table.read(body)
    if table.problems:
        count = len(table.problems)
        heading = (
            f"{count} reading{'s' * (count > 1)} cannot be used" if table.columns else "this survey cannot be used"
        )
        raise InputError(source, heading, table.problems)
    if not readings:
        none = "steps alone do not tell where a section stands" if table.steps else "all readings are blank"
        raise InputError(source, "no readings", [Problem("rows", f"{none}. Expected {_EXPECTED}.")])
    return Survey(source=source, readings=tuple(readings), tape=table.tape, steps=tuple(table.steps), record=record)


_EXPECTED: Final = "columns section,point,reading, or section,entry,exit"


class _Table:
    """The rows of one survey file being read: what they need to know, and the problems found."""

    def __init__(
        self,
        layout: Layout,
        source: str,
        record: Mapping[str, str],
        decimal_comma: bool,
        problems: Iterable[Problem] = (),
    ) -> None:
        self.layout = layout
        self.source = source
        self.decimal_comma = decimal_comma
        self.problems: list[Problem] = list(problems)
        self.columns: dict[str, int] = {}
        self.steps: list[StepReading] = []
        self.slips: list[Problem] = []
        self.units = layout.units
        if "units" in record:
            try:
                self.units = Units(record["units"].lower())
            except ValueError:
                self._wrong("# units", f"{quote(record['units'])} is not a unit. Write in or mm.")
        self.tape = self._tape(record)

    def _wrong(self, where: str, what: str) -> None:
        self.problems.append(Problem(where, what))

    def _length(
        self, value: Cell, where: str, *, marks: bool = False, signed: bool = False, finest: int = TAPE_FINEST
    ) -> float | None:
        """Length in millimetres, None after noting a problem; ``marks`` where it may be strong or shy of one."""
        if isinstance(value, datetime.date | datetime.time):
            self._wrong(where, f"{quote(value)} is a date: the spreadsheet took a fraction for one. Format it as text.")
            return None
        mark = parse(self.tape.mark, Units.mm) if marks else None
        try:
            comma = self.decimal_comma
            return float(parse(value, self.units, mark=mark, signed=signed, decimal_comma=comma, finest=finest))
        except LengthError as error:
            self._wrong(where, str(error))
            return None

    def _tape(self, record: Mapping[str, str]) -> Tape:
        """The layout's tape with the record's lines in its place."""
        tape = self.layout.tape
        for key, name in (("mark", "mark"), ("set", "placing"), ("zero", "zero")):
            if key in record:
                length = self._length(record[key], f"# {key}", finest=FINEST_U)
                if length is not None and not (key == "mark" and length < SMALLEST):
                    tape = replace(tape, **{name: length})
                elif length is not None:
                    self._wrong(f"# {key}", "a mark is more than nothing.")
        if "tilt" in record:
            told = re.fullmatch(r"(\d{1,2}(?:\.\d*)?|\.\d+)\s*(?:deg|degrees)?", record["tilt"], re.ASCII)
            if told and float(told[1]) <= 30:
                tape = replace(tape, tilt=float(told[1]))
            else:
                self._wrong("# tilt", f"{quote(record['tilt'])} is not from 0 to 30 degrees.")
        return tape

    def read(self, body: Sequence[Row]) -> list[Reading]:
        """Readings of the rows; the first of them is the header."""
        number, header = body[0]
        names = [str(cell).strip().lower() for cell in header]
        long = "reading" in names or "point" in names
        known = LONG if long else WIDE
        columns: dict[str, int] = {}
        places: dict[str, float] = {}
        for at, name in enumerate(names):
            where = f"row {number}, column {at + 1}"
            if name == "":
                if any(len(cells) > at and cells[at] != "" for _, cells in body[1:]):
                    self._wrong(where, "has no header, and cells below it.")
            elif name in columns:
                self._wrong(where, f"the header {quote(name)} stands twice.")
            else:
                columns[name] = at
                if name not in known and (long or (place := self._header_place(name)) is None):
                    self._wrong(where, f"{quote(name)} is not a known header.{nearest(name, known)}")
                elif name not in known and place is not None:
                    places[name] = place
        needed = ("section", "point", "reading") if long else ("section",)
        for name in needed:
            if name not in columns:
                self._wrong(f"row {number}", f"no column '{name}'. Expected {_EXPECTED}.")
        points = [name for name in columns if name in (*POINTS, JOINT) or name in places]
        if not long and not points:
            self._wrong(f"row {number}", f"no column of readings. Expected {_EXPECTED}.")
        if self.problems:
            return []
        self.columns = columns
        readings: list[Reading] = []
        for row in body[1:]:
            readings += self._row(row, None if long else points)
        # one alone is for the flags, which see its neighbours; most of them are a survey in the other unit
        if 2 * len(self.slips) > len(readings):
            self.problems += self.slips
        return readings

    def _header_place(self, name: str) -> float | None:
        try:
            return float(parse(name, self.units, decimal_comma=self.decimal_comma))
        except LengthError:
            return None

    def _row(self, row: Row, points: list[str] | None) -> list[Reading]:
        number, cells = row

        def cell(name: str) -> Cell:
            at = self.columns.get(name, len(cells))
            return cells[at] if at < len(cells) else ""

        for at in range(len(self.columns), len(cells)):
            if cells[at] != "" and at not in self.columns.values():
                self._wrong(f"row {number}, column {at + 1}", f"{quote(cells[at])} stands beyond the last header.")
        name = str(cell("section"))
        section = self._section(name, number)
        closing = self._closing(cell("repeat"), number)
        u = None if cell("u") == "" else self._length(cell("u"), f"row {number}, u", finest=FINEST_U)
        if u is not None and u < SMALLEST:
            self._wrong(f"row {number}, u", f"{quote(cell('u'))} is not more than nothing.")
        pairs = [(cell("point"), "reading")] if points is None else [(point, point) for point in points]
        found = []
        for point, column in pairs:
            text = cell(column)
            if text == "":
                continue
            if str(point).lower() == JOINT:
                if closing:
                    where = f"row {number}, repeat"
                    self._wrong(where, "a step has no closing reading. Leave 'close' out: more steps are repeats.")
                self._step(text, section, number, column, u)
                continue
            place = self._place(point, section, number, "point" if points is None else column)
            value = self._length(text, f"row {number}, {column}", marks=True)
            if section is None or place is None or value is None:
                continue
            self._unit_slip(value, text, section, f"row {number}, {column}")
            tape = self.tape
            own = u if u else float(reading_u(value, mark=tape.mark, set_u=tape.set_u, tilt=tape.tilt))
            found.append(
                Reading(
                    section=section.name,
                    place=place,
                    value=value,
                    u=own,
                    text=str(text),
                    row=number,
                    closing=closing,
                    note=str(cell("note")),
                )
            )
        return found

    def _unit_slip(self, value: float, text: Cell, section: Section, where: str) -> None:
        """Keep in mind a reading that is 25.4 times its target, or as many times less."""
        target = (self.layout.rows[section.row].target or 0.0) + section.setback
        other = Units.mm if self.units is Units.inch else Units.inch
        ratio = float(other.size / self.units.size)
        if target > 0 and abs(value * ratio / target - 1) < UNIT_SLIP:
            what = (
                f"{quote(text)} would be {show(value, self.units)} {self.units}, where {show(target, self.units)} is "
                f"wanted. Write {other} behind it, or '# units: {other}' above the readings, if that is what it is."
            )
            self.slips.append(Problem(where, what))

    def _step(self, text: Cell, section: Section | None, number: int, column: str, u: float | None) -> None:
        """Take a step measured at the joint of a section with the next one downstream."""
        where = f"row {number}, {column}"
        value = self._length(text, where, signed=True)
        if section is None or value is None:
            return
        after = self.layout.index[section.name] + 1
        beside = self.layout.sections[after : after + 1]
        if not beside or beside[0].row != section.row:
            self._wrong(where, f"{section.name} is the last section of its row, so it has no joint downstream.")
            return
        own = u if u else self.layout.tape.feeler
        self.steps.append(
            StepReading(
                upstream=section.name, downstream=beside[0].name, value=value, u=own, text=str(text), row=number
            )
        )

    def _section(self, name: str, number: int) -> Section | None:
        index = self.layout.index.get(name)
        if index is not None:
            return self.layout.sections[index]
        if name == "":
            self._wrong(f"row {number}, section", "is blank. Write the section's name on each row.")
        else:
            # names like it are looked for as long as they are shown: that takes its time in a large layout
            guess = nearest(name, self.layout.index) if len(self.problems) < InputError.SHOWN else ""
            self._wrong(f"row {number}, section", f"{quote(name)} is not in {self.layout.source}.{guess}")
        return None

    def _closing(self, repeat: Cell, number: int) -> bool:
        if str(repeat).lower() in CLOSE:
            return True
        if repeat != "" and not re.fullmatch(r"\d{1,6}", str(repeat), re.ASCII):
            self._wrong(f"row {number}, repeat", f"{quote(repeat)} is neither a count nor 'close'.")
        return False

    def _place(self, point: Cell, section: Section | None, number: int, column: str) -> float | None:
        where = f"row {number}, {column}"
        if point == "":
            self._wrong(where, "is blank. Write entry, mid, exit or a length from the section's entry end.")
            return None
        if section is None:
            return None
        named = section.place(str(point).lower())
        if named is not None:
            return named
        try:
            place = float(parse(point, self.units, decimal_comma=self.decimal_comma))
        except LengthError:
            mend = "Write entry, mid, exit or a length from the section's entry end."
            self._wrong(where, f"{quote(point)} is no point.{nearest(str(point), (*POINTS, JOINT))} {mend}")
            return None
        if place > section.length + 1e-6:
            self._wrong(where, f"{quote(point)} is off {section.name}, which ends before it. Check the point.")
            return None
        return place
