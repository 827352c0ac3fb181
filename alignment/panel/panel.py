"""
The test panel: square, camber, bow, twist, waves and sizes across, each with its uncertainty and verdict.

Directions are told by the lead end (out of the machine first), the tail end (out last) and the edges, which are named
after the machine's rows. A panel sweeps toward the edge that is hollow, which is its shorter edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from alignment.errors import InputError, NotEnoughReadingsError, Problem
from alignment.fitting.arcs import Arc, fit_arc, height_of
from alignment.fitting.lines import fit_line
from alignment.panel.corners import Corners, Known, fit_corners
from alignment.panel.limits import Bounds, Finding
from alignment.panel.readings import Offsets, Panel, Wave
from alignment.panel.waves import i_units, i_units_u, steepness
from alignment.panel.widths import CrossSizes, Steadiness, cross_sizes, flare, girth, legs_differ
from alignment.uncertainty import COVERAGE, Verdict, chi_square_point, worst

__all__ = ["Bent", "Curve", "EndCut", "PanelResult", "Square", "TwistFound", "WaveFound", "measure"]


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
    ahead: str
    """Edge whose corner lies farther downstream; empty where neither does by more than U."""
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
    toward : str
        The hollow edge; for bow ``ends up`` or ``middle up``. Empty where no curvature is seen beyond U.
    """

    curvature: float
    u: float
    over: float
    toward: str = ""

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
    of : str
        ``camber``, ``bow`` or ``strip``.
    finding : Finding
        Height over the length that the limit names, or without a limit over the measured length. [mm]
    finding_over : float
        That length. [mm]
    sets : tuple of (Offsets, Arc)
        As measured.
    agree : bool
        Whether several sets tell one curvature to within their U.
    """

    of: str
    finding: Finding
    finding_over: float
    sets: tuple[tuple[Offsets, Arc], ...] = ()
    agree: bool = True


@dataclass(frozen=True, kw_only=True)
class TwistFound:
    """Twist along the panel. Positive: the lead end has its left edge higher than the tail end. [degrees per m]"""

    finding: Finding
    higher: str
    """Edge that is higher at the lead end, against the tail end; empty where none is by more than U."""


@dataclass(frozen=True, kw_only=True)
class WaveFound:
    """One run of waves."""

    wave: Wave
    steepness: float
    i_units: float
    u: float
    finding: Finding
    """I-units against the user's number, or the height [mm] against a published limit of height."""


@dataclass(frozen=True, kw_only=True)
class PanelResult:
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
    lengths: dict[str, Finding] = field(default_factory=dict)
    """Edges by name, against the nominal length."""
    flare: dict[str, Known] = field(default_factory=dict)
    """Width at ``lead`` and ``tail`` less that at the middle. [mm]"""
    legs_differ: Steadiness | None = None
    """Left leg less right leg, along the panel."""
    girth: Steadiness | None = None
    """Width and both legs together, along the panel: the strip's own width, but for the bends."""

    @property
    def findings(self) -> list[tuple[str, Finding]]:
        """Everything judged or not, by its name, in the order in which it is told."""
        found: list[tuple[str, Finding]] = []
        if self.square:
            ends = {"squareness of lead end": self.square.lead, "squareness of tail end": self.square.tail}
            if not (self.square.lead and self.square.tail):
                ends["squareness of ends"] = self.square.both
            found += [(name, end.finding) for name, end in ends.items() if end]
        found += [(c.of if c.of != "strip" else "strip camber", c.finding) for c in self.curves]
        found += [("twist", self.twist.finding)] if self.twist else []
        found += [(f"waves in {wave.wave.where}", wave.finding) for wave in self.waves]
        found += [(f"{edge} edge length", finding) for edge, finding in self.lengths.items()]
        for place in self.across:
            found += [(f"width at {place.across.name}", place.width)] if place.width else []
            found += [
                (f"{edge} leg at {place.across.name}", leg)
                for edge, leg in zip(self.panel.edges, place.legs, strict=True)
                if leg
            ]
        return found

    @property
    def curves(self) -> list[Curve]:
        """Camber, bow and the strip's camber, as far as measured."""
        return [curve for curve in (self.camber, self.bow, self.strip) if curve]

    @property
    def verdict(self) -> Verdict | None:
        """Worst verdict of all that is judged; None where nothing is. The strip's own camber is not the panel's."""
        judged = [f.verdict for name, f in self.findings if f.verdict is not None and name != "strip camber"]
        return worst(judged) if judged else None


def measure(panel: Panel) -> PanelResult:
    """
    Work out everything that was measured on a panel.

    Parameters
    ----------
    panel : Panel

    Raises
    ------
    InputError
        Offsets that are no arc.
    """
    camber, bow, strip = (_curve(panel, of) for of in ("camber", "bow", "strip"))
    brought = added = None
    if camber and strip:
        brought = Bent(curvature=strip.curvature, u=strip.u, over=camber.over, toward=strip.toward)
        more, u = camber.curvature - strip.curvature, math.hypot(camber.u, strip.u)
        added = Bent(curvature=more, u=u, over=camber.over, toward=_toward(panel, "camber", more, u))
    return PanelResult(
        panel=panel,
        square=_square(panel, camber),
        camber=camber,
        bow=bow,
        strip=strip,
        brought=brought,
        added=added,
        twist=_twist(panel),
        waves=tuple(_wave(panel, wave) for wave in panel.waves),
        across=tuple(cross_sizes(panel, place) for place in panel.across),
        lengths=_edge_lengths(panel),
        flare=flare(panel),
        legs_differ=legs_differ(panel),
        girth=girth(panel),
    )


def _square(panel: Panel, camber: Curve | None) -> Square | None:
    """
    Squareness from the lengths between the corners, and the camber.

    A strip of width w that sweeps with the curvature k over the length L turns by k L; cut square to itself at both
    ends, its edges differ by w k L, and against the line from end to end each end lies askew by half of that.
    """
    if not panel.lengths:
        return None
    swept = None
    if camber:
        turn = panel.width * panel.length
        swept = Known(value=camber.curvature * turn, u=camber.u * turn)
    lean = swept or Known(value=0.0, u=0.0)
    corners = fit_corners(panel.lengths, length=panel.length, width=panel.width, u=panel.tape.u, swept=lean.value)
    limit = panel.limits.get("square")
    bounds = limit.bounds(size=panel.width) if limit else None

    def end(known: Known | None, bounds: Bounds | None, way: int) -> EndCut | None:
        if known is None:
            return None
        value, u = known.value - way * lean.value / 2, math.hypot(known.u, way * lean.u / 2)
        return EndCut(
            finding=Finding(value=value, u=u, bounds=bounds),
            off_chord=known.value,
            ahead=panel.edges[0 if value > 0 else 1] if abs(value) > COVERAGE * u else "",
            angle=math.degrees(math.atan2(value, panel.width)),
        )

    told = corners.lead is not None and corners.tail is not None
    apart = None
    if corners.edges:
        apart = Known(value=corners.edges.value - lean.value, u=math.hypot(corners.edges.u, lean.u))
    return Square(
        corners=corners,
        lead=end(corners.lead, bounds, 1),
        tail=end(corners.tail, bounds, -1),
        both=end(corners.both, None if told else bounds, 0),
        swept=swept,
        apart=apart,
    )


def _edge_lengths(panel: Panel) -> dict[str, Finding]:
    """Each edge as read, less the nominal length; the tape's zero enters here."""
    limit = panel.limits.get("length")
    found = {}
    for side, edge in zip(("left", "right"), panel.edges, strict=True):
        readings = panel.lengths.get(side)
        if readings:
            u = math.hypot(panel.tape.u / math.sqrt(len(readings)), panel.tape.zero)
            bounds = limit.bounds(size=panel.length) if limit else None
            found[edge] = Finding(value=float(np.mean(readings)) - panel.length, u=u, bounds=bounds)
    return found


def _curve(panel: Panel, of: str) -> Curve | None:
    """One curvature from all sets of offsets of a kind, weighted by their variances."""
    sets = []
    for number, offsets in enumerate(panel.offsets, 1):
        if offsets.of != of:
            continue
        # gaps grow away from the line: toward the right edge from a line on the left, down from a line over
        left = (offsets.edge == panel.edges[0]) == (offsets.line == "outside")
        sign = (-1 if offsets.line == "over" else 1) if of == "bow" else (1 if left else -1)
        y = sign * np.array(offsets.readings)
        x = panel.length - np.array(offsets.places)
        try:
            sets.append((offsets, fit_arc(x, y, np.full(len(x), panel.rule.u))))
        except NotEnoughReadingsError as error:
            problem = Problem(f"[[offsets]] {number}", f"{error}. Check places and readings.")
            raise InputError(panel.source, "this panel cannot be worked out", [problem]) from None
    if not sets:
        return None
    bend, us = (np.array([getattr(arc, name) for _, arc in sets]) for name in ("curvature", "u"))
    weight = us**-2 / np.sum(us**-2)
    curvature, u = float(weight @ bend), float(np.sum(us**-2) ** -0.5)
    odd = float(np.sum(((bend - curvature) / us) ** 2))
    agree = len(sets) == 1 or odd <= float(chi_square_point(len(sets) - 1, 0.95))
    if not agree:
        u *= math.sqrt(max(odd / (len(sets) - 1), 1.0))
    over = max(arc.over for _, arc in sets)
    limit = panel.limits.get(of)
    allowed = limit.for_arc(panel.length) if limit and limit.covers(panel.strip_width) else None
    chord = allowed[1] if allowed else over
    bounds = Bounds(limit=limit, lower=-allowed[0], upper=allowed[0]) if limit and allowed else None
    return Curve(
        of=of,
        curvature=curvature,
        u=u,
        over=over,
        toward=_toward(panel, of, curvature, u),
        finding=Finding(value=height_of(curvature, chord), u=u * chord**2 / 8, bounds=bounds),
        finding_over=chord,
        sets=tuple(sets),
        agree=agree,
    )


def _toward(panel: Panel, of: str, curvature: float, u: float) -> str:
    """The hollow edge, or the way of a bow; empty where nothing is seen."""
    words = ("middle up", "ends up") if of == "bow" else panel.edges
    return words[1 if curvature > 0 else 0] if abs(curvature) > COVERAGE * u else ""


def _twist(panel: Panel) -> TwistFound | None:
    if panel.twist is None:
        return None
    corner = panel.twist.corner
    metres = panel.length / 1000
    if corner is not None:
        # a lifted lead corner on the left and a lifted tail corner on the right are one and the same twist
        sign = 1 if (corner.end == "lead") == (corner.edge == panel.edges[0]) else -1
        value = sign * math.degrees(math.atan2(corner.lift, panel.width)) / metres
        u = math.degrees(panel.rule.u / panel.width) / metres
    else:
        x = (panel.length - np.array(panel.twist.places)) / 1000
        line = fit_line(x, panel.twist.angles, u=panel.twist.angle_u)
        value, u = float(line.slope[0]), float(math.sqrt(line.slope_var[0]))
    limit = panel.limits.get("twist")
    finding = Finding(value=value, u=u, bounds=limit.bounds() if limit else None)
    seen = abs(value) > COVERAGE * u
    return TwistFound(finding=finding, higher=panel.edges[0 if value > 0 else 1] if seen else "")


def _wave(panel: Panel, wave: Wave) -> WaveFound:
    value = i_units(wave.height, wave.pitch)
    u = i_units_u(wave.height, wave.pitch, height_u=panel.rule.u, pitch_u=panel.tape.u)
    limit = panel.limits.get("waves")
    finding = Finding(value=value, u=u)
    if limit:
        by_height = bool(limit.pitches)
        finding = Finding(
            value=wave.height if by_height else value,
            u=panel.rule.u if by_height else u,
            bounds=limit.bounds(size=wave.pitch),
        )
    return WaveFound(wave=wave, steepness=steepness(wave.height, wave.pitch), i_units=value, u=u, finding=finding)
