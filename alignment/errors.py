"""The errors that the library raises for input it cannot use. All are also `ValueError`."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Sequence
from itertools import islice
from typing import Final, NamedTuple

__all__ = [
    "AtRow",
    "FileError",
    "InputError",
    "LengthError",
    "NameUnknownError",
    "NotEnoughReadingsError",
    "Problem",
    "StringtrueError",
    "check_names",
    "nearest",
    "printable",
    "quote",
]


FOLDED: Final = 4
"""From so many rows with one fault on, it is told once."""
LISTED: Final = 12
"""Rows of such a fault that are listed; the rest are counted."""


class StringtrueError(ValueError):
    """Input that cannot be used; the message says what was read, what is expected and how to mend it."""


class LengthError(StringtrueError):
    """A text or number that is not a length."""


class FileError(StringtrueError):
    """A file that cannot be read or written as a whole."""


class NotEnoughReadingsError(StringtrueError):
    """
    Fewer than two distinct points, so that no line can be drawn.

    Parameters
    ----------
    what : str
        What is missing, with the mend.
    source : str
        Name of the file, where it is one's.
    """

    def __init__(self, what: str, source: str = "") -> None:
        self.what = what
        super().__init__(f"{source}: {what}" if source else what)


class NameUnknownError(StringtrueError):
    """A name that stands for nothing in the files at hand."""


class AtRow(NamedTuple):
    """A place in a table: the row, counted from 1, and the column's name or number."""

    row: int
    column: str = ""

    def __str__(self) -> str:
        """``row 3, reading``."""
        return f"row {self.row}{self.column and f', {self.column}'}"


class Problem(NamedTuple):
    """
    One thing wrong in a file: where it stands (row and column, or key) and what is wrong, with the mend.

    `lacking`: nothing is wrong with what is there, and something is not there yet.
    """

    where: str | AtRow
    what: str
    lacking: bool = False


class InputError(StringtrueError):
    """
    Everything that is wrong in one file, told at once.

    Parameters
    ----------
    source : str
        Name of the file as the user gave it.
    heading : str
        What the problems have in common, for example ``2 readings cannot be used``.
    problems : iterable of Problem
        In the order of the file.
    """

    SHOWN = 20
    """Problems that are told; the rest are counted."""
    LONGEST = 400
    """Characters of one problem that are told."""

    def __init__(self, source: str, heading: str, problems: Iterable[Problem]) -> None:
        self.source = source
        self.problems = tuple(problems)
        lines = [printable(f"{source}: {heading}")]
        told = _folded(self.problems)
        short = (line if len(line) <= self.LONGEST else f"{line[: self.LONGEST]}..." for line in map(printable, told))
        lines += [f"  {line}" for line in islice(short, self.SHOWN)]
        if len(told) > self.SHOWN:
            lines.append(f"  and {len(told) - self.SHOWN} more of the kind")
        super().__init__("\n".join(lines))


def _folded(problems: Sequence[Problem]) -> list[str]:
    """Lines of text; where many rows have the same fault, whatever it is that they hold, one line and their numbers."""

    def kind(problem: Problem) -> tuple[str, str, str]:
        place = ("row", problem.where.column) if isinstance(problem.where, AtRow) else ("", problem.where)
        return *place, re.sub("^'[^']*'", "", problem.what)

    kinds: dict[tuple[str, str, str], list[Problem]] = {}
    for problem in problems:
        kinds.setdefault(kind(problem), []).append(problem)
    lines = []
    for problem in problems:
        alike, where = kinds[kind(problem)], problem.where
        if len(alike) < FOLDED or not isinstance(where, AtRow):
            lines.append(f"{where}: {problem.what}")
        elif problem is alike[0]:
            rows = [str(other.where.row) for other in alike if isinstance(other.where, AtRow)]
            more = f" and {len(rows) - LISTED} more" if len(rows) > LISTED else ""
            lines.append(f"rows {', '.join(rows[:LISTED])}{more}{where.column and f', {where.column}'}: {problem.what}")
    return lines


def check_names(names: Iterable[str], known: Collection[str], source: str) -> None:
    """
    Make sure that names, of sections for example, stand in a file.

    Raises
    ------
    NameUnknownError
        With all that do not.
    """
    unknown = [f"{quote(name)} is not in {source}.{nearest(name, known)}" for name in names if name not in known]
    if unknown:
        raise NameUnknownError(" ".join(unknown))


def printable(text: object, keep: str = "") -> str:
    """Text on one line, or with the breaks and blanks to `keep`: a question mark stands for what does not print."""
    try:
        shown = str(text)
    except (ValueError, RecursionError):  # a number of thousands of digits, tables thousands deep
        return "too long to show"
    return shown if shown.isprintable() else "".join(c if c.isprintable() or c in keep else "?" for c in shown)


def quote(text: object, limit: int = 40) -> str:
    """Text as it was read, in single quotes, on one line and cut when it is very long."""
    shown = printable(text)
    if len(shown) > limit:
        shown = f"{shown[:limit]}...' ({len(shown)} characters)"
        return f"'{shown}"
    return f"'{shown}'"


def nearest(word: str, known: Iterable[str]) -> str:
    """Sentence that offers the nearest known name, or lists the few there are; empty where neither helps."""
    names = list(known)
    folded = {name.casefold(): name for name in reversed(names)}
    match = difflib.get_close_matches(word.casefold()[:100], list(folded), n=1, cutoff=0.6)
    if match:
        return f" Perhaps you meant '{folded[match[0]]}'."
    if 0 < len(names) <= 12:
        return f" Known: {', '.join(names)}."
    return ""
