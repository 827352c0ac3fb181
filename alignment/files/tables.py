"""
Tables for spreadsheets, as the bytes of a .csv or .xlsx file.

A text that begins with ``= + - @`` (or a tab or a carriage return) is taken by spreadsheets for a formula to run. A
name in a layout or a note in a survey may begin so, and may come from anywhere: such a text is written so that it
stays a text. Numbers are written as numbers, whatever their sign.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from alignment.errors import printable
from alignment.lengths import Units
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["KINDS", "listed", "render", "safe_text"]

KINDS: Final = (".csv", ".xlsx")
STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
"""What a formula begins with (common practice: the list of the OWASP page on CSV injection, from memory)."""
BLANKS: Final = "\t\r\n"
DECIMALS: Final = {Units.inch: 3, Units.mm: 2}
"""Decimals of a length in a table: what any tape is worth and a digit more."""
SHARES: Final = ("p_in", "chance")
"""Columns that hold probabilities, whatever stands before a dot."""
SHEET_NAME: Final = 31
"""Longest name of a sheet that spreadsheets take (from memory)."""


def safe_text(value: Any) -> Any:
    """A text that a spreadsheet would run, with an apostrophe before it, and what does not print as a question mark."""
    if not isinstance(value, str):
        return value
    plain = printable(value, BLANKS)
    return f"'{plain}" if plain.startswith(STARTS) else plain


def listed(data: Mapping[str, Any], *names: str) -> dict[str, pd.DataFrame]:
    """
    Lists of a JSON object as tables, a row for each thing and a column for each of its numbers.

    A standard uncertainty ``u`` becomes ``U = 2 u``, which is what a person reads everywhere else.

    Parameters
    ----------
    data : mapping
        What a command prints with ``--json``.
    names : str
        Which of its lists, with dots for those within others. Empty ones are left out.
    """
    import pandas as pd

    found = {}
    for name in names:
        rows: Any = data
        for key in name.split("."):
            rows = rows[key]
        if rows:
            frame = pd.json_normalize(rows)
            lists = [c for c in frame.columns if frame[c].map(lambda cell: isinstance(cell, list)).any()]
            for column in lists:
                frame[column] = frame[column].map(lambda cell: " / ".join(map(str, cell)))
            standard = [c for c in frame.columns if c.rpartition(".")[2] == "u"]
            frame[standard] *= COVERAGE
            found[name.split(".")[0]] = frame.rename(columns={c: f"{c[:-1]}U" for c in standard})
    return found


def render(tables: Mapping[str, pd.DataFrame], suffix: str, units: Units) -> bytes:
    """
    Tables as the bytes of a file.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        By name, the main one first. An index without a name is not written.
    suffix : str
        ``.csv`` holds the main table alone, ``.xlsx`` a sheet for each.
    units : Units
        Of the lengths; written in a last column.

    Returns
    -------
    bytes
    """
    plain = {name: _plain(frame, units) for name, frame in tables.items()}
    if suffix.lower() == ".csv":
        main = next(iter(plain.values()))
        safe = main.rename(columns=safe_text).map(safe_text)
        # the mark at the start lets a spreadsheet see that this is UTF-8
        return safe.to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")
    return _workbook(plain, units)


def _plain(frame: pd.DataFrame, units: Units) -> pd.DataFrame:
    """A table with its index, where it has a name, and the units as ordinary columns."""
    named = all(name is not None for name in frame.index.names)
    plain = frame.reset_index(drop=not named)
    rounded = plain.round({c: _decimals(c, units) for c in plain.select_dtypes("float").columns})
    return rounded.assign(units=str(units))


def _decimals(column: str, units: Units) -> int:
    return 2 if column.rpartition(".")[2] in SHARES else DECIMALS[units]


def _workbook(tables: Mapping[str, pd.DataFrame], units: Units) -> bytes:
    import math

    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = Workbook()
    book.remove(book.active)
    for name, frame in tables.items():
        sheet = book.create_sheet(name[:SHEET_NAME])
        for r, row in enumerate([list(frame.columns), *frame.itertuples(index=False, name=None)], 1):
            for c, value in enumerate(row, 1):
                blank = value is None or (isinstance(value, float) and math.isnan(value))
                text = ILLEGAL_CHARACTERS_RE.sub("?", value) if isinstance(value, str) else value
                cell = sheet.cell(r, c, None if blank else text)
                if isinstance(text, str) and text.startswith(STARTS):
                    # kept as text without a change to it: its type, and the mark that keeps it so when edited
                    cell.data_type = "s"
                    cell.quotePrefix = True
                elif isinstance(value, float):
                    cell.number_format = f"0.{'0' * _decimals(str(frame.columns[c - 1]), units)}"
        sheet.freeze_panes = "A2"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
