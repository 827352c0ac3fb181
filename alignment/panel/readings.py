"""
What was read on one test panel, before anything is made of it.

The lead end came out of the machine first, the tail end last; edges are named after the rows, the left one first for a
person who looks downstream. Places along the panel are measured from its lead end. Lengths are in millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from alignment.lengths import Units
from alignment.panel.limits import Limit
from alignment.panel.parts import Part, Side, Spot
from alignment.uncertainty import reading_u

__all__ = ["Across", "Budget", "Corner", "Offsets", "Panel", "Twist", "Wave"]

_EDGES = (Side.left, Side.right)


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What lengths are read with. [mm]"""

    mark: float
    placing: float
    zero: float = 0.0
    """Standard uncertainty of the hook, common to all lengths; it cancels in every difference."""

    @property
    def u(self) -> float:
        """Independent standard uncertainty of one length. [mm]"""
        return float(reading_u(0.0, mark=self.mark, set_u=self.placing, tilt=0.0))


@dataclass(frozen=True, kw_only=True)
class Offsets:
    """Gaps from a straightedge or a taut string to an edge. [mm]"""

    of: Part
    """Camber, bow, or the strip's camber."""
    side: Side
    """The edge that they were measured to."""
    line: str
    """Side of the edge on which the line lay: outside or inside the panel in its plane; over or under it for bow."""
    places: tuple[float, ...]
    readings: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Corner:
    """One corner lifted off a flat while the other three lie on it."""

    end: Spot
    side: Side
    lift: float


@dataclass(frozen=True, kw_only=True)
class Twist:
    """Twist as it was measured: a corner's lift, or angles across the panel along its length. [mm], [degrees]"""

    corner: Corner | None = None
    places: tuple[float, ...] = ()
    angles: tuple[float, ...] = ()
    """Positive where the left edge is the higher one."""
    angle_u: float = 0.1


@dataclass(frozen=True, kw_only=True)
class Wave:
    """One wave, or one run of waves that are alike. [mm]"""

    side: Side | None
    """The edge, or None for the pan, the flat between them."""
    height: float
    pitch: float
    places: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Across:
    """Sizes across the panel at one place. [mm]"""

    spot: Spot | None
    """None for a place without a name."""
    place: float
    """From the lead end."""
    width: float | None
    legs: tuple[float | None, float | None]
    """Height of the leg at the left and at the right edge."""


@dataclass(frozen=True, kw_only=True)
class Panel:
    """What was measured on one panel."""

    source: str
    name: str
    units: Units
    width: float
    length: float
    edges: tuple[str, str]
    legs: str
    """``up`` or ``down``: how the legs stood while it was measured; may be empty."""
    turned: str
    """How its strip was turned before it was fed, against the panel it is compared with; may be empty."""
    waves_looked_for: bool
    leg: float | None
    """Nominal height of the legs; None where it is not told."""
    tape: Budget
    rule: Budget
    """For offsets, lifts, wave heights and legs."""
    lengths: Mapping[str, tuple[float, ...]]
    """Sides and diagonals, named as `corners` names them."""
    offsets: tuple[Offsets, ...]
    twist: Twist | None
    waves: tuple[Wave, ...]
    across: tuple[Across, ...]
    limits: Mapping[Part, Limit]
    record: Mapping[str, str] = field(default_factory=dict)

    def edge(self, side: Side) -> str:
        """Name of the left or the right edge."""
        return self.edges[_EDGES.index(side)]

    @property
    def strip_width(self) -> float:
        """Width of the strip, but for the bends: the panel's own and both legs. [mm]"""
        return self.width + 2 * (self.leg or 0.0)

    def shown_in(self, units: Units | None) -> Panel:
        """The same panel, with lengths printed in other units."""
        return self if units is None else replace(self, units=units)
