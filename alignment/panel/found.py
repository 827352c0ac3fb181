"""
What was found on a test panel: square, camber, bow, twist, waves, sizes across, each with its uncertainty and verdict.

Directions are told by the lead end (out of the machine first), the tail end (out last) and the left and right edge of a
person who looks downstream. A panel sweeps toward the edge that is hollow, which is its shorter edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

from alignment.fitting.arcs import Arc, height_of
from alignment.panel.corners import Corners, Known
from alignment.panel.limits import Finding
from alignment.panel.parts import Part, Side, Spot, Where
from alignment.panel.readings import Offsets, Panel, Wave
from alignment.panel.widths import CrossSizes, Steadiness
from alignment.results import Result
from alignment.uncertainty import COVERAGE, Verdict, worst

__all__ = ["EDGES", "Bent", "Curve", "EndCut", "PanelResult", "Square", "TwistFound", "WaveFound"]

EDGES: Final = (Side.left, Side.right)


@dataclass(frozen=True, kw_only=True)
class EndCut:
    """
    How far an end cut is off square. Positive: its left corner lies farther downstream. [mm]

    A panel that sweeps is cut by one shear across a strip that turns: its ends are told against the strip's own
    direction there, as far as its camber was measured, and else against the line from end to end.
    """

    finding: Finding
    off_chord: float
    """The same against the line from end to end, the mean direction of the two edges. [mm]"""
    ahead: Side | None
    """Edge whose corner lies farther downstream; None where neither does by more than U."""
    angle: float
    """[degrees]"""


@dataclass(frozen=True, kw_only=True)
class Square:
    """What the lengths between the corners tell."""

    corners: Corners
    lead: EndCut | None = None
    tail: EndCut | None = None
    both: EndCut | None = None
    """Mean of both ends; judged only where the ends are not told apart."""
    swept: Known | None = None
    """Left edge less right edge as the camber makes it, both ends cut alike; None where camber was not measured."""
    apart: Known | None = None
    """Left edge less right edge as measured, less `swept`: one end cut less the other. [mm]"""

    @property
    def contradicts(self) -> bool:
        """Whether the edges differ otherwise than the camber makes them, by more than U."""
        return self.swept is not None and self.apart is not None and abs(self.apart.value) > COVERAGE * self.apart.u


@dataclass(frozen=True, kw_only=True)
class Bent:
    """
    A curvature, or a share of one, with its height over a length.

    Attributes
    ----------
    curvature, u
        Positive with the centre toward the right edge, or above the panel for bow. [1/mm]
    over : float
        Length over which it was measured. [mm]
    toward : Side or None
        Where its centre lies: the hollow edge, for bow up (ends up) or down (middle up). None where no curvature is
        seen beyond U.
    """

    curvature: float
    u: float
    over: float
    toward: Side | None = None

    @property
    def height(self) -> float:
        """Height over that length, without sign. [mm]"""
        return abs(height_of(self.curvature, self.over))

    @property
    def height_u(self) -> float:
        """Its standard uncertainty: u of the curvature times length^2 / 8. [mm]"""
        return self.u * self.over**2 / 8

    @property
    def radius(self) -> float:
        """Radius of the edge; infinite where it is straight. [mm]"""
        return 1 / abs(self.curvature) if self.curvature else math.inf

    @property
    def seen(self) -> bool:
        """Whether it is there beyond its uncertainty."""
        return abs(self.curvature) > COVERAGE * self.u


@dataclass(frozen=True, kw_only=True)
class Curve(Bent):
    """
    Camber or bow: one curvature out of one or more sets of offsets.

    Attributes
    ----------
    of : Part
        Camber, bow, or the strip's camber.
    finding : Finding
        Height over the length that the limit names, or without a limit over the measured length. [mm]
    finding_over : float
        That length. [mm]
    sets : tuple of (Offsets, Arc)
        As measured.
    agree : bool
        Whether several sets tell one curvature to within their U.
    """

    of: Part
    finding: Finding
    finding_over: float
    sets: tuple[tuple[Offsets, Arc], ...] = ()
    agree: bool = True


@dataclass(frozen=True, kw_only=True)
class TwistFound:
    """Twist along the panel. Positive: the lead end has its left edge higher than the tail end. [degrees per m]"""

    finding: Finding
    higher: Side | None
    """Edge that is higher at the lead end, against the tail end; None where none is by more than U."""


@dataclass(frozen=True, kw_only=True)
class WaveFound:
    """One run of waves."""

    wave: Wave
    steepness: float
    i_units: float
    u: float
    finding: Finding
    """I-units against the user's number, or the height [mm] against a published limit of height."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PanelResult(Result):
    """What was found on one panel; None or empty where it was not measured."""

    panel: Panel
    square: Square | None = None
    camber: Curve | None = None
    bow: Curve | None = None
    strip: Curve | None = None
    brought: Bent | None = None
    """The strip's own curvature, over the length over which the panel's camber was measured."""
    added: Bent | None = None
    """Curvature of the panel less that of its strip: what came with forming."""
    twist: TwistFound | None = None
    waves: tuple[WaveFound, ...] = ()
    across: tuple[CrossSizes, ...] = ()
    lengths: dict[Side, Finding] = field(default_factory=dict)
    """Each edge against the nominal length."""
    flare: dict[Spot, Known] = field(default_factory=dict)
    """Width at the lead and the tail end less that at the middle. [mm]"""
    legs_differ: Steadiness | None = None
    """Left leg less right leg, along the panel."""
    girth: Steadiness | None = None
    """Width and both legs together, along the panel: the strip's own width, but for the bends."""

    @property
    def headline(self) -> str:
        """The verdict, or that there is none."""
        return str(self.verdict or "not judged")

    @property
    def findings(self) -> list[tuple[Where, Finding]]:
        """Everything judged or not, with what it is of and where, in the order in which it is told."""
        found: list[tuple[Where, Finding]] = []
        if self.square:
            ends: dict[Spot | None, EndCut | None] = {Spot.lead: self.square.lead, Spot.tail: self.square.tail}
            if not (self.square.lead and self.square.tail):
                ends[None] = self.square.both
            found += [(Where(part=Part.square, spot=spot), end.finding) for spot, end in ends.items() if end]
        found += [(Where(part=curve.of), curve.finding) for curve in self.curves]
        found += [(Where(part=Part.twist), self.twist.finding)] if self.twist else []
        found += [(Where(part=Part.waves, side=wave.wave.side), wave.finding) for wave in self.waves]
        found += [(Where(part=Part.length, side=side), finding) for side, finding in self.lengths.items()]
        for sizes in self.across:
            spot, place = sizes.across.spot, None if sizes.across.spot else sizes.across.place
            found += [(Where(part=Part.width, spot=spot, place=place), sizes.width)] if sizes.width else []
            found += [
                (Where(part=Part.leg, side=side, spot=spot, place=place), leg)
                for side, leg in zip(EDGES, sizes.legs, strict=True)
                if leg
            ]
        return found

    @property
    def judged(self) -> list[tuple[Where, Finding]]:
        """What has a verdict. The strip's own camber is not the panel's."""
        return [(at, f) for at, f in self.findings if f.verdict is not None and at.part is not Part.strip_camber]

    @property
    def curves(self) -> list[Curve]:
        """Camber, bow and the strip's camber, as far as measured."""
        return [curve for curve in (self.camber, self.bow, self.strip) if curve]

    @property
    def verdict(self) -> Verdict | None:
        """Worst verdict of all that is judged; None where nothing is. The strip's own camber is not the panel's."""
        judged = [f.verdict for _, f in self.judged if f.verdict is not None]
        return worst(judged) if judged else None
