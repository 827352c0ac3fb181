"""The text of a job log with rows more, or the last one less; what is there already stays as it is written."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Final

from alignment.errors import InputError, Problem
from alignment.files.rows import is_note, split_rows, tidy
from alignment.machine.layout import Layout
from alignment.machine.survey_text import LONG, parse_survey

__all__ = ["COLUMNS", "appended", "begun", "rows_of", "without_last"]

COLUMNS: Final = ("section", "point", "reading", "kind", "when", "note")
"""Columns of a new log."""


def begun(source: str, record: Mapping[str, str]) -> str:
    """Text of a log without a row: its record and its header. A name in ``.tsv`` takes tabs."""
    notes = [f"# {key}: {' '.join(value.split())}\n" for key, value in record.items() if value.strip()]
    return "".join(notes) + _line(COLUMNS, "\t" if source.lower().endswith(".tsv") else ",", "\n")


def appended(text: str, rows: Sequence[Mapping[str, str]], layout: Layout, source: str) -> str:
    """
    A log with rows more.

    Parameters
    ----------
    text : str
        What the file holds.
    rows : sequence of mapping
        Cells by the names of their columns; a column that the log lacks is added to its header.
    layout : Layout
    source : str
        Name of the file, for messages.

    Raises
    ------
    InputError
        The file is no log of long form, or a row could not be read back: nothing is accepted that cannot be.
    """
    delimiter, found = split_rows(text, source)
    header = next(((n, [str(tidy(c)) for c in cells]) for n, cells in found if _counts(cells)), None)
    if header is None:
        head, text = list(COLUMNS), text + _line(COLUMNS, delimiter, "\n")
    else:
        number, head = header
        names = [name.lower() for name in head]
        if "reading" not in names or not set(names) - {""} <= set(LONG):
            what = f"this one does not have a reading on each row ({','.join(COLUMNS[:4])}). Give the log a new file."
            raise InputError(source, "this is no job log", [Problem(f"row {number}", what)])
        missing = [name for row in rows for name in row if name not in names]
        if missing:
            wider = [*head, *dict.fromkeys(missing)]
            lines = text.splitlines(keepends=True)
            written = lines[number - 1]
            lines[number - 1] = _line(wider, delimiter, written[len(written.rstrip("\r\n")) :])
            head, text = wider, "".join(lines)
    end = "\r\n" if "\r\n" in text else "\n"
    if text and not text.endswith(("\n", "\r")):
        text += end
    names = [name.lower() for name in head]
    longer = text + "".join(_line([row.get(name, "") for name in names], delimiter, end) for row in rows)
    parse_survey(longer, layout, source)
    return longer


def rows_of(text: str, source: str) -> list[dict[str, str]]:
    """Cells of each row of a log by column, without notes and blank lines."""
    _, found = split_rows(text, source)
    rows = [[str(tidy(cell)) for cell in cells] for _, cells in found if _counts(cells)]
    names = [name.lower() for name in rows[0]] if rows else []
    return [dict(zip(names, row, strict=False)) for row in rows[1:]]


def without_last(text: str, source: str) -> str:
    """A log without its last row; as it is where it has none."""
    _, found = split_rows(text, source)
    numbers = [number for number, cells in found if _counts(cells)]
    return "".join(text.splitlines(keepends=True)[: numbers[-1] - 1]) if len(numbers) > 1 else text


def _counts(cells: Sequence[object]) -> bool:
    """Whether a row is neither a note nor blank."""
    return any(tidy(cell) != "" for cell in cells) and not is_note(cells[0])


def _line(cells: Sequence[str], delimiter: str, end: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator=end).writerow(cells)
    return out.getvalue()
