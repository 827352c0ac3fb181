"""
The rows of a table as they come from a text file or a spreadsheet, before anything is made of them.

Columns stand between commas, semicolons or tabs. A row that starts with ``#`` is a note.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Container, Iterator, Sequence
from typing import Any, Final, NamedTuple

from alignment.errors import AtRow, InputError, Problem, printable, quote

__all__ = ["Cell", "Line", "Row", "is_note", "split_lines", "split_rows", "swallowed", "tidy"]

Cell = Any
Row = tuple[int, Sequence[Cell]]
MISTAKES: Final = ("#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!")
"""What spreadsheets leave in a cell that they cannot work out (from memory)."""


class Line(NamedTuple):
    """A row and the text that it was read from, of several lines where a quoted cell goes over them."""

    number: int
    cells: Sequence[Cell]
    text: str
    mended: str
    """Its text with quote marks that are no mistake written so that any reader takes them as they stand."""


def split_rows(text: str, source: str = "survey") -> tuple[str, Iterator[Row]]:
    """Character between the columns of a table, told by its header, and its rows with their numbers."""
    delimiter, lines = split_lines(text, source)
    return delimiter, ((line.number, line.cells) for line in lines)


def split_lines(text: str, source: str = "survey") -> tuple[str, Iterator[Line]]:
    """As `split_rows`, each row with its text: all of them, one after the other, are the whole text."""
    # lines as the table's reader splits them, which is not how str.splitlines does
    header = next((line for line in re.split(r"[\r\n]+", text) if line.strip() and not is_note(line)), "")
    delimiter = "\t" if "\t" in header else ";" if ";" in header else ","
    return delimiter, _lines(text, delimiter, source)


def is_note(cell: Cell) -> bool:
    """Whether a row that starts with this cell is a note or a line of the record, and no mistake of a spreadsheet."""
    return isinstance(cell, str) and cell.lstrip(' "').startswith("#") and cell.strip().upper() not in MISTAKES


def _lines(text: str, delimiter: str, source: str) -> Iterator[Line]:
    width = 0
    # of the row being read: its lines as they stand, and as they are read
    plain: list[str] = []
    read: list[str] = []

    def lines() -> Iterator[str]:
        for line in io.StringIO(text, newline=""):
            read.append(line if plain else _mended(line, delimiter, width))
            plain.append(line)
            yield read[-1]

    reader = csv.reader(lines(), delimiter=delimiter, strict=True)
    first = 1
    while True:
        plain.clear()
        read.clear()
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            what = f"{error}. Look for a quote mark that is not closed."
            raise InputError(source, "this is no table", [Problem(AtRow(first), what)]) from None
        yield Line(first, row, "".join(plain), "".join(read))
        width = width or (len(row) if any(row) and not is_note(row[0]) else 0)
        first = reader.line_num + 1


def _mended(line: str, delimiter: str, width: int) -> str:
    """
    A line in which quote marks are no mistake, as in a note ``("x","y")``, written so that they are read as they stand.

    That is a line of notes, and the last column of a row, `width` columns wide, where people write them.
    """
    try:
        next(csv.reader([line], delimiter=delimiter, strict=True))
    except csv.Error as error:
        body = line.rstrip("\r\n")
        cells = [body] if is_note(line) else body.split(delimiter, width - 1) if width > 1 else []
        last = cells[-1].strip() if cells and len(cells) in (1, width) else ""
        # a mark at the very start may begin a cell of several lines, and is left to the reader
        if last and not last.startswith('"') and "expected after" in str(error):
            quoted = last.replace('"', '""')
            return delimiter.join([*cells[:-1], f'"{quoted}"']) + line[len(body) :]
    return line


def tidy(cell: Cell) -> Cell:
    """Cell on one line that prints; text where empty; whole numbers that a spreadsheet keeps as floats made whole."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return printable(" ".join(cell.split()))
    if isinstance(cell, float) and cell.is_integer():
        return int(cell)
    return cell


def swallowed(number: int, row: Sequence[Cell], names: Container[str]) -> list[Problem]:
    """Rows taken into one cell by a quote mark that is open at its start, so that their readings would be lost."""
    for at, cell in enumerate(row, 1):
        if not isinstance(cell, str) or ("\n" not in cell and "\r" not in cell):
            continue
        for line in re.split(r"[\r\n]+", cell)[1:]:
            parts = [part.strip(' "') for part in re.split("[,;\t]", line)]
            if len(parts) > 1 and any(part in names for part in parts):
                what = f"a quote mark is open, and takes in the row {quote(line)}. Close it or leave it out."
                return [Problem(AtRow(number, f"column {at}"), what)]
    return []
