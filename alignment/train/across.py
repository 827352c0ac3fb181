"""What lies across the machine: the clear distance between facing rows, and the levels of rows measured in height."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from alignment.machine.layout import Layout, Plane, Row
from alignment.train.train import Train

__all__ = ["Across", "Opening", "levels", "openings", "rows_across", "rows_of"]


class Opening(NamedTuple):
    """Distance between two rows at one place along the machine. [mm]"""

    x: float
    opening: float
    u: float


@dataclass(frozen=True, kw_only=True)
class Across:
    """
    Two rows, from first place to last.

    Attributes
    ----------
    rows : (str, str)
    places : tuple of Opening
        In the order of x. For heights, how much higher the second row's deviation puts it than the first.
    change, change_u : float
        Growth from the first place to the last. [mm]
    apart : float or None
        Distance across the machine between the two strings. [mm]
    known : bool
        False where the spacing of the rows' strings was not measured: then only changes mean anything.
    """

    rows: tuple[str, str]
    places: tuple[Opening, ...]
    change: float
    change_u: float
    apart: float | None
    known: bool

    @property
    def length(self) -> float:
        """From the first place to the last. [mm]"""
        return self.places[-1].x - self.places[0].x

    @property
    def twist(self) -> float | None:
        """For heights: rotation from the first place to the last. [degrees]"""
        return None if not self.apart else math.degrees(math.atan2(self.change, self.apart))


def rows_of(layout: Layout, plane: Plane) -> list[str]:
    """Rows measured in one plane, in the order of the layout."""
    return [name for name, row in layout.rows.items() if row.plane is plane and layout.row_sections(name)]


def rows_across(layout: Layout) -> list[tuple[str, str]]:
    """
    Pairs of facing rows, left one first looking downstream, as far as the layout tells.

    Rows with the places of their strings are put in order by them; else two rows seen from opposite sides face one
    another if their strings hang outside.
    """
    rows = [layout.rows[name] for name in rows_of(layout, Plane.side)]
    placed = {row.name: _place(layout, row) for row in rows if row.side and layout.strings[row.string].at is not None}
    if len(placed) > 1:
        return list(pairwise(sorted(placed, key=lambda name: placed[name])))
    sides = {row.side: row.name for row in rows}
    return [(sides["left"], sides["right"])] if len(rows) == 2 and set(sides) == {"left", "right"} else []


def _place(layout: Layout, row: Row) -> float:
    """Where a row's faces should lie across the machine, to the right looking downstream. [mm]"""
    setbacks = [s.setback for s in layout.row_sections(row.name)]
    return (layout.strings[row.string].at or 0.0) + _away(row) * ((row.target or 0.0) + float(np.mean(setbacks)))


def _away(row: Row) -> int:
    """Direction in which deviations grow: +1 to the right or down, -1 to the left or up."""
    return 1 if row.side in ("left", "above") else -1


def openings(train: Train) -> tuple[Across, ...]:
    """
    Openings between facing rows at every section end that has a measured face across from it.

    A face lies at its string's place plus its reading where the string hangs on its left, less it on its right. The
    places of two strings are taken as exact; where they are not told only the change along the machine is known.
    """
    train, layout = train.on_string(), train.layout
    found = []
    for left, right in rows_across(layout):
        one, other = layout.rows[left], layout.rows[right]
        strings = layout.strings[one.string], layout.strings[other.string]
        known = one.string == other.string or None not in (strings[0].at, strings[1].at)
        spacing = (strings[1].at or 0.0) - (strings[0].at or 0.0) if known else 0.0
        factors = (-_away(one), _away(other))
        found.append(_across(train, (left, right), factors, constant=spacing, readings=True, known=known))
    return tuple(across for across in found if across is not None)


def levels(train: Train) -> tuple[Across, ...]:
    """
    How much higher one row of heights lies than the one before it, along the machine.

    By their deviations from the strings as they hang: a line laid along each row would take the twist away.
    """
    train, layout = train.on_string(), train.layout
    found = []
    for left, right in pairwise(rows_of(layout, Plane.height)):
        one, other = layout.rows[left], layout.rows[right]
        ats = layout.strings[one.string].at, layout.strings[other.string].at
        apart = None if ats[0] is None or ats[1] is None else abs(ats[1] - ats[0])
        # a row farther below its string is lower
        factors = (_away(one), -_away(other))
        known = one.target is not None and other.target is not None
        found.append(_across(train, (left, right), factors, readings=False, known=known, apart=apart))
    return tuple(across for across in found if across is not None)


def _across(
    train: Train,
    rows: tuple[str, str],
    factors: tuple[int, int],
    *,
    readings: bool,
    known: bool,
    constant: float = 0.0,
    apart: float | None = None,
) -> Across | None:
    """Sum of two rows' readings or deviations, each with its factor, wherever both have a measured face."""
    members = [np.flatnonzero([s.row == name for s in train.layout.sections] & train.measured) for name in rows]
    ends = {
        round(float(x), 6) for i in np.concatenate(members) for x in (train.start[i], train.start[i] + train.length[i])
    }
    places: list[Opening] = []
    parts: list[list[tuple[int, float, float]]] = []
    for x in sorted(ends):
        faces = [next((int(i) for i in side if _covers(train, i, x)), None) for side in members]
        if faces[0] is None or faces[1] is None:
            continue
        own = [(faces[0], x, float(factors[0])), (faces[1], x, float(factors[1]))]
        value, u = train.combine(own, readings=readings)
        places.append(Opening(x=x, opening=constant + value, u=u))
        parts.append(own)
    if len(places) < 2:
        return None
    growth = [*parts[-1], *((i, x, -factor) for i, x, factor in parts[0])]
    change, change_u = train.combine(growth, readings=readings)
    return Across(rows=rows, places=tuple(places), change=change, change_u=change_u, apart=apart, known=known)


def _covers(train: Train, i: np.int64, x: float) -> bool:
    return bool(-1e-6 <= x - train.start[i] <= train.length[i] + 1e-6)
