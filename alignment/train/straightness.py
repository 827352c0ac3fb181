"""
Straightness of a row of faces: how wide a straight lane must be to hold them all.

Neither shift nor slope of the line that deviations are taken from matters to it, so that a string hung askew does not.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.quantiles import normal_point
from alignment.train.train import Train

__all__ = ["RowStraightness", "Zone", "least_squares_straightness", "minimum_zone", "straightness"]

FALSE_ALARM: Final = 0.05
"""Chance with which a straight row is given a straightness that stands out from its readings, at the most."""


class Zone(NamedTuple):
    """
    The narrowest lane between two parallel lines that holds all points.

    Attributes
    ----------
    width : float
        Across the lane in the direction of y; half of it is the error of the minimax line.
    carriers : (int, int, int)
        The points that decide it, in the order of x: the middle one on one edge, its two neighbours on the other.
    """

    width: float
    carriers: tuple[int, int, int]


class RowStraightness(NamedTuple):
    """
    How straight the section ends of one row lie. [mm]

    Attributes
    ----------
    row : str
    minimum_zone : float
        Width of the narrowest lane that holds the deviations of all section ends.
    least_squares : float
        Highest to lowest of them about their least-squares line; never less.
    u : float or None
        Standard uncertainty of ``minimum_zone``; None where reading errors alone could make as much, for then the
        figure is no estimate of a form but of those errors.
    over : float
        From the first section end to the last.
    """

    row: str
    minimum_zone: float
    least_squares: float
    u: float | None
    over: float


def minimum_zone(x: ArrayLike, y: ArrayLike) -> Zone:
    """
    Minimum-zone straightness of points, the deviation from the minimax (Chebyshev) line.

    Exact: the lane lies along an edge of the points' convex hull, and touches the point farthest from that edge.

    Parameters
    ----------
    x, y : (n,) array
        Three points or more at two places at least. Slopes are small, so that widths are taken along y.

    References
    ----------
    .. [1] ISO 12780-1 and ISO 1101: straightness, minimum zone (from memory, clauses not at hand).
    """
    place, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    best = Zone(np.inf, (0, 0, 0))
    for side in (1.0, -1.0):
        hull = _lower_hull(place, side * value)
        for i, j in pairwise(hull):
            slope = (value[j] - value[i]) / (place[j] - place[i])
            above = side * (value - value[i] - slope * (place - place[i]))
            k = int(np.argmax(above))
            if above[k] < best.width:
                best = Zone(float(above[k]), (i, k, j))
    return best


def _lower_hull(x: NDArray[np.float64], y: NDArray[np.float64]) -> list[int]:
    """Points of the convex hull that nothing lies below, in the order of x (monotone chain)."""
    hull: list[int] = []
    for k in (int(k) for k in np.lexsort((y, x))):
        if hull and x[hull[-1]] == x[k]:
            continue
        while len(hull) > 1:
            i, j = hull[-2:]
            if (x[j] - x[i]) * (y[k] - y[i]) > (y[j] - y[i]) * (x[k] - x[i]):
                break
            hull.pop()
        hull.append(k)
    return hull


def least_squares_straightness(x: ArrayLike, y: ArrayLike) -> float:
    """Highest to lowest of points about their least-squares line (ISO 12780-1, from memory)."""
    place, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    across = place - place.mean()
    return float(np.ptp(value - across * (across @ value) / (across @ across)))


def straightness(train: Train) -> tuple[RowStraightness, ...]:
    """Straightness of every row with two measured sections or more, setbacks taken off."""
    entry, exit_ = train.ends
    found = []
    for name in train.layout.rows:
        members = np.flatnonzero([s.row == name for s in train.layout.sections] & train.measured)
        if len(members) < 2:
            continue
        section = np.repeat(members, 2)
        x = np.stack([train.start, train.start + train.length], axis=1)[members].ravel()
        y = np.stack([entry.value, exit_.value], axis=1)[members].ravel()
        zone = minimum_zone(x, y)
        i, k, j = zone.carriers
        share = (x[k] - x[i]) / (x[j] - x[i])
        parts = zip(section[[i, k, j]].tolist(), x[[i, k, j]].tolist(), (share - 1, 1.0, -share), strict=True)
        _, u = train.combine(list(parts))
        # the zone is the widest that any three points ask for (Bonferroni)
        stands_out = zone.width > u * normal_point(1 - FALSE_ALARM / (2 * math.comb(len(x), 3)))
        found.append(
            RowStraightness(
                row=name,
                minimum_zone=zone.width,
                least_squares=least_squares_straightness(x, y),
                u=u if stands_out else None,
                over=float(x.max() - x.min()),
            )
        )
    return tuple(found)
