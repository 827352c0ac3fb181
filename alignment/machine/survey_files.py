"""Reading surveys from files: text, workbooks, whole folders, and what is pasted on standard input."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from alignment.errors import FileError, StringtrueError
from alignment.files.disk import decode, of_kind, read_bytes, read_input
from alignment.files.workbooks import first_sheet
from alignment.machine.layout import Layout
from alignment.machine.survey import Survey
from alignment.machine.survey_text import parse_rows, parse_survey

__all__ = ["read_pair", "read_survey", "read_surveys", "survey_paths"]

SURVEYS: Final = (".csv", ".tsv", ".xlsx")
MOST_TOLD: Final = 20
"""Files whose mistakes are told at once."""


def read_survey(path: str | Path, layout: Layout, *, begun: bool = False) -> Survey:
    """
    Read a survey: .csv or .tsv text in UTF-8 or UTF-16, or the first sheet of an .xlsx workbook.

    Parameters
    ----------
    path : path
        The file; ``-`` is standard input: rows pasted from a spreadsheet, or typed.
    layout : Layout
        The machine that was read; bare numbers are in its units.
    begun : bool
        Whether it may hold no reading yet, as a job log does that was only begun.

    Returns
    -------
    Survey
        Readings in millimetres, each with its standard uncertainty and its text as written.

    Raises
    ------
    FileError
        It cannot be read, or is another kind of file.
    InputError
        With every row and line of the record that cannot be used, in the order of the file.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> machine = alignment.read_layout(samples / "machine.toml")
    >>> survey = alignment.read_survey(samples / "as-found.csv", machine)
    >>> survey.readings[0].section
    'operator-1'
    """
    pasted = str(path) == "-"
    file = Path("standard input" if pasted else path)
    data = read_input() if pasted else read_bytes(file, SURVEYS)
    if data.startswith(b"PK\x03\x04"):
        return parse_rows(first_sheet(data, file.name), layout, file.name, begun=begun)
    if file.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise FileError(f"{file.name}: not an .xlsx workbook. Save it as .xlsx, or as CSV UTF-8.")
    return parse_survey(of_kind("survey", decode(data, file), file), layout, file.name, begun=begun)


def read_pair(before: Path, after: Path, layout: Layout) -> tuple[Survey, Survey]:
    """Read two surveys of one machine; one file taken for both is an error."""
    if before.resolve() == after.resolve():
        raise FileError(f"{after}: stands for both surveys, before and after. Name two, the earlier one first.")
    return read_survey(before, layout), read_survey(after, layout)


def read_surveys(paths: Iterable[Path], layout: Layout) -> Iterator[Survey]:
    """
    Read surveys one after the other.

    Raises
    ------
    FileError
        After the last, with what is wrong in each of those that cannot be used.
    """
    wrong = []
    for path in paths:
        try:
            yield read_survey(path, layout)
        except StringtrueError as error:
            wrong.append(str(error))
    if wrong:
        more = [f"and {len(wrong) - MOST_TOLD} more of the kind"] * (len(wrong) > MOST_TOLD)
        raise FileError("\n".join([f"{len(wrong)} of the surveys cannot be used", *wrong[:MOST_TOLD], *more]))


def survey_paths(paths: Iterable[Path]) -> list[Path]:
    """
    Survey files that are named, or lie in folders that are named, each once.

    Raises
    ------
    FileError
        A folder in which there is none.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        try:
            inside = sorted(
                p for p in path.iterdir() if p.suffix.lower() in SURVEYS and not p.name.startswith((".", "~"))
            )
        except OSError as error:
            raise FileError(f"{path}: cannot be read: {error.strerror}.") from None
        if not inside:
            raise FileError(f"{path}: there is no survey in this folder. Expected {', '.join(SURVEYS)} files.")
        found.update(dict.fromkeys(inside))
    return list(found)
