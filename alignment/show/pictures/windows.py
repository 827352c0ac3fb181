"""Which part of a machine is drawn at a time: all of it, or parts below one another, such that words stay legible."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from alignment.machine.layout import Layout, Section

__all__ = ["Window", "whole", "windows"]

MARGIN: Final = 0.02
"""Share of a window that is left free at either end."""
SAME: Final = 1e-6
ROUNDS: Final = 40


@dataclass(frozen=True, kw_only=True)
class Window:
    """A part of the machine, from `low` to `high` downstream. [mm]"""

    low: float
    high: float

    @property
    def span(self) -> float:
        """Length drawn. [mm]"""
        return self.high - self.low

    def holds(self, section: Section) -> bool:
        """Whether the whole section is in it."""
        return self.low - SAME <= section.start and section.end <= self.high + SAME

    def clipped(self, low: float, high: float) -> tuple[float, float] | None:
        """What of a stretch of the machine is in it, without its margins; nothing where none is."""
        inset = self.span * MARGIN / (1 + 2 * MARGIN)
        first, last = max(low, self.low + inset), min(high, self.high - inset)
        return (first, last) if first < last else None


def whole(layout: Layout) -> Window:
    """All of a machine."""
    return _window(min(s.start for s in layout.sections), _reach(layout.sections))


def windows(layout: Layout, legible: Callable[[float], bool], most: int) -> list[Window]:
    """
    Parts of a machine, all of one length, in which a drawing of it is legible.

    Parameters
    ----------
    layout : Layout
    legible : callable
        Whether words are large enough where so much of the machine is drawn side by side. [mm]
    most : int
        Parts there may be.

    Returns
    -------
    list of Window
        As few as can be. Each section is whole in one of them at least; a part begins where a section does.
    """
    sections = layout.sections
    found = [whole(layout)]
    for count in range(2, most + 1):
        if legible(found[0].span):
            break
        found = _parted(sections, count)
    return found


def _window(begin: float, reach: float) -> Window:
    return Window(low=begin - MARGIN * reach, high=begin + (1 + MARGIN) * reach)


def _reach(sections: Sequence[Section]) -> float:
    return max(s.end for s in sections) - min(s.start for s in sections)


def _parted(sections: Sequence[Section], count: int) -> list[Window]:
    """Parts of the least length with which no more than `count` are needed."""
    low, high = max(s.length for s in sections), _reach(sections)
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        low, high = (low, middle) if len(_begins(sections, middle)) <= count else (middle, high)
    return [_window(begin, high) for begin in _begins(sections, high)]


def _begins(sections: Sequence[Section], reach: float) -> list[float]:
    """Where parts of a length begin, each with the first section that is not whole in the part before."""
    begins, rest = [], list(sections)
    while rest:
        begins.append(min(s.start for s in rest))
        rest = [s for s in rest if s.end > begins[-1] + reach + SAME]
    return begins
