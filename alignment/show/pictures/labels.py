"""How large, and in how many lines, the words at a section are set, such that none meets another."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from alignment.machine.layout import Layout, Section
from alignment.show.letters import shortened, width_of
from alignment.uncertainty import Verdict

__all__ = ["BESIDE", "BODY", "DISC", "Number", "discs_at", "fitted", "label_size", "numbers_size"]

BODY: Final = 0.3
"""Depth with which a section is drawn. [inches]"""
DISC: Final = 0.21
"""Breadth of a disc with a number in it. [inches]"""
BESIDE: Final = 0.06
"""From the line of a reading to its number. [inches]"""
SMALLEST: Final = 4.5
"""Size of a label below which its name is cut. [points]"""
VERDICT: Final = max((verdict.printed for verdict in Verdict), key=len)
"""The verdict that takes most room."""


def discs_at(section: Section, along: float) -> tuple[float, float]:
    """Where the bolt ends of a section are marked, such that a disc stays within it: no two then meet. [mm]"""
    inset = min(0.55 * DISC / along, section.length / 2)
    entry, exit_ = (float(np.clip(bolt, inset, section.length - inset)) for bolt in section.bolts)
    return section.start + entry, section.start + exit_


def label_size(layout: Layout, lanes: Mapping[str, Any], along: float, letters: Callable[[str], str] = str) -> float:
    """Size at which all labels fit between their bolts; `along` is inches of paper for a millimetre. [points]"""
    rows = [layout.row_sections(row) for row in lanes]
    families = {row[0].row: tuple(letters(s.name) for s in row) for row in rows if row}
    return min(fitted(s, along, letters(s.name), families[s.row])[1] for row in rows for s in row)


def fitted(section: Section, along: float, name: str, family: tuple[str, ...]) -> tuple[list[str], float]:
    """
    Name of a section in the lines, with a verdict after the last, that let it be set largest; and that size.

    A name that is too long for any legible size is cut, such that it is told from others of its row.
    """
    entry, exit_ = discs_at(section, along)
    room = (exit_ - entry) * along - 1.1 * DISC
    for letters in (len(name), *(n for n in (48, 36, 28, 22, 18, 14, 11, 9, 7) if n < len(name))):
        lines, size = _set(shortened(name, family, letters), room)
        if size >= SMALLEST:
            break
    return lines, float(np.clip(size, SMALLEST - 0.5, 10.5))


def _set(name: str, room: float) -> tuple[list[str], float]:
    """A name in lines and the size at which it fits into some room [inches] with its verdict; at least one line."""
    best: tuple[list[str], float] = ([name, ""], 0.0)
    for count in range(1, 5):
        wide = -(-len(name) // count) + 2 * (count > 1)
        lines = textwrap.wrap(name, wide, break_on_hyphens=wide > 7, break_long_words=wide > 15)
        for verdict_below in (False, True):
            set_ = [*lines, VERDICT] if verdict_below else [*lines[:-1], f"{lines[-1]}  {VERDICT}"]
            wanted = max(width_of(line, bold=True) for line in set_)
            size = min(72 * room / wanted, 72 * BODY / (1.2 * len(set_)))
            if size > best[1] * 1.001:
                best = ([*lines, ""] if verdict_below else lines, size)
    return best


@dataclass(frozen=True, kw_only=True)
class Number:
    """A reading to be written beside its line."""

    at: float
    """From the section's entry end. [inches]"""
    beside: int
    """It stands after its line (+1), before it (-1) or upon it (0)."""
    said: str
    bold: bool

    def span(self, size: float) -> tuple[float, float]:
        """From where to where it reaches at some size [points], with a blank at either side. [inches]"""
        wide = width_of(self.said, bold=self.bold) * size / 72
        first = self.at + self.beside * BESIDE - {0: 0.5, 1: 0.0, -1: 1.0}[self.beside] * wide
        return first - 0.025, first + wide + 0.025


def numbers_size(numbers: Sequence[Number], room: float) -> float:
    """Largest legible size at which no reading of a section meets another or leaves it; 0 where none is. [points]"""
    for size in (9.5, 8.5, 7.5, 6.5):
        spans = [number.span(size) for number in numbers]
        ends = [-0.03, *(end for _, end in spans)]
        begins = [*(begin for begin, _ in spans), room + 0.03]
        if all(end <= begin for end, begin in zip(ends, begins, strict=True)):
            return size
    return 0.0
