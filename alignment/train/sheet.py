"""What a sheet that is taken to the machine asks for: which points, in which order, and how often."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from alignment.machine.entry import Ask, begin
from alignment.machine.layout import Layout
from alignment.train.budget import Means, promises

__all__ = ["FITS", "Sheet", "plan_sheet"]

FITS: Final = 5
"""Boxes beside one another that a hand can still write 18 9/16 in."""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """
    What stands on a sheet.

    Attributes
    ----------
    repeats : int
        Boxes for each point.
    points : tuple of Ask
        In the order of reading; the number of a point is its place here, from 1.
    closing : tuple of Ask
        Points to be read once more at the end.
    work : bool
        Whether it is for the work, section by section, rather than for a survey.
    finer : bool
        Whether so many readings with the layout's tape leave a tolerance that finer marks would prove.
    """

    layout: Layout
    repeats: int
    points: tuple[Ask, ...]
    closing: tuple[Ask, ...]
    work: bool
    finer: bool


def plan_sheet(layout: Layout, *, repeats: int | None = None, work: bool = False) -> Sheet:
    """
    Work out what a sheet needs.

    Parameters
    ----------
    layout : Layout
    repeats : int, optional
        Boxes for each point; by default as many readings as the budget asks for, at most `FITS`.
    work : bool
        For the work: found, stop and left for each point instead.
    """
    asked = promises(layout, Means(tape=layout.tape))
    wanted = max((p.repeats or 1 for p in asked), default=1)
    boxes = min(wanted, FITS) if repeats is None else repeats
    asks = begin(layout, None, "survey.csv").asks
    return Sheet(
        layout=layout,
        repeats=boxes,
        points=tuple(ask for ask in asks if ask.repeat),
        closing=tuple(ask for ask in asks if not ask.repeat),
        work=work,
        finer=not all(p.proved for p in promises(layout, Means(tape=layout.tape, repeats=boxes))),
    )
