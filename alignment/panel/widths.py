"""
Sizes across a panel, place by place: widths, flare, and what the legs say of where the strip ran.

Legs that differ alike all along mean a strip off centre, a difference that changes a strip that wandered, and a girth
that changes a strip of changing width: all three by geometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from alignment.panel.corners import Known
from alignment.panel.limits import Finding
from alignment.panel.parts import Part, Spot
from alignment.panel.readings import Across, Panel
from alignment.quantiles import chi_square_point

__all__ = ["CrossSizes", "Steadiness", "cross_sizes", "flare", "girth", "legs_differ"]


@dataclass(frozen=True, kw_only=True)
class Steadiness:
    """Numbers that should be one along the panel. [mm]"""

    mean: Known
    count: int
    chi2: float
    """Sum of squared differences from the mean over the squared uncertainty of one."""
    spread: Known
    """Largest less smallest, with the uncertainty of a difference of two."""

    @property
    def changes(self) -> bool:
        """Whether they scatter more than their uncertainty explains (chi-square, 95 %)."""
        return self.scatters(0.95)

    def scatters(self, probability: float) -> bool:
        """Whether their chi-square is beyond a point that steady numbers stay below with this probability."""
        return self.count > 1 and self.chi2 > float(chi_square_point(self.count - 1, probability))


@dataclass(frozen=True, kw_only=True)
class CrossSizes:
    """Sizes across the panel at one place, each less the nominal one. [mm]"""

    across: Across
    width: Finding | None
    legs: tuple[Finding | None, Finding | None]


def cross_sizes(panel: Panel, across: Across) -> CrossSizes:
    """Width and legs at one place, judged against the nominal ones."""
    width = None
    if across.width is not None:
        limit = panel.limits.get(Part.width)
        bounds = limit.bounds() if limit else None
        width = Finding(value=across.width - panel.width, u=math.hypot(panel.tape.u, panel.tape.zero), bounds=bounds)
    limit = panel.limits.get(Part.leg)
    bounds = limit.bounds() if limit else None
    legs = [
        None if leg is None or panel.leg is None else Finding(value=leg - panel.leg, u=panel.rule.u, bounds=bounds)
        for leg in across.legs
    ]
    return CrossSizes(across=across, width=width, legs=(legs[0], legs[1]))


def flare(panel: Panel) -> dict[Spot, Known]:
    """Width at the lead and the tail end less that at the middle; empty without a width at the middle. [mm]"""
    widths = {across.spot: across.width for across in panel.across if across.width is not None}
    middle = widths.get(Spot.middle)
    if middle is None:
        return {}
    u = panel.tape.u * math.sqrt(2)
    return {end: Known(value=widths[end] - middle, u=u) for end in (Spot.lead, Spot.tail) if end in widths}


def legs_differ(panel: Panel) -> Steadiness | None:
    """Left leg less right leg, along the panel."""
    pairs = [across.legs for across in panel.across]
    found = [left - right for left, right in pairs if left is not None and right is not None]
    return _steadiness(found, math.sqrt(2) * panel.rule.u)


def girth(panel: Panel) -> Steadiness | None:
    """Width and both legs together, along the panel: the strip's own width, but for the bends."""
    found = [
        across.width + across.legs[0] + across.legs[1]
        for across in panel.across
        if across.width is not None and across.legs[0] is not None and across.legs[1] is not None
    ]
    return _steadiness(found, math.hypot(panel.tape.u, math.sqrt(2) * panel.rule.u))


def _steadiness(values: list[float], u: float) -> Steadiness | None:
    """Mean of numbers along the panel, each with standard uncertainty u, and whether they are one."""
    if not values:
        return None
    found = np.array(values)
    mean = Known(value=float(found.mean()), u=u / math.sqrt(len(found)))
    return Steadiness(
        mean=mean,
        count=len(found),
        chi2=float(np.sum(((found - mean.value) / u) ** 2)),
        spread=Known(value=float(np.ptp(found)), u=u * math.sqrt(2)),
    )
