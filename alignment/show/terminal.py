"""A page as plain text for a terminal: complete at 80 columns and without colour, readable down to 40."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from typing import Final

from alignment.show.page import Block, Cautions, Degree, Items, Page, Table, Text, shown
from alignment.show.words.cautions import SHORT

__all__ = ["WIDTH", "caution_lines", "headed", "render", "short", "wrap"]

WIDTH: Final = 80
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
    lines = wrap(page.title, width=width)
    for part in shown(page, degree):
        if part.heading:
            lines += ["", *map(strong, wrap(part.heading.upper(), width=width))]
        for block in part.blocks:
            lines += _block(block, width, strong, "  " if part.heading else "")
    if page.act:
        lines += ["", *wrap(f"First: {page.act}", width=width)]
    return "\n".join(lines) + "\n"


def _block(block: Block, width: int, strong: Callable[[str], str], margin: str) -> list[str]:
    if isinstance(block, Text):
        lines = wrap(block.words, margin, width=width)
        return [strong(line) for line in lines] if block.strong else lines
    if isinstance(block, Items):
        lines = []
        for number, item in enumerate(block.items, 1):
            mark = f"{number:>3} " if block.numbered else f"{margin}- "
            for text, first in ((item.words, mark), *((more, " " * len(mark)) for more in item.more)):
                lines += wrap(text, first, width=width)
        return lines
    if isinstance(block, Cautions):
        if not block.numbered:
            return wrap(" ".join(block.lines), margin, width=width)
        return [line for k, text in enumerate(block.lines, 1) for line in wrap(text, f"{margin}{k}. ", width=width)]
    return _table(block, width, margin)


def _table(table: Table, width: int, margin: str) -> list[str]:
    """Columns side by side where they fit, else each row as a few lines of its own."""
    columns = list(zip(table.head, *table.rows, strict=True))
    widths = [max(map(len, column)) for column in columns]
    widths[0] = min(widths[0], NAMES)
    lines = [line for text in (table.title,) if text for line in wrap(text, margin, width=width)]
    if len(margin) + sum(widths) + GAP * (len(widths) - 1) <= width:
        for row in (table.head, *table.rows):
            cells = (
                f"{short(text, w).rstrip():>{w}}" if side == "r" else short(text, w)
                for text, w, side in zip(row, widths, table.sides, strict=True)
            )
            lines.append((margin + (" " * GAP).join(cells)).rstrip())
    else:
        for first, *rest in table.rows:
            lines += wrap(
                f"{first}: "
                + ", ".join(f"{head} {text}".strip() for head, text in zip(table.head[1:], rest, strict=True) if text),
                margin,
                margin + "  ",
                width=width,
            )
    return lines + [line for text in (table.note,) if text for line in wrap(text, margin, width=width)]


def wrap(text: str, first: str = "", rest: str | None = None, *, width: int = WIDTH) -> list[str]:
    """Lines of so many columns; ``first`` stands before the first, ``rest`` (or as many blanks) before others."""
    return textwrap.wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_on_hyphens=False,
        break_long_words=False,
    )


def headed(heading: str, texts: Iterable[str]) -> list[str]:
    """A heading, each text under it behind a dash, and a blank line; nothing where there is no text."""
    lines = [line for text in texts for line in wrap(text, "  - ")]
    return [heading, *lines, ""] if lines else []


def short(text: str, width: int) -> str:
    """Text padded to a column; a longer one is cut in its middle, since names differ at their ends."""
    tail = (width - 2) // 2
    return f"{text if len(text) <= width else text[: width - 2 - tail] + '..' + text[-tail:]:<{width}}"


def caution_lines() -> list[str]:
    """The cautions, wrapped."""
    return wrap(" ".join(SHORT), "  ")
