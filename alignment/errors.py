"""The errors that the library raises for input it cannot use. All are also `ValueError`."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import NamedTuple

__all__ = [
    "FileError",
    "InputError",
    "LengthError",
    "NameUnknownError",
    "NotEnoughReadingsError",
    "Problem",
    "StringtrueError",
    "nearest",
    "printable",
    "quote",
]


class StringtrueError(ValueError):
    """Input that cannot be used; the message says what was read, what is expected and how to mend it."""


class LengthError(StringtrueError):
    """A text or number that is not a length."""


class FileError(StringtrueError):
    """A file that cannot be read or written as a whole."""


class NotEnoughReadingsError(StringtrueError):
    """Fewer than two distinct points, so that no line can be drawn."""


class NameUnknownError(StringtrueError):
    """A name that stands for nothing in the files at hand."""


class Problem(NamedTuple):
    """One thing wrong in a file: where it stands (row and column, or key) and what is wrong, with the mend."""

    where: str
    what: str


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
        for where, what in self.problems[: self.SHOWN]:
            line = printable(f"{where}: {what}")
            lines.append(f"  {line if len(line) <= self.LONGEST else f'{line[: self.LONGEST]}...'}")
        if len(self.problems) > self.SHOWN:
            lines.append(f"  and {len(self.problems) - self.SHOWN} more of the kind")
        super().__init__("\n".join(lines))


def printable(text: object) -> str:
    """Text on one line: a question mark stands for what does not print."""
    try:
        shown = str(text)
    except (ValueError, RecursionError):  # a number of thousands of digits, tables thousands deep
        return "too long to show"
    return "".join(c if c.isprintable() else "?" for c in shown)


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
