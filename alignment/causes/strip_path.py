"""
The way on which the sections lead the strip sideways, and what its bends ask of the strip.

A strip that followed every face would enter a joint along one section and leave it along the next. Between the two
mid-lengths it is taken as a beam held at both ends in place and direction (a cubic); the sharper of its two end
curvatures, times half the strip's width, is the strain in its edge. Curvature and slope are positive to the right,
looking downstream; a common shift or lean of the string drops out of every curvature.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from alignment.machine.layout import Layout
from alignment.panel.corners import Known
from alignment.train.across import rows_across
from alignment.train.train import Train

__all__ = ["Bend", "Closing", "bends", "closings", "rightward", "steering"]


@dataclass(frozen=True, kw_only=True)
class Bend:
    """Sharpest bend that one joint asks of the strip."""

    upstream: str
    downstream: str
    curvature: Known
    """To the right positive. [1/mm]"""
    strain: Known | None
    """In-plane strain in the strip's edge, without sign; None where the strip's width is not told."""


@dataclass(frozen=True, kw_only=True)
class Closing:
    """Two facing sections: how much narrower the way is at their exit than at their entry. [mm]"""

    left: str
    right: str
    closing: Known
    inward: tuple[Known, Known]
    """Skew of each of the two over its own length, inward positive."""


def rightward(layout: Layout) -> dict[str, int] | None:
    """
    Sign that turns a row's deviations into displacements to the right, looking downstream.

    None where a row does not tell on which side its string hangs.
    """
    sides = {name: row.side for name, row in layout.rows.items() if layout.row_sections(name)}
    if not all(sides.values()):
        return None
    return {name: 1 if side == "left" else -1 for name, side in sides.items()}


def _parts(train: Train, at: int, offset: float, slope: float) -> list[tuple[int, float, float]]:
    """A weighted sum of one section's offset and slope, as weights of its deviations at three places."""
    start, length = float(train.start[at]), float(train.length[at])
    return [
        (at, start + length / 2, offset),
        (at, start, -slope / length),
        (at, start + length, slope / length),
    ]


def _known(train: Train, parts: list[tuple[int, float, float]]) -> Known:
    """A sum of deviations, with every correlation between sections: a step measured at a joint ties its two faces."""
    value, u = train.combine(parts)
    return Known(value=value, u=u)


def bends(train: Train) -> list[Bend]:
    """Bends of all joints between measured neighbours, sharpest first; needs the sides of the strings."""
    signs = rightward(train.layout)
    if signs is None:
        return []
    width = train.layout.strip.width
    found = []
    for row, sign in signs.items():
        members = [i for i, s in enumerate(train.layout.sections) if s.row == row and train.measured[i]]
        for a, b in pairwise(members):
            span = float(train.middle[b] - train.middle[a])
            # end curvatures of a cubic with given ends and slopes, as weights of (offset a, slope a, offset b, slope b)
            entry = sign / span * np.array([-6 / span, -4, 6 / span, -2])
            leave = sign / span * np.array([6 / span, 2, -6 / span, 4])
            both = [_known(train, _parts(train, a, *w[:2]) + _parts(train, b, *w[2:])) for w in (entry, leave)]
            curvature = max(both, key=lambda known: abs(known.value))
            strain = None
            if width is not None:
                strain = Known(value=abs(curvature.value) * width / 2, u=curvature.u * width / 2)
            names = train.layout.sections[a].name, train.layout.sections[b].name
            found.append(Bend(upstream=names[0], downstream=names[1], curvature=curvature, strain=strain))
    return sorted(found, key=lambda bend: -abs(bend.curvature.value))


def steering(train: Train) -> Known | None:
    """
    Mean direction in which the measured sections point, to the right positive, as a slope.

    A string that itself lies askew adds the same to every section that it serves.
    """
    signs = rightward(train.layout)
    if signs is None:
        return None
    members = np.flatnonzero(train.measured)
    share = {i: signs[train.layout.sections[i].row] / len(members) for i in members.tolist()}
    return _known(train, [part for i, slope in share.items() for part in _parts(train, i, 0.0, slope)])


def closings(train: Train) -> list[Closing]:
    """Closing of every pair of facing sections that share at least half of the shorter one's length."""
    signs = rightward(train.layout)
    if signs is None:
        return []
    found = []
    end = train.start + train.length
    for left, right in rows_across(train.layout):
        for i, one in enumerate(train.layout.sections):
            for j, other in enumerate(train.layout.sections):
                if (one.row, other.row) != (left, right) or not (train.measured[i] and train.measured[j]):
                    continue
                shared = float(min(end[i], end[j]) - max(train.start[i], train.start[j]))
                if shared < 0.5 * min(one.length, other.length):
                    continue
                inward = tuple(
                    Known(value=sign * float(train.skew.value[k]), u=float(train.skew.u[k]))
                    for sign, k in ((signs[left], i), (-signs[right], j))
                )
                slopes = signs[left] * shared, -signs[right] * shared
                closing = _known(train, _parts(train, i, 0.0, slopes[0]) + _parts(train, j, 0.0, slopes[1]))
                both = (inward[0], inward[1])
                found.append(Closing(left=one.name, right=other.name, closing=closing, inward=both))
    return sorted(found, key=lambda c: -c.closing.value)
