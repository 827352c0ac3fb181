"""
What is said of a result, once for every surface: a page of headings, sentences, lists, tables and cautions.

`alignment.show.words` makes pages; `terminal`, `html` and `paper` draw them. A page holds whole sentences and cells as
they are read, and no looks: no columns, no indentation, no line ends.
"""

from __future__ import annotations

import enum
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["Block", "Cautions", "Degree", "Item", "Items", "Page", "Part", "Table", "Text", "items", "said", "shown"]


class Degree(enum.IntEnum):
    """How much is said: what to do and how things are, or everything that is known."""

    first = 1
    full = 2


class Text(NamedTuple):
    """One paragraph: whole sentences."""

    words: str
    strong: bool = False


class Item(NamedTuple):
    """One thing of a list, and the lines that go with it."""

    words: str
    more: tuple[str, ...] = ()


class Items(NamedTuple):
    """A list; numbered where its order is the order of work, with boxes where each is to be ticked."""

    items: tuple[Item, ...]
    numbered: bool = False
    boxes: bool = False


@dataclass(frozen=True, kw_only=True)
class Table:
    """
    A table of cells as they are read.

    Attributes
    ----------
    head : tuple of str
        A heading for each column.
    rows : tuple of tuple of str
        As many cells in each.
    align : str
        ``l`` or ``r`` for each column; empty: all left.
    title, note : str
        What it holds; units and the meaning of signs.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str = ""
    title: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.align and len(self.align) != len(self.head):
            raise ValueError(f"{len(self.head)} columns, and alignments for {len(self.align)}")
        if any(len(row) != len(self.head) for row in self.rows):
            raise ValueError(f"a row without {len(self.head)} cells")

    @property
    def sides(self) -> str:
        """Alignment of each column."""
        return self.align or "l" * len(self.head)


class Cautions(NamedTuple):
    """What is said before a person goes to the machine."""

    lines: tuple[str, ...]
    numbered: bool = False


Block = Text | Items | Table | Cautions


class Part(NamedTuple):
    """Blocks under one heading; without a heading they go on from what stands before."""

    blocks: tuple[Block, ...]
    heading: str = ""
    degree: Degree = Degree.first


class Page(NamedTuple):
    """
    Everything that is said of one result.

    Attributes
    ----------
    title : str
        Which machine, file and day.
    parts : tuple of Part
        What to do first, then how things are, then the doubts.
    act : str
        The first thing to do, in one sentence. A terminal says it again as its last line.
    """

    title: str
    parts: tuple[Part, ...]
    act: str = ""


def items(texts: Sequence[str], *, numbered: bool = False, boxes: bool = False) -> tuple[Block, ...]:
    """A list of plain sentences; nothing where there is none."""
    return (Items(items=tuple(Item(words=text) for text in texts), numbered=numbered, boxes=boxes),) if texts else ()


def shown(page: Page, degree: Degree = Degree.full) -> tuple[Part, ...]:
    """Parts of a page that are told at a degree and hold something."""
    return tuple(part for part in page.parts if part.degree <= degree and part.blocks)


def said(page: Page, degree: Degree = Degree.full) -> Iterator[str]:
    """Every text of a page in the order of reading, whatever draws it."""
    yield page.title
    for part in shown(page, degree):
        if part.heading:
            yield part.heading
        for block in part.blocks:
            yield from _texts(block)
    if page.act:
        yield page.act


def _texts(block: Block) -> Iterator[str]:
    if isinstance(block, Text):
        yield block.words
    elif isinstance(block, Items):
        for item in block.items:
            yield item.words
            yield from item.more
    elif isinstance(block, Cautions):
        yield from block.lines
    else:
        yield from filter(None, (block.title, *block.head, *(cell for row in block.rows for cell in row), block.note))
