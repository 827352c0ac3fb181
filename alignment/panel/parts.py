"""What is measured on a panel and where, by ids; the names that a person gave to the edges are for the page alone."""

from __future__ import annotations

import enum
from dataclasses import dataclass

__all__ = ["Part", "Side", "Spot", "Where"]


class Part(enum.StrEnum):
    """What a finding is of; a limit is chosen under the same word."""

    square = "square"
    camber = "camber"
    bow = "bow"
    strip_camber = "strip"
    """Camber of the strip before it was formed."""
    twist = "twist"
    waves = "waves"
    length = "length"
    width = "width"
    leg = "leg"

    @property
    def signless(self) -> bool:
        """Whether its number is told by its size; which way it goes is told in words."""
        return self not in (Part.length, Part.width, Part.leg)


class Side(enum.StrEnum):
    """Left and right of a person who looks downstream, up and down as the panel lay while it was measured."""

    left = "left"
    right = "right"
    up = "up"
    down = "down"

    @property
    def other(self) -> Side:
        """The opposite one."""
        return _OTHER[self]


_OTHER = {Side.left: Side.right, Side.right: Side.left, Side.up: Side.down, Side.down: Side.up}


class Spot(enum.StrEnum):
    """Places along a panel that have a name."""

    lead = "lead"
    middle = "middle"
    tail = "tail"


@dataclass(frozen=True, kw_only=True)
class Where:
    """
    Which number of a panel.

    Attributes
    ----------
    part : Part
    side : Side or None
        The edge or the leg; of waves None for the pan between the edges.
    spot : Spot or None
        The end or the place along the panel; of an out-of-square None for the mean of both ends.
    place : float or None
        A place along the panel that has no name, from the lead end. [mm]
    """

    part: Part
    side: Side | None = None
    spot: Spot | None = None
    place: float | None = None
