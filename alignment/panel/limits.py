"""
Limits that a panel is judged by: published ones chosen by name from a table, or the user's own numbers.

A limit is always shown with its source. What the table does not say is not judged.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

from alignment.errors import nearest, quote
from alignment.files.keys import Keys
from alignment.lengths import Units, parse, show_exact
from alignment.panel.parts import Part
from alignment.uncertainty import SAME, Verdict, conformance_probability, verdict

__all__ = ["ARCS", "OWN", "Bounds", "Finding", "Limit", "catalogue", "choose"]

OWN: Final = "own"
ARCS: Final = (Part.camber, Part.bow, Part.strip_camber)
"""What is measured as an arc."""
TWISTS: Final = {"deg/m": 1.0, "deg/ft": 1 / 0.3048}
"""What a limit on twist may be written in, in degrees per m; a bare number is degrees per m."""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One limit; which of its numbers are set depends on what it judges. Lengths in millimetres."""

    name: str
    says: str
    origin: str
    """Where it is published, or the file in which the user gave it."""
    checked: str
    """``yes``, ``secondary``, ``memory``, or ``own`` for the user's number."""
    judges: tuple[Part, ...]
    height: float = math.nan
    over: float = math.nan
    grows: str = ""
    most: float = math.inf
    share: float = math.nan
    above: float = 0.0
    rows: tuple[tuple[float, ...], ...] = ()
    pitches: tuple[tuple[float, ...], ...] = ()
    number: float = math.nan
    """The user's own number, in the unit of what it judges."""
    widths: tuple[float, float] = (0.0, math.inf)
    """Strip narrower or wider than this is not spoken of. [mm]"""
    given_for: str = ""
    """The kind of thing it is published for, where it is one that a panel may not be."""

    def covers(self, strip_width: float) -> bool:
        """Whether the limit speaks of strip of this width. [mm]"""
        return self.widths[0] - SAME <= strip_width <= self.widths[1] + SAME

    def for_arc(self, length: float) -> tuple[float, float]:
        """Height that a limit of arcs allows and the length over which it is taken, for a panel of this length. [mm]"""
        if self.grows == "line":
            return min(self.height / self.over * length, self.most), length
        return self.height, self.over

    def bounds(self, *, size: float = math.nan) -> Bounds | None:
        """
        Allowed interval of anything but an arc; None where the limit says nothing of a thing of this size.

        Parameters
        ----------
        size : float
            What the limit hangs on: the width for squareness, the nominal length for lengths, the pitch for waves.
        """
        if not math.isnan(self.number):
            return Bounds(limit=self, lower=-self.number, upper=self.number)
        if not math.isnan(self.share):
            return Bounds(limit=self, lower=-self.share * size, upper=self.share * size)
        for to, less, more in self.rows:
            if self.above < size <= to:
                return Bounds(limit=self, lower=-less, upper=more)
        for above, to, height in self.pitches:
            if above < size <= to:
                return Bounds(limit=self, lower=-height, upper=height)
        return None


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """An allowed interval and the limit that it comes from, in the unit of what is judged."""

    limit: Limit
    lower: float
    upper: float


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A number found on a panel with its standard uncertainty, judged where a limit was chosen that speaks of it."""

    value: float
    u: float
    bounds: Bounds | None = None

    @property
    def verdict(self) -> Verdict | None:
        """Within the limit or out, sure or not; None where there is nothing to judge by."""
        if self.bounds is None:
            return None
        middle = (self.bounds.lower + self.bounds.upper) / 2
        return verdict(self.value - middle, self.u, self.bounds.upper - middle)

    @property
    def p_in(self) -> float | None:
        """Probability of being within the limit."""
        if self.bounds is None:
            return None
        return conformance_probability(self.value, self.u, lower=self.bounds.lower, upper=self.bounds.upper)


@lru_cache
def catalogue() -> Mapping[str, Limit]:
    """Published limits by name, from the table that is shipped with the package."""
    text = files("alignment.panel").joinpath("limits.toml").read_text(encoding="utf-8")
    return MappingProxyType({table["name"]: _limit(table) for table in tomllib.loads(text)["limit"]})


def choose(keys: Keys, source: str) -> dict[Part, Limit]:
    """
    Limits chosen in a file, by what they judge: each a name from the table, or the user's own number.

    Parameters
    ----------
    keys : Keys
        The table ``[limits]``; what is wrong in it is noted there.
    source : str
        Name of the file.
    """
    found: dict[Part, Limit | None] = {}
    for what in ARCS:
        found[what] = _arc_limit(keys, what, source)
    for what in (Part.square, Part.length, Part.width, Part.leg):
        found[what] = _number_limit(keys, what, source)
    for what, unit in ((Part.twist, "degrees per m"), (Part.waves, "I-units")):
        value = keys.table.get(what)
        if what is Part.twist and isinstance(value, str):
            per_m = keys.quantity(what, TWISTS)
            found[what] = _own_number(what, per_m, f"{value.strip()}", source) if per_m else None
        elif isinstance(value, str):
            found[what] = _named(keys, what, keys.take(what))
        elif what in keys.table:
            number = keys.number(what, math.nan, least=1e-6, most=1e6)
            found[what] = _own_number(what, number, f"{number:g} {unit}", source)
        else:
            keys.take(what)
    keys.finish()
    return {what: limit for what, limit in found.items() if limit is not None}


def _named(keys: Keys, what: Part, name: str) -> Limit | None:
    known = [n for n, limit in catalogue().items() if what in limit.judges]
    if name in known:
        return catalogue()[name]
    keys.wrong(what, f"{quote(name)} is no published limit for this.{nearest(name, known)} Or write your own number.")
    return None


def _arc_limit(keys: Keys, what: Part, source: str) -> Limit | None:
    value = keys.take(what)
    if value is None:
        return None
    if isinstance(value, dict):
        own = Keys(value, f"{keys.where} {what}", keys.problems, keys.units)
        height = own.length("height", required=True, positive=True)
        over = own.length("over", required=True, positive=True)
        own.finish()
        return None if math.isnan(height + over) else _own_arc(what, height, over, keys.units, source)
    if isinstance(value, str):
        return _named(keys, what, value)
    keys.wrong(what, f'{quote(value)} is no limit. Write a name, or {{ height = "1/4", over = "96" }}.')
    return None


def _number_limit(keys: Keys, what: Part, source: str) -> Limit | None:
    value: Any = keys.table.get(what)
    if isinstance(value, str) and re.match(r"[a-z]", value.strip().lower()):
        return _named(keys, what, keys.take(what))
    number = keys.length(what, positive=True)
    if math.isnan(number):
        return None
    return _own_number(what, number, _told(number, keys.units), source)


def _own_number(what: Part, number: float, says: str, source: str) -> Limit:
    """Limit that the user set as one number, plus or minus."""
    return Limit(name=OWN, says=says, origin=f"own number, {source}", checked=OWN, judges=(what,), number=number)


def _own_arc(what: Part, height: float, over: float, units: Units, source: str) -> Limit:
    """Limit that the user set as a height over a length; over another length it grows with its square. [mm]"""
    return Limit(
        name=OWN,
        says=f"{_told(height, units)} over {_told(over, units)}",
        origin=f"own number, {source}",
        checked=OWN,
        judges=(what,),
        height=height,
        over=over,
        grows="square",
    )


def _told(length: float, units: Units) -> str:
    """The user's own length with its unit, none of it rounded away. [mm]"""
    return f"{show_exact(length, units).removesuffix('.0')} {units}"


def _limit(table: dict[str, Any]) -> Limit:
    def length(value: str) -> float:
        return float(parse(value, Units.mm))

    numbers: dict[str, Any] = {key: length(table[key]) for key in ("height", "over", "most", "above") if key in table}
    rows: dict[str, Any] = {
        key: tuple(tuple(map(length, row)) for row in table[key]) for key in ("rows", "pitches") if key in table
    }
    if "widths" in table:
        numbers["widths"] = tuple(map(length, table["widths"]))
    return Limit(
        name=table["name"],
        says=table["says"],
        origin=table["source"],
        checked=table["checked"],
        judges=tuple(map(Part, table["judges"])),
        grows=table.get("grows", ""),
        given_for=table.get("given_for", ""),
        share=table.get("share", math.nan),
        **numbers,
        **rows,
    )
