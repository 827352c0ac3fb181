"""
Reading the rows of a readings file, long or wide, into a survey or a job log.

Everything wrong in the rows is told at once, in the order of the file.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

from alignment.errors import AtRow, InputError, LengthError, Problem, nearest, quote
from alignment.files.rows import Cell, Row, is_note, split_rows, swallowed, tidy
from alignment.lengths import FINEST_U, SMALLEST, Units, parse, show
from alignment.machine.layout import Layout, Section
from alignment.machine.survey import JOINT, BoltMove, Kind, Photo, Reading, StepReading, Survey
from alignment.machine.survey_record import Record

__all__ = ["LONG", "parse_rows", "parse_survey"]

POINTS: Final = ("entry", "mid", "exit")
ENDS: Final = ("entry", "exit")
CLOSE: Final = ("close", "closing")
UNIT_SLIP: Final = 0.2
"""Share of its target within which a reading taken in the other unit would lie: none that is right is so far off."""
LONG: Final = ("section", "point", "reading", "kind", "when", "repeat", "note", "u", "id", "photo", "sha256")
WIDE: Final = ("section", *POINTS, JOINT, "kind", "when", "repeat", "note", "u")
_RATIO: Final = {Units.inch: float(Units.mm.size / Units.inch.size), Units.mm: float(Units.inch.size / Units.mm.size)}
"""What one of the units is in the other."""
WHEN: Final = re.compile(r"(?:(\d{4}-\d\d-\d\d)(?:[ T](?=\d)|$))?(?:(\d{1,2}):(\d\d)(?::(\d\d))?)?", re.ASCII)


def parse_survey(text: str, layout: Layout, source: str = "survey", *, begun: bool = False) -> Survey:
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
    begun : bool
        Whether it may hold no reading yet, as a log does that was only begun.

    Raises
    ------
    InputError
        With everything that is wrong in the file.
    """
    delimiter, rows = split_rows(text, source)
    return parse_rows(rows, layout, source, decimal_comma=delimiter == ";", begun=begun)


def parse_rows(
    rows: Iterable[Row], layout: Layout, source: str, *, decimal_comma: bool = False, begun: bool = False
) -> Survey:
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
    begun : bool
        Whether it may hold no reading yet.

    Raises
    ------
    InputError
        With everything that is wrong in the file.
    """
    table = _Table(layout, source, decimal_comma)
    body: list[Row] = []
    for number, row in rows:
        cells = [tidy(cell) for cell in row]
        table.problems += swallowed(number, row, layout.index)
        if cells and is_note(cells[0]):
            key, colon, value = ", ".join(str(c) for c in cells if c != "").strip('"').lstrip("# ").partition(":")
            if colon and value.strip():
                table.note(key.strip().lower(), value.strip(), number)
        elif any(cell != "" for cell in cells):
            body.append((number, cells))
    if not body and not begun:
        raise InputError(source, "no readings", [Problem(AtRow(1), f"the file is empty. Expected {_EXPECTED}.")])
    table.take()
    readings = table.read(body) if body else []
    if table.problems:
        count = len(table.problems)
        told = f"{count} reading{'s' * (count > 1)} cannot be used"
        heading = told if table.columns and not table.head_wrong else "this survey cannot be used"
        raise InputError(source, heading, sorted(table.problems, key=_row_of))
    if not readings and not begun:
        none = "steps alone do not tell where a section stands" if table.steps else "all readings are blank"
        raise InputError(source, "no readings", [Problem("rows", f"{none}. Expected {_EXPECTED}.")])
    return Survey(
        source=source,
        readings=tuple(readings),
        tape=table.tape,
        steps=tuple(table.steps),
        moves=tuple(table.moves),
        photos=tuple(table.photos),
        record=table.record,
    )


def _row_of(problem: Problem) -> int:
    """Row of the file at which a problem stands."""
    return problem.where.row if isinstance(problem.where, AtRow) else 0


_EXPECTED: Final = "columns section,point,reading, or section,entry,exit"


class _Table(Record):
    """The rows of one readings file being read: what they need to know, and the problems found."""

    def __init__(self, layout: Layout, source: str, decimal_comma: bool) -> None:
        super().__init__(layout, decimal_comma)
        self.source = source
        self.columns: dict[str, int] = {}
        self.width = 0
        self.head_wrong = False
        self.steps: list[StepReading] = []
        self.moves: list[BoltMove] = []
        self.photos: list[Photo] = []
        self.slips: list[Problem] = []

    def read(self, body: Sequence[Row]) -> list[Reading]:
        """Readings of the rows; the first of them is the header."""
        number, header = body[0]
        names = [str(cell).strip().lower() for cell in header]
        long = "reading" in names or "point" in names
        known = LONG if long else WIDE
        self.width = len(names)
        columns: dict[str, int] = {}
        places: dict[str, float] = {}
        for at, name in enumerate(names):
            where = AtRow(number, f"column {at + 1}")
            if name == "":
                if any(len(cells) > at and cells[at] != "" for _, cells in body[1:]):
                    self.wrong(where, "has no header, and cells below it.")
            elif name in columns:
                self.wrong(where, f"the header {quote(name)} stands twice.")
            else:
                columns[name] = at
                if name not in known and (long or (place := self._header_place(name)) is None):
                    self.wrong(where, f"{quote(name)} is not a known header.{nearest(name, known)}")
                elif name not in known and place is not None:
                    places[name] = place
        needed = ("section", "point", "reading") if long else ("section",)
        for name in needed:
            if name not in columns:
                self.wrong(AtRow(number), f"no column '{name}'. Expected {_EXPECTED}.")
        points = [name for name in columns if name in (*POINTS, JOINT) or name in places]
        if not long and not points:
            self.wrong(AtRow(number), f"no column of readings. Expected {_EXPECTED}.")
        if any(name not in columns for name in needed) or not (long or points):
            return []
        self.head_wrong = bool(self.problems)
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

        columns, filled = self.columns, len(cells)

        def cell(name: str) -> Cell:
            at = columns.get(name, filled)
            return cells[at] if at < filled else ""

        for at in range(self.width, len(cells)):
            if cells[at] != "":
                self.wrong(AtRow(number, f"column {at + 1}"), f"{quote(cells[at])} stands beyond the last header.")
        section = self._section(str(cell("section")), number)
        kind, when = self._kind(cell("kind"), cell("repeat"), number), self._when(cell("when"), number)
        note = str(cell("note"))
        if kind is Kind.photo:
            self._photo(section, str(cell("point")), str(cell("photo")), str(cell("sha256")), number, when)
            return []
        u = None if cell("u") == "" else self.length(cell("u"), AtRow(number, "u"), finest=FINEST_U)
        if u is not None and u < SMALLEST:
            self.wrong(AtRow(number, "u"), f"{quote(cell('u'))} must be greater than zero.")
        pairs = [(cell("point"), "reading")] if points is None else [(point, point) for point in points]
        found = []
        for point, column in pairs:
            text = cell(column)
            if text == "" and not (kind is Kind.move and points is None):
                continue
            place_column = "point" if points is None else column
            if str(point).lower() == JOINT and kind is not Kind.move:
                if kind is Kind.close:
                    where = AtRow(number, "kind" if cell("kind") != "" else "repeat")
                    self.wrong(where, "a step has no closing reading. Leave 'close' out: more steps are repeats.")
                self._step(text, section, number, column, u)
                continue
            place = self._place(point, section, number, place_column, bolt=kind is Kind.move)
            value = None if text == "" else self.length(text, AtRow(number, column), marks=True)
            if section is None or place is None or (value is None and text != ""):
                continue
            if value is not None:
                self._unit_slip(value, text, section, AtRow(number, column))
            own = u or self.tape_u(value or 0.0)
            own_cells: dict[str, Any] = {
                "section": section.name,
                "place": place,
                "u": own,
                "text": str(text),
                "row": number,
            }
            if kind is Kind.move:
                end = ENDS.index(str(point).lower())
                pivot = section.bolts[1 - end]
                self.moves.append(BoltMove(**own_cells, end=end, pivot=pivot, stop=value, when=when, note=note))
            elif value is not None:
                found.append(Reading(**own_cells, value=value, closing=kind is Kind.close, when=when, note=note))
        return found

    def _kind(self, told: Cell, repeat: Cell, number: int) -> Kind:
        """What a row records; files made before there was a column for it call a closing reading a repeat."""
        closing = str(repeat).lower() in CLOSE
        if repeat != "" and not closing and not re.fullmatch(r"\d{1,6}", str(repeat), re.ASCII):
            self.wrong(AtRow(number, "repeat"), f"{quote(repeat)} is neither a count nor 'close'.")
        if told == "":
            return Kind.close if closing else Kind.read
        try:
            kind = Kind(str(told).lower())
        except ValueError:
            guess = nearest(str(told), list(Kind))
            self.wrong(AtRow(number, "kind"), f"{quote(told)} is no kind of row.{guess} Blank: a reading.")
            return Kind.read
        if closing and kind is not Kind.close:
            self.wrong(AtRow(number, "kind"), f"{quote(told)}, and 'close' under repeat. Leave one of them out.")
        return kind

    def _photo(self, section: Section | None, point: str, name: str, sha256: str, number: int, when: str) -> None:
        """Take a photograph's name, which is of a file in the log's own folder."""
        if not name or "/" in name or "\\" in name or name.startswith("."):
            self.wrong(AtRow(number, "photo"), f"{quote(name)} is no name of a picture beside this file.")
        elif not re.fullmatch("[0-9a-f]{64}", sha256):
            self.wrong(AtRow(number, "sha256"), f"{quote(sha256)} is no SHA-256: 64 digits from 0 to f.")
        elif section is not None:
            self.photos.append(
                Photo(section=section.name, point=point, name=name, sha256=sha256, row=number, when=when)
            )

    def _when(self, told: Cell, number: int) -> str:
        """Date and time of a row as text, either of them alone too."""
        if told == "":
            return ""
        text = told.isoformat(" ", "minutes") if isinstance(told, datetime.datetime) else str(told)
        match = WHEN.fullmatch(text)
        try:
            if match is None:
                raise ValueError
            if match[1]:
                datetime.date.fromisoformat(match[1])
            if match[2]:
                datetime.time(int(match[2]), int(match[3]), int(match[4] or 0))
        except ValueError:
            self.wrong(AtRow(number, "when"), f"{quote(told)} is no date and time. Write for example 2026-10-02 07:41.")
        return text

    def _unit_slip(self, value: float, text: Cell, section: Section, where: AtRow) -> None:
        """Keep in mind a reading that is 25.4 times its target, or as many times less."""
        target = (self.layout.rows[section.row].target or 0.0) + section.setback
        other = Units.mm if self.units is Units.inch else Units.inch
        ratio = _RATIO[self.units]
        if target > 0 and abs(value * ratio / target - 1) < UNIT_SLIP:
            what = (
                f"{quote(text)} would be {show(value, self.units)} {self.units}, where {show(target, self.units)} is "
                f"wanted. Write {other} behind it, or '# units: {other}' above the readings, if that is what it is."
            )
            self.slips.append(Problem(where, what))

    def _step(self, text: Cell, section: Section | None, number: int, column: str, u: float | None) -> None:
        """Take a step measured at the joint of a section with the next one downstream."""
        where = AtRow(number, column)
        value = self.length(text, where, signed=True)
        if section is None or value is None:
            return
        after = self.layout.index[section.name] + 1
        beside = self.layout.sections[after : after + 1]
        if not beside or beside[0].row != section.row:
            self.wrong(where, f"{section.name} is the last section of its row, so it has no joint downstream.")
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
            self.wrong(AtRow(number, "section"), "is blank. Write the section's name on each row.")
        else:
            # names like it are looked for as long as they are shown: that takes its time in a large layout
            guess = nearest(name, self.layout.index) if len(self.problems) < InputError.SHOWN else ""
            self.wrong(AtRow(number, "section"), f"{quote(name)} is not in {self.layout.source}.{guess}")
        return None

    def _place(
        self, point: Cell, section: Section | None, number: int, column: str, *, bolt: bool = False
    ) -> float | None:
        where = AtRow(number, column)
        if bolt and str(point).lower() not in ENDS:
            self.wrong(where, f"{quote(point)} is no bolt end. Write entry or exit: the end that was loosened.")
            return None
        if point == "":
            self.wrong(where, "is blank. Write entry, mid, exit or a length from the section's entry end.")
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
            self.wrong(where, f"{quote(point)} is no point.{nearest(str(point), (*POINTS, JOINT))} {mend}")
            return None
        if place > section.length + 1e-6:
            self.wrong(where, f"{quote(point)} is off {section.name}, which ends before it. Check the point.")
            return None
        return place
