"""
Circular arcs from offsets to a straight line, and the height of an arc over a chord.

Curvature is positive where the ends lie farther along +y than the middle; its centre then lies on the +y side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.errors import NotEnoughReadingsError
from alignment.fitting import nonlinear
from alignment.quantiles import chi_square_point
from alignment.results import Result

__all__ = ["Arc", "fit_arc", "height_of"]

Floats = NDArray[np.float64]
SCATTER = 0.95
"""Chi-square beyond this point means that an edge is no arc to within its readings."""


def height_of(curvature: float, chord: float) -> float:
    """
    Height of an arc over a chord, with the sign of its curvature (1 / radius); units as given.

    A chord longer than the diameter has no arc over it; the height then stops at the radius.

    Examples
    --------
    >>> height_of(1 / 5, 8)
    2.0
    """
    half = min(abs(curvature) * chord / 2, 1.0)
    # 1 - sqrt(1 - q^2), written so that nothing is lost where the arc is flat
    return float(curvature * chord**2 / 4 / (1 + np.sqrt(1 - half**2)) if half < 1 else 1 / curvature)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Arc(Result):
    """
    An arc fitted to offsets.

    Attributes
    ----------
    curvature, u : float
        Signed, and its standard uncertainty, grown where the offsets scatter beyond it. [1/mm]
    over : float
        Length over which it was measured. [mm]
    x, y : (n,) array
        Places along the line and offsets as measured. [mm]
    fitted : (n,) array
        Offsets of the arc at those places. [mm]
    dof : int
        Of the fit.
    scattered : bool
        Whether the readings leave an arc by more than their uncertainty (95 %): ripple, or a slip.
    """

    curvature: float
    u: float
    over: float
    x: Floats
    y: Floats
    fitted: Floats
    dof: int
    scattered: bool

    @property
    def ripple(self) -> float:
        """Largest distance of an offset from the arc. [mm]"""
        return float(np.max(np.abs(self.y - self.fitted)))


def fit_arc(x: ArrayLike, y: ArrayLike, u: ArrayLike) -> Arc:
    """
    Fit a circular arc to offsets from a straight line, parabola to start.

    Parameters
    ----------
    x : (n,) array
        Places along the line. [mm]
    y : (n,) array
        Offsets square to the line. [mm]
    u : (n,) array
        Standard uncertainty of each offset. [mm]

    Raises
    ------
    NotEnoughReadingsError
        Fewer than three distinct places, or offsets that no arc can follow.
    """
    place, offset, sigma = (np.asarray(a, dtype=np.float64) for a in (x, y, u))
    if len(set(np.round(place, 6).tolist())) < 3:
        raise NotEnoughReadingsError("an arc needs offsets at three places at least")
    middle, half = (place.max() + place.min()) / 2, (place.max() - place.min()) / 2
    t = (place - middle) / half

    def offsets(unknowns: Floats) -> Floats:
        # lengths over the half length: distance at the middle, slope there, curvature
        a, slope, bend = unknowns
        cos, sin = 1 / np.hypot(1, slope), slope / np.hypot(1, slope)
        # the circle through (0, a) with that slope, solved for y without losing digits where it is flat
        rise = bend * t**2 + 2 * t * sin
        return np.asarray(half * (a + rise / (cos + np.sqrt(np.maximum(cos**2 - bend * rise, 0)))))

    square, slope, a = np.polyfit(t, offset / half, 2, w=1 / sigma)
    if abs(square) > 0.5:
        raise NotEnoughReadingsError("offsets this large against their length are no arc of a panel")
    found = nonlinear.fit(offsets, [a, slope, 2 * square], offset, sigma)
    scattered = found.dof > 0 and found.chi2 > float(chi_square_point(found.dof, SCATTER))
    grown = np.sqrt(max(found.chi2 / found.dof, 1.0)) if scattered else 1.0
    return Arc(
        curvature=float(found.unknowns[2] / half),
        u=float(grown * np.sqrt(found.covariance[2, 2]) / half),
        over=float(2 * half),
        x=place,
        y=offset,
        fitted=offsets(found.unknowns),
        dof=found.dof,
        scattered=bool(scattered),
    )
