"""The record of a readings file: lines ``# key: value`` and what they say of its units and its tape."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from typing import Any, Final

from alignment.errors import AtRow, LengthError, Problem, quote
from alignment.files.rows import Cell
from alignment.instruments import check_mark
from alignment.lengths import FINEST_U, TAPE_FINEST, Units, parse
from alignment.machine.layout import Layout

__all__ = ["Record"]

WORTH: Final = ("mark", "set", "tilt", "zero", "strong_shy", "units")
"""Lines of the record on which readings hang."""
_LENGTHS: Final = {"mark": "mark", "set": "placing", "zero": "zero"}
_YES_NO: Final = {"true": True, "yes": True, "false": False, "no": False}


class Record:
    """Lines of the record as they are found, and the units and tape that they make; problems are noted."""

    def __init__(self, layout: Layout, decimal_comma: bool) -> None:
        self.layout = layout
        self.decimal_comma = decimal_comma
        self.problems: list[Problem] = []
        self.record: dict[str, str] = {}
        self.record_rows: dict[str, int] = {}
        self.units = layout.units
        self.tape = layout.tape
        self._read: dict[tuple[Any, ...], float] = {}
        self._worth: dict[float, float] = {}

    def note(self, key: str, value: str, number: int) -> None:
        """Take a line of the record."""
        if key in WORTH and self.record.get(key, value) != value:
            self.wrong(AtRow(number, f"# {key}"), "stands twice, not alike. Leave one out.")
        self.record[key] = value
        self.record_rows.setdefault(key, number)

    def wrong(self, where: AtRow, what: str) -> None:
        """Keep in mind what is wrong at a row."""
        self.problems.append(Problem(where, what))

    def length(
        self, value: Cell, where: AtRow, *, marks: bool = False, signed: bool = False, finest: int = TAPE_FINEST
    ) -> float | None:
        """Length in millimetres, None after noting a problem; ``marks`` where it may be strong or shy of one."""
        if isinstance(value, datetime.date | datetime.time):
            self.wrong(where, f"{quote(value)} is a date: the spreadsheet took a fraction for one. Format it as text.")
            return None
        # a log of thousands of rows holds few different readings
        key = (type(value), value, marks, signed, finest, self.units, self.tape.mark)
        if key in self._read:
            return self._read[key]
        mark = parse(self.tape.mark, Units.mm) if marks else None
        try:
            comma = self.decimal_comma
            length = float(parse(value, self.units, mark=mark, signed=signed, decimal_comma=comma, finest=finest))
            self._read[key] = length
            return length
        except LengthError as error:
            self.wrong(where, str(error))
            return None

    def tape_u(self, value: float) -> float:
        """Standard uncertainty of a reading by the record's tape. [mm]"""
        if value not in self._worth:
            self._worth[value] = float(self.tape.reading_u(value))
        return self._worth[value]

    def take(self) -> None:
        """Units and tape: the layout's, with the record's lines in their place."""
        # bare lengths are in the record's units, so these come first
        for key in sorted(WORTH, key=lambda key: key != "units"):
            if key in self.record:
                value, where = self.record[key], AtRow(self.record_rows[key], f"# {key}")
                if key in _LENGTHS:
                    self._tape_length(key, value, where)
                else:
                    {"units": self._units, "tilt": self._tilt, "strong_shy": self._strong_shy}[key](value, where)

    def _units(self, value: str, where: AtRow) -> None:
        try:
            self.units = Units(value.lower())
        except ValueError:
            self.wrong(where, f"{quote(value)} is not a unit. Write in or mm.")

    def _tape_length(self, key: str, value: str, where: AtRow) -> None:
        length = self.length(value, where, finest=FINEST_U)
        if length is None:
            return
        try:
            changed: dict[str, Any] = {_LENGTHS[key]: check_mark(length, value) if key == "mark" else length}
        except LengthError as error:
            self.wrong(where, str(error))
        else:
            self.tape = replace(self.tape, **changed)

    def _strong_shy(self, value: str, where: AtRow) -> None:
        told = _YES_NO.get(value.lower())
        if told is None:
            self.wrong(where, f"{quote(value)} is neither true nor false.")
        else:
            self.tape = replace(self.tape, strong_shy=told)

    def _tilt(self, value: str, where: AtRow) -> None:
        told = re.fullmatch(r"(\d{1,2}(?:\.\d*)?|\.\d+)\s*(?:deg|degrees)?", value, re.ASCII)
        if told and float(told[1]) <= 30:
            self.tape = replace(self.tape, tilt=float(told[1]))
        else:
            self.wrong(where, f"{quote(value)} is not from 0 to 30 degrees.")
