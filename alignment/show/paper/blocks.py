"""A page as a PDF, or as plain data for a larger document: mappings that `pages.typ` sets as they stand."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from alignment.choices import Paper
from alignment.show.page import Block, Cautions, Degree, Items, Page, Table, Text, shown
from alignment.show.paper.typesetting import paper_name, typeset

__all__ = ["page_data", "render"]


def render(page: Page, degree: Degree = Degree.first, *, paper: Paper, made: datetime.date) -> bytes:
    """
    Set a page as a PDF by itself.

    Parameters
    ----------
    page : Page
    degree : Degree
        How much of it.
    paper : Paper
    made : date
        Day on the document.
    """
    day = [made.year, made.month, made.day]
    return typeset("page", page_data(page, degree) | {"paper": paper_name(paper), "made": day})


def page_data(page: Page, degree: Degree = Degree.full) -> dict[str, Any]:
    """
    A page for `pages.typ`.

    Parameters
    ----------
    page : Page
    degree : Degree
        How much of it.

    Returns
    -------
    dict
        ``title``, ``parts`` and ``act``; texts, lists and mappings of them throughout.
    """
    parts = [{"heading": part.heading, "blocks": [_block(b) for b in part.blocks]} for part in shown(page, degree)]
    return {"title": page.title, "parts": parts, "act": page.act}


def _block(block: Block) -> dict[str, Any]:
    if isinstance(block, Text):
        return {"kind": "text", "words": block.words, "strong": block.strong}
    if isinstance(block, Items):
        items = [{"words": item.words, "more": list(item.more)} for item in block.items]
        return {"kind": "items", "items": items, "numbered": block.numbered}
    if isinstance(block, Cautions):
        return {"kind": "cautions", "lines": list(block.lines), "numbered": block.numbered}
    return {
        "kind": "table",
        "head": list(block.head),
        "rows": [_cells(row) for row in block.rows],
        "sides": block.sides,
        "widest": _widest(block),
        "title": block.title,
        "note": block.note,
    }


def _widest(table: Table) -> list[list[str]]:
    """A row that makes a table as wide as all of them do: of each column the longest cell."""
    return [_cells([max(column, key=len) for column in zip(*table.rows, strict=True)])] if table.rows else []


def _cells(row: Sequence[str]) -> list[str]:
    """Cells without the blanks with which a screen pads its columns."""
    return [" ".join(cell.split()) for cell in row]
