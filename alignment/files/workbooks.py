"""The cells of a workbook: bytes in, rows out."""

from __future__ import annotations

import io
import warnings
from itertools import zip_longest
from typing import Final

from alignment.errors import AtRow, FileError, InputError, Problem
from alignment.files.rows import Row

__all__ = ["LARGEST_FILE", "first_sheet"]

LARGEST_FILE: Final = 50_000_000
"""Bytes, unpacked; a survey is a few thousand."""


def first_sheet(data: bytes, source: str) -> list[Row]:
    """
    Cells of the first sheet of an .xlsx workbook, row by row.

    Raises
    ------
    FileError
        No workbook, or one too large to be a survey.
    InputError
        A formula whose value was not kept.
    """
    import zipfile

    from openpyxl import load_workbook

    def cells(*, values: bool) -> list[Row]:
        sheet = load_workbook(io.BytesIO(data), read_only=True, data_only=values).worksheets[0]
        # the size that is written in it may be that of a whole empty sheet
        sheet.reset_dimensions()
        # a formula whose value is an empty text keeps the type of it
        rows = ([("" if c.data_type == "str" else c.value) for c in row] for row in sheet.iter_rows())
        return [(number, row) for number, row in enumerate(rows, 1) if any(cell is not None for cell in row)]

    try:
        unpacked = sum(part.file_size for part in zipfile.ZipFile(io.BytesIO(data)).infolist())
        if unpacked > LARGEST_FILE:
            raise FileError(f"{source}: larger than {LARGEST_FILE // 1_000_000} MB unpacked, which no survey is.")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found, written = cells(values=True), cells(values=False)
    except FileError:
        raise
    except Exception as error:  # a damaged workbook fails in the reader in many ways
        raise FileError(f"{source}: not a workbook that can be read ({type(error).__name__}). Save as CSV.") from None
    known = dict(found)
    what = "is a formula without its value. Open the workbook in a spreadsheet and save it, or write the number."
    problems = [
        Problem(AtRow(number, f"column {at}"), what)
        for number, row in written
        for at, (cell, value) in enumerate(zip_longest(row, known.get(number, ())), 1)
        if cell is not None and value is None
    ]
    if problems:
        raise InputError(source, "this survey cannot be used", problems)
    return found
