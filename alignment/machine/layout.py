"""
The layout of one machine: its rows, sections, bolts, strings and tolerances.

Lengths are in millimetres, places along the machine run downstream from its zero mark.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from alignment.instruments import Tape
from alignment.lengths import Units, show

if TYPE_CHECKING:
    from alignment.machine.sag import Sag

__all__ = ["Joint", "Layout", "MoveRules", "Plane", "Row", "Section", "String", "Strip", "Tolerance"]


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """Largest magnitude allowed of each thing judged. [mm]"""

    square: float
    offset: float
    step: float
    opening: float


@dataclass(frozen=True, kw_only=True)
class MoveRules:
    """How bolt ends may be moved."""

    travel: float | None
    """How far a bolt end can go either way in its slot; None where it is not told. [mm]"""
    creep: float
    """Standard uncertainty of what tightening does to a bolt end. [mm]"""
    bolt: float
    """What loosening one bolt end is worth, as a share of the chance that its section is within tolerance."""


@dataclass(frozen=True, kw_only=True)
class Strip:
    """The strip that the machine forms, as far as it is told."""

    width: float | None = None
    thickness: float | None = None
    material: str = ""
    yield_strength: float | None = None
    """[MPa]"""


class Plane(enum.StrEnum):
    """The plane in which a row is measured."""

    side = "side"
    """Sideways, from above."""
    height = "height"
    """Up and down."""


class Direction(enum.StrEnum):
    """Which way something of a row goes: seen from its string, or for heights up and down."""

    toward = "toward"
    away = "away"
    up = "up"
    down = "down"


@dataclass(frozen=True, kw_only=True)
class String:
    """A taut line along the machine."""

    name: str
    at: float | None = None
    """Place across the machine, to the right looking downstream; None where it was not measured. [mm]"""
    sag: Sag | None = None
    """How it hangs, for heights; None where it was not told."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """The sections on one side of the machine."""

    name: str
    string: str
    plane: Plane = Plane.side
    side: str = ""
    """Side of the row's faces on which its string hangs: ``left`` or ``right`` looking downstream, or empty where it
    was not told; for heights ``above`` or ``below``."""
    target: float | None = None
    """Reading wanted, before setbacks; None where it is taken from the row itself. [mm]"""

    def direction(self, move: float) -> Direction:
        """Which way a move goes that is positive toward the string."""
        if self.plane is Plane.side:
            return Direction.toward if move > 0 else Direction.away
        return Direction.up if (move > 0) == (self.side != "below") else Direction.down


@dataclass(frozen=True, kw_only=True)
class Section:
    """A rigid block of tooling, bolted down at two bolt ends. [mm]"""

    name: str
    row: str
    start: float
    """Machine x of its entry end."""
    length: float
    points: tuple[float, ...]
    """Places where the tape is read, from its entry end."""
    bolts: tuple[float, float]
    """Entry and exit bolt end, from its entry end."""
    setback: float = 0.0
    hold: bool = False

    @property
    def middle(self) -> float:
        """Machine x of its mid-length. [mm]"""
        return self.start + self.length / 2

    @property
    def end(self) -> float:
        """Machine x of its exit end. [mm]"""
        return self.start + self.length

    def place(self, point: str) -> float | None:
        """Place of a named point from the entry end; None where the word is not one of the names. [mm]"""
        if point == "entry":
            return self.points[0]
        if point == "exit":
            return self.points[-1]
        if point == "mid":
            return self.points[len(self.points) // 2] if len(self.points) % 2 else self.length / 2
        return None

    def point_name(self, place: float, units: Units) -> str:
        """Name of the point at a place from the entry end, a length where it has none. [mm]"""
        named = ("entry", "exit", "mid")
        found = (name for name in named if abs(self.place(name) - place) < 1e-6)  # type: ignore[operator]
        return next(found, None) or show(place, units)


@dataclass(frozen=True, kw_only=True)
class Joint:
    """Where two neighbours of a row meet."""

    upstream: str
    downstream: str
    step: float | None = None
    """Nominal face of the downstream section beyond that of the upstream one; None: as the setbacks say. [mm]"""

    @property
    def names(self) -> tuple[str, str]:
        """Its two sections, upstream one first."""
        return self.upstream, self.downstream


@dataclass(frozen=True, kw_only=True)
class Layout:
    """One machine. Sections stand row by row, entry to exit."""

    source: str
    name: str
    units: Units
    strip: Strip
    tape: Tape
    tolerance: Tolerance
    moves: MoveRules
    strings: Mapping[str, String]
    rows: Mapping[str, Row]
    sections: tuple[Section, ...]
    joints: tuple[Joint, ...] = ()
    assumed: tuple[str, ...] = field(default=())
    """Tables and tolerances that the file leaves out, so that defaults stand in: ``tape``, ``tolerance.step``."""

    @cached_property
    def index(self) -> dict[str, int]:
        """Place of each section in `sections`, by name."""
        return {section.name: i for i, section in enumerate(self.sections)}

    def shown_in(self, units: Units | None) -> Layout:
        """The same machine, with lengths printed in other units."""
        return self if units is None else replace(self, units=units)

    def row_sections(self, row: str) -> list[Section]:
        """Sections of one row, entry to exit."""
        return [section for section in self.sections if section.row == row]
