"""
The test panel: square, camber, bow, twist, waves and sizes across, each with its uncertainty and verdict.

Directions are told by the lead end (out of the machine first), the tail end (out last) and the edges, which are named
after the machine's rows. A panel sweeps toward the edge that is hollow, which is its shorter edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from alignment.arcs import Arc, fit_arc
from alignment.crosswise import CrossSizes, Steadiness, cross_sizes, flare, girth, legs_differ
from alignment.errors import InputError, NotEnoughReadingsError, Problem
from alignment.leastsq import fit_line
from alignment.limits import Bounds, Finding
from alignment.panel_file import parse_panel, template
from alignment.panel_readings import Offsets, Panel, Wave
from alignment.quadrilateral import Corners, Known, fit_corners
from alignment.uncertainty import COVERAGE, Verdict, chi_square_point, worst
from alignment.waves import i_units, i_units_u, steepness

__all__ = [
    "CrossSizes",
    "Curve",
    "EndCut",
    "PanelResult",
    "Square",
    "Steadiness",
    "TwistFound",
    "WaveFound",
    "measure",
    "parse_panel",
    "template",
]


@dataclass(frozen=True, kw_only=True)
class EndCut:
    """How far an end cut is off square to the edges. Positive: its left corner lies farther downstream. [mm]"""

    finding: Finding
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


@dataclass(frozen=True, kw_only=True)
class Curve:
    """
    Camber or bow: one curvature out of one or more sets of offsets, signed as said in `toward`.

    Attributes
    ----------
    of : str
        ``camber``, ``bow`` or ``strip``.
    curvature, u
        Positive with the centre toward the right edge, or above the panel for bow. [1/mm]
    over : float
        Length over which it was measured. [mm]
    toward : str
        The hollow edge; for bow ``ends up`` or ``middle up``. Empty where no curvature is seen beyond U.
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
    curvature: float
    u: float
    over: float
    toward: str
    finding: Finding
    finding_over: float
    sets: tuple[tuple[Offsets, Arc], ...] = ()
    agree: bool = True

    @property
    def height(self) -> float:
        """Height over the measured length, without sign. [mm]"""
        return abs(self._mean.height())

    @property
    def height_u(self) -> float:
        """Its standard uncertainty. [mm]"""
        return self._mean.height_u()

    @property
    def radius(self) -> float:
        """Radius of the edge; infinite where it is straight. [mm]"""
        return 1 / abs(self.curvature) if self.curvature else math.inf

    @property
    def seen(self) -> bool:
        """Whether it is there beyond its uncertainty."""
        return abs(self.curvature) > COVERAGE * self.u

    @property
    def _mean(self) -> Arc:
        return replace(self.sets[0][1], curvature=self.curvature, u=self.u, over=self.over)


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
    added: Known | None = None
    """Curvature of the panel less that of its strip: what the machine and its set-up added. [1/mm]"""
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
    added = None
    if camber and strip:
        added = Known(value=camber.curvature - strip.curvature, u=math.hypot(camber.u, strip.u))
    square = _square(panel)
    return PanelResult(
        panel=panel,
        square=square,
        camber=camber,
        bow=bow,
        strip=strip,
        added=added,
        twist=_twist(panel),
        waves=tuple(_wave(panel, wave) for wave in panel.waves),
        across=tuple(cross_sizes(panel, place) for place in panel.across),
        lengths=_edge_lengths(panel),
        flare=flare(panel),
        legs_differ=legs_differ(panel),
        girth=girth(panel),
    )


def _square(panel: Panel) -> Square | None:
    if not panel.lengths:
        return None
    corners = fit_corners(panel.lengths, length=panel.length, width=panel.width, u=panel.tape.u)
    limit = panel.limits.get("square")
    bounds = limit.bounds(size=panel.width) if limit else None

    def end(known: Known | None, bounds: Bounds | None) -> EndCut | None:
        if known is None:
            return None
        seen = abs(known.value) > COVERAGE * known.u
        return EndCut(
            finding=Finding(value=known.value, u=known.u, bounds=bounds),
            ahead=panel.edges[0 if known.value > 0 else 1] if seen else "",
            angle=math.degrees(math.atan2(known.value, panel.width)),
        )

    apart = corners.lead is not None and corners.tail is not None
    return Square(
        corners=corners,
        lead=end(corners.lead, bounds),
        tail=end(corners.tail, bounds),
        both=end(corners.both, None if apart else bounds),
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
    allowed = limit.for_arc(panel.length) if limit else None
    chord = allowed[1] if allowed else over
    mean = replace(sets[0][1], curvature=curvature, u=u)
    bounds = Bounds(limit=limit, lower=-allowed[0], upper=allowed[0]) if limit and allowed else None
    words = ("middle up", "ends up") if of == "bow" else panel.edges
    return Curve(
        of=of,
        curvature=curvature,
        u=u,
        over=over,
        toward=words[1 if curvature > 0 else 0] if abs(curvature) > COVERAGE * u else "",
        finding=Finding(value=mean.height(chord), u=mean.height_u(chord), bounds=bounds),
        finding_over=chord,
        sets=tuple(sets),
        agree=agree,
    )


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
