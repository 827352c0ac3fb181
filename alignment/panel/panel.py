"""
Working out a test panel from what was measured on it.

Directions are told by the lead end (out of the machine first), the tail end (out last) and the left and right edge of a
person who looks downstream.
"""

from __future__ import annotations

import math

import numpy as np

from alignment.errors import InputError, NotEnoughReadingsError, Problem
from alignment.fitting.arcs import fit_arc, height_of
from alignment.fitting.lines import fit_line
from alignment.panel.corners import Known, fit_corners
from alignment.panel.found import EDGES, Bent, Curve, EndCut, PanelResult, Square, TwistFound, WaveFound
from alignment.panel.limits import Bounds, Finding
from alignment.panel.parts import Part, Side, Spot
from alignment.panel.readings import Panel, Wave
from alignment.panel.waves import i_units, i_units_u, steepness
from alignment.panel.widths import cross_sizes, flare, girth, legs_differ
from alignment.quantiles import chi_square_point
from alignment.uncertainty import COVERAGE

__all__ = ["measure"]


def measure(panel: Panel) -> PanelResult:
    """
    Work out everything that was measured on a panel.

    Parameters
    ----------
    panel : Panel

    Returns
    -------
    PanelResult
        Lengths in millimetres, angles in radians.

    Raises
    ------
    InputError
        Lengths that no panel can have, or offsets that are no arc.

    Examples
    --------
    >>> import alignment
    >>> panel = alignment.read_panel(alignment.sample_folder() / "tray.toml")
    >>> alignment.measure(panel).panel.edges
    ('operator', 'drive')
    """
    camber, bow, strip = (_curve(panel, of) for of in (Part.camber, Part.bow, Part.strip_camber))
    brought = added = None
    if camber and strip:
        brought = Bent(curvature=strip.curvature, u=strip.u, over=camber.over, toward=strip.toward)
        more, u = camber.curvature - strip.curvature, math.hypot(camber.u, strip.u)
        added = Bent(curvature=more, u=u, over=camber.over, toward=_toward(Part.camber, more, u))
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
    try:
        corners = fit_corners(panel.lengths, length=panel.length, width=panel.width, u=panel.tape.u, swept=lean.value)
    except NotEnoughReadingsError as error:
        problem = Problem("[square]", f"no panel has these lengths: {error}. Check them, and [panel] width and length.")
        raise InputError(panel.source, "this panel cannot be worked out", [problem]) from None
    limit = panel.limits.get(Part.square)
    bounds = limit.bounds(size=panel.width) if limit else None

    def end(known: Known | None, bounds: Bounds | None, way: int) -> EndCut | None:
        if known is None:
            return None
        value, u = known.value - way * lean.value / 2, math.hypot(known.u, way * lean.u / 2)
        return EndCut(
            finding=Finding(value=value, u=u, bounds=bounds),
            off_chord=known.value,
            ahead=_edge(value, u),
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


def _edge(value: float, u: float) -> Side | None:
    """The left edge for a positive number, the right for a negative one; None where it is not seen."""
    return (Side.left if value > 0 else Side.right) if abs(value) > COVERAGE * u else None


def _edge_lengths(panel: Panel) -> dict[Side, Finding]:
    """Each edge as read, less the nominal length; the tape's zero enters here."""
    limit = panel.limits.get(Part.length)
    found = {}
    for side in EDGES:
        readings = panel.lengths.get(side)
        if readings:
            u = math.hypot(panel.tape.u / math.sqrt(len(readings)), panel.tape.zero)
            bounds = limit.bounds(size=panel.length) if limit else None
            found[side] = Finding(value=float(np.mean(readings)) - panel.length, u=u, bounds=bounds)
    return found


def _curve(panel: Panel, of: Part) -> Curve | None:
    """One curvature from all sets of offsets of a kind, weighted by their variances."""
    sets = []
    for number, offsets in enumerate(panel.offsets, 1):
        if offsets.of is not of:
            continue
        # gaps grow away from the line: toward the right edge from a line on the left, down from a line over
        left = (offsets.side is Side.left) == (offsets.line == "outside")
        sign = (-1 if offsets.line == "over" else 1) if of is Part.bow else (1 if left else -1)
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
        toward=_toward(of, curvature, u),
        finding=Finding(value=height_of(curvature, chord), u=u * chord**2 / 8, bounds=bounds),
        finding_over=chord,
        sets=tuple(sets),
        agree=agree,
    )


def _toward(of: Part, curvature: float, u: float) -> Side | None:
    """Where the centre of an arc lies; None where nothing is seen."""
    less, more = (Side.down, Side.up) if of is Part.bow else EDGES
    return (more if curvature > 0 else less) if abs(curvature) > COVERAGE * u else None


def _twist(panel: Panel) -> TwistFound | None:
    if panel.twist is None:
        return None
    corner = panel.twist.corner
    metres = panel.length / 1000
    if corner is not None:
        # a lifted lead corner on the left and a lifted tail corner on the right are one and the same twist
        sign = 1 if (corner.end is Spot.lead) == (corner.side is Side.left) else -1
        value = sign * math.degrees(math.atan2(corner.lift, panel.width)) / metres
        u = math.degrees(panel.rule.u / panel.width) / metres
    else:
        x = (panel.length - np.array(panel.twist.places)) / 1000
        line = fit_line(x, panel.twist.angles, u=panel.twist.angle_u)
        value, u = float(line.slope[0]), float(math.sqrt(line.slope_var[0]))
    limit = panel.limits.get(Part.twist)
    finding = Finding(value=value, u=u, bounds=limit.bounds() if limit else None)
    return TwistFound(finding=finding, higher=_edge(value, u))


def _wave(panel: Panel, wave: Wave) -> WaveFound:
    value = i_units(wave.height, wave.pitch)
    u = i_units_u(wave.height, wave.pitch, height_u=panel.rule.u, pitch_u=panel.tape.u)
    limit = panel.limits.get(Part.waves)
    finding = Finding(value=value, u=u)
    if limit:
        by_height = bool(limit.pitches)
        finding = Finding(
            value=wave.height if by_height else value,
            u=panel.rule.u if by_height else u,
            bounds=limit.bounds(size=wave.pitch),
        )
    return WaveFound(wave=wave, steepness=steepness(wave.height, wave.pitch), i_units=value, u=u, finding=finding)
