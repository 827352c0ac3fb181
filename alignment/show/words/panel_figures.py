"""How the numbers of a panel are written, each to what its U makes of it, and what they are of."""

from __future__ import annotations

import math
from typing import Final

from alignment.lengths import Units, decimal, show
from alignment.panel.found import Bent, Curve, PanelResult, TwistFound, WaveFound
from alignment.panel.parts import Part, Side, Where
from alignment.panel.readings import Across, Panel
from alignment.show.words.phrases import unit_mark
from alignment.uncertainty import COVERAGE

__all__ = [
    "curve_of",
    "height_words",
    "length_words",
    "place_words",
    "radius_words",
    "size",
    "to_u",
    "toward_words",
    "twist_unit",
    "twist_words",
    "wave_words",
    "where_words",
    "with_u",
]

FOOT: Final = 304.8
BOWED: Final = {Side.up: "ends up", Side.down: "middle up"}
"""A bow by where its centre lies."""


def length_words(length: float, units: Units, *, signed: bool = False) -> str:
    """A length as a decimal with its unit. [mm]"""
    return f"{decimal(length, units, signed=signed)}{unit_mark(units)}"


def with_u(value: float, u: float, units: Units, *, signed: bool = False) -> str:
    """A length with its U, both as decimals. [mm]"""
    return f"{length_words(value, units, signed=signed)} (U {decimal(COVERAGE * u, units)})"


def size(length: float, units: Units) -> str:
    """A nominal length, or one read in whole marks: a whole number of millimetres without its tenth. [mm]"""
    return f"{show(length, units).removesuffix('.0')}{unit_mark(units)}"


def height_words(bent: Bent, units: Units) -> str:
    """A curvature as its height over a length."""
    return f"{with_u(bent.height, bent.height_u, units)} over {size(bent.over, units)}"


def toward_words(toward: Side | None, panel: Panel) -> str:
    """Where a curve is hollow: an edge by its name, or which way a bow goes; empty where none is seen."""
    if toward is None:
        return ""
    return BOWED[toward] if toward in BOWED else panel.edge(toward)


def place_words(across: Across, units: Units) -> str:
    """A place along the panel: by its name, or its length from the lead end."""
    return str(across.spot) if across.spot else size(across.place, units)


def where_words(where: Where, panel: Panel) -> str:
    """What a number is of, in a few words."""
    spot = str(where.spot) if where.spot else size(where.place, panel.units) if where.place is not None else ""
    edge = panel.edge(where.side) if where.side else ""
    return {
        Part.square: f"squareness of {spot} end" if spot else "squareness of ends",
        Part.strip_camber: "strip camber",
        Part.waves: f"waves, {edge} edge" if edge else "waves in pan",
        Part.length: f"{edge} edge length",
        Part.width: f"width at {spot}",
        Part.leg: f"{edge} leg at {spot}",
    }.get(where.part, str(where.part))


def curve_of(where: Where, result: PanelResult) -> Curve | None:
    """The curve that a number is the height of."""
    return next((curve for curve in result.curves if curve.of is where.part), None)


def radius_words(radius: float, units: Units) -> str:
    """A radius in feet or metres, to what matters of it. [mm]"""
    return f"{radius / FOOT:,.0f} ft" if units is Units.inch else f"{radius / 1000:,.0f} m"


def to_u(value: float, u: float) -> tuple[str, str]:
    """
    A number and its U, to the last digit that the U leaves worth telling.

    That is one digit of U, or two where the first is a 1 or a 2 (GUM 7.2.6: two at most).

    Examples
    --------
    >>> to_u(9.64, 4.93 / 2)
    ('10', '5')
    >>> to_u(0.0226, 0.0113 / 2)
    ('0.023', '0.011')
    """
    expanded = COVERAGE * u
    if not expanded > 0:
        return f"{value:g}", "0"
    power = math.floor(math.log10(expanded))
    digits = max(0, (1 if expanded / 10.0**power < 3 else 0) - power)
    return f"{value:.{digits}f}", f"{expanded:.{digits}f}"


def twist_unit(units: Units) -> tuple[float, str]:
    """What a twist in degrees per m is multiplied by to print it, and the unit that it then has."""
    return (FOOT / 1000, "degrees per ft") if units is Units.inch else (1.0, "degrees per m")


def twist_words(twist: TwistFound, units: Units) -> str:
    """A twist with its U, without its sign."""
    per, unit = twist_unit(units)
    value, u = to_u(abs(twist.finding.value) * per, twist.finding.u * per)
    return f"{value} (U {u}) {unit}"


def wave_words(wave: WaveFound) -> str:
    """A run of waves in I-units with its U."""
    value, u = to_u(wave.i_units, wave.u)
    return f"{value} I-units (U {u})"
