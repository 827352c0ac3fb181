"""The text of a job log: rows added at its end, or taken off again; all that stands in it stays as it is."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from alignment.errors import AtRow, InputError, Problem
from alignment.files.rows import Line, is_note, split_lines, split_rows, tidy
from alignment.machine.survey_text import LONG

__all__ = ["COLUMNS", "added", "begun", "rows_of", "without_last"]

COLUMNS = ("section", "point", "reading", "kind", "when", "note")


def begun(record: Mapping[str, str], *, delimiter: str = ",") -> str:
    """Text of a log with its record and no row yet."""
    lines = [f"# {key}: {' '.join(value.split())}" for key, value in record.items() if value.strip()]
    return "\n".join([*lines, delimiter.join(COLUMNS)]) + "\n"


def added(text: str, rows: Sequence[Mapping[str, str]], source: str) -> str:
    """
    Text of a log with rows at its end.

    Parameters
    ----------
    text : str
        The log so far, with its header.
    rows : sequence of mapping
        Cells by the names of their columns; what is left out is blank, and a column that the log lacks is added.
    source : str
        Its name, for messages.

    Raises
    ------
    InputError
        It has not a reading on each row.
    """
    delimiter, lines, at, names = _header(text, source)
    wanted = dict.fromkeys([*COLUMNS, *(name for row in rows for name in row)])
    missing = [name for name in wanted if name not in names]
    if missing:
        head = lines[at]
        # a last column may hold bare quote marks, which it may not once another stands behind it
        whole = [line.mended for line in lines]
        whole[at] = _row([*head.cells[: len(names)], *missing], delimiter, head.text[len(head.text.rstrip("\r\n")) :])
        text, names = "".join(whole), [*names, *missing]
    out, end = io.StringIO(), "\r\n" if "\r\n" in text else "\n"
    csv.writer(out, delimiter=delimiter, lineterminator=end).writerows([row.get(n, "") for n in names] for row in rows)
    return (text if text.endswith("\n") else text + end) + out.getvalue()


def rows_of(text: str, source: str) -> list[dict[str, str]]:
    """Cells of each row of a log by column, without notes and blank lines."""
    _, found = split_rows(text, source)
    rows = [[str(tidy(cell)) for cell in cells] for _, cells in found]
    told = [cells for cells in rows if any(cells) and not is_note(cells[0])]
    names = [name.lower() for name in told[0]] if told else []
    return [dict(zip(names, cells, strict=False)) for cells in told[1:]]


def without_last(text: str, source: str) -> str:
    """Text of a log without its last row; of both bolt ends loosened at once both are taken off."""
    _, lines, header, names = _header(text, source)
    first = header + 1

    def cells(at: int) -> list[str]:
        return [str(tidy(cell)) for cell in lines[at].cells]

    rows = [at for at in range(first, len(lines)) if any(c := cells(at)) and not is_note(c[0])]
    if not rows:
        return text
    last, own = rows[-1], dict(zip(names, cells(rows[-1]), strict=False))
    gone = {last}
    if len(rows) > 1 and own.get("kind") == "move":
        before = dict(zip(names, cells(rows[-2]), strict=False))
        together = all(before.get(k) == own.get(k) for k in ("kind", "section", "when"))
        if together and before.get("point") != own.get("point"):
            gone.add(rows[-2])
    return "".join(line.text for at, line in enumerate(lines) if at not in gone)


def _header(text: str, source: str) -> tuple[str, list[Line], int, list[str]]:
    """Delimiter, all lines, at which of them the header stands, and its names in lower case."""
    delimiter, found = split_lines(text, source)
    lines = list(found)
    for at, line in enumerate(lines):
        names = [str(tidy(cell)).lower() for cell in line.cells]
        if any(names) and not is_note(tidy(line.cells[0])):
            while names and not names[-1]:
                names.pop()
            if "reading" not in names or not set(names) <= set(LONG):
                what = f"this one has no reading on each row ({','.join(LONG[:4])}). Give the job a log of its own."
                raise InputError(source, "rows cannot be added to this file", [Problem(AtRow(line.number), what)])
            return delimiter, lines, at, names
    raise InputError(source, "rows cannot be added to this file", [Problem(AtRow(1), "there is no header.")])


def _row(cells: Sequence[str], delimiter: str, end: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator=end).writerow(cells)
    return out.getvalue()
