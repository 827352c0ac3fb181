"""A page as plain text for a terminal: complete at 80 columns and without colour, readable down to 40."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from alignment.errors import printable
from alignment.show.page import Block, Cautions, Degree, Items, Page, Table, Text, shown

__all__ = ["NARROWEST", "WIDTH", "render"]

WIDTH: Final = 80
NARROWEST: Final = 40
GAP: Final = 2
"""Blanks between two columns."""
NAMES: Final = 24
"""Widest first column; a longer name is cut in its middle."""


def render(
    page: Page,
    degree: Degree = Degree.first,
    *,
    width: int = WIDTH,
    strong: Callable[[str], str] = str,
) -> str:
    """
    Draw a page as text.

    Parameters
    ----------
    page : Page
    degree : Degree
        How much of it.
    width : int
        Columns.
    strong : callable
        What makes a heading stand out on a terminal; by default nothing.

    Returns
    -------
    str
        The first act is its last line, since a terminal shows the end of what is printed.
    """
    lines = _wrap(page.title, width=width)
    for part in shown(page, degree):
        if part.heading:
            lines += ["", *map(strong, _wrap(part.heading.upper(), width=width))]
        for block in part.blocks:
            lines += _block(block, width, strong, "  " if part.heading else "")
    last = _wrap(f"First: {page.act}", width=width) if page.act else []
    # where it stands last already, once is enough
    if last and lines[-len(last) :] != last:
        lines += ["", *last]
    return "\n".join(lines) + "\n"


def _block(block: Block, width: int, strong: Callable[[str], str], margin: str) -> list[str]:
    if isinstance(block, Text):
        lines = _wrap(block.words, margin, width=width)
        return [strong(line) for line in lines] if block.strong else lines
    if isinstance(block, Items):
        lines = []
        for number, item in enumerate(block.items, 1):
            mark = f"{number:>3} " if block.numbered else f"{margin}[ ] " if block.boxes else f"{margin}- "
            for text, first in ((item.words, mark), *((more, " " * len(mark)) for more in item.more)):
                lines += _wrap(text, first, width=width)
        return lines
    if isinstance(block, Cautions):
        if not block.numbered:
            return _wrap(" ".join(block.lines), margin, width=width)
        return [line for k, text in enumerate(block.lines, 1) for line in _wrap(text, f"{margin}{k}. ", width=width)]
    return _table(block, width, margin)


def _table(table: Table, width: int, margin: str) -> list[str]:
    """Columns side by side where they fit, else each row as a few lines of its own."""
    table = replace(table, rows=tuple(tuple(map(printable, row)) for row in table.rows))
    columns = list(zip(table.head, *table.rows, strict=True))
    widths = [max(map(len, column)) for column in columns]
    widths[0] = min(widths[0], NAMES)
    lines = [line for text in (table.title,) if text for line in _wrap(text, margin, width=width)]
    if len(margin) + sum(widths) + GAP * (len(widths) - 1) <= width:
        for row in (table.head, *table.rows):
            cells = (
                f"{_short(text, w).rstrip():>{w}}" if side == "r" else _short(text, w)
                for text, w, side in zip(row, widths, table.sides, strict=True)
            )
            lines.append((margin + (" " * GAP).join(cells)).rstrip())
    else:
        for first, *rest in table.rows:
            lines += _wrap(
                f"{first}: "
                + ", ".join(f"{head} {text}".strip() for head, text in zip(table.head[1:], rest, strict=True) if text),
                margin,
                margin + "  ",
                width=width,
            )
    return lines + [line for text in (table.note,) if text for line in _wrap(text, margin, width=width)]


def _wrap(text: str, first: str = "", rest: str | None = None, *, width: int = WIDTH) -> list[str]:
    """Lines of so many columns; ``first`` stands before the first, ``rest`` (or as many blanks) before others."""
    # of the file's name, say, which may hold what a terminal takes for orders
    return textwrap.wrap(
        printable(text.replace("\n", " ")),
        width,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_on_hyphens=False,
        break_long_words=False,
    )


def _short(text: str, width: int) -> str:
    """Text padded to a column; a longer one is cut in its middle, since names differ at their ends."""
    tail = (width - 2) // 2
    return f"{text if len(text) <= width else text[: width - 2 - tail] + '..' + text[-tail:]:<{width}}"
