"""
A four-cornered panel from its lengths: two edges, two widths, two diagonals, or any part of these that tells something.

Seen from above with the strip running along +x: the lead end came out first, left and right are those of a person who
looks downstream. Out-of-square is how much farther downstream the left corner of an end lies than its right corner,
along the mean direction of the two edges.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.fitting import nonlinear
from alignment.quantiles import chi_square_point
from alignment.results import Result

__all__ = ["DIAGONALS", "SIDES", "Corners", "Known", "Slip", "fit_corners"]

Floats = NDArray[np.float64]
SIDES: Final = ("left", "right", "lead", "tail")
DIAGONALS: Final = ("from_left", "from_right")
"""From the lead corner on that edge to the tail corner on the other."""
NAMES: Final = (*SIDES, *DIAGONALS)
LOOSE: Final = 0.01
"""Standard uncertainty of a side that was not measured, as a share of its nominal size (our judgement, no source)."""
FIXED: Final = 5
"""Lengths that fix a quadrilateral."""
FOUND: Final = 0.95
"""A misclosure beyond this point of chi-square is called a slip."""


@dataclass(frozen=True, kw_only=True)
class Known:
    """A number with its standard uncertainty. [mm]"""

    value: float
    u: float


@dataclass(frozen=True, kw_only=True)
class Slip:
    """
    A length that the others contradict.

    Where one length is to spare, the contradiction does not tell which of them slipped. The likeliest is then the one
    without which the panel comes nearest to a rectangle, bent as it sweeps; `alone` is False.
    """

    name: str
    by: float
    """How much longer it was read than the others allow. [mm]"""
    alone: bool
    """Whether the lengths themselves single it out."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Corners(Result):
    """
    What the lengths of a panel tell. None where they do not tell it.

    Attributes
    ----------
    lead, tail : Known
        Out-of-square of each end cut. [mm]
    both : Known
        Mean of the two.
    edges : Known
        Left edge less right edge.
    taper : Known
        Width at the lead end less that at the tail end.
    misclosure : Known
        Diagonal from the left lead corner, less what the other five lengths make it. Only with all six.
    slip : Slip
        Where the lengths contradict one another.
    corners : (4, 2) array
        Tail left, lead left, tail right, lead right; x downstream, y to the right. [mm]
    """

    lead: Known | None = None
    tail: Known | None = None
    both: Known | None = None
    edges: Known | None = None
    taper: Known | None = None
    misclosure: Known | None = None
    slip: Slip | None = None
    corners: Floats | None = None


def _corners(p: Floats) -> Floats:
    """Corners from the five unknowns; the left edge lies along x."""
    return np.array([[0.0, 0.0], [p[0], 0.0], [p[1], p[2]], [p[3], p[4]]])


_BETWEEN: Final = np.array([(0, 1), (2, 3), (1, 3), (0, 2), (1, 2), (3, 0)]).T
"""Corners between which the lengths of `NAMES` are measured."""


def _lengths(p: Floats) -> Floats:
    """Six lengths in the order of `NAMES`."""
    one, other = _corners(p)[_BETWEEN]
    return np.asarray(np.hypot(*(one - other).T))


def _ends(p: Floats) -> tuple[float, float]:
    """Out-of-square of the lead and the tail end."""
    tail_left, lead_left, tail_right, lead_right = _corners(p)
    left, right = lead_left - tail_left, lead_right - tail_right
    axis = left / np.hypot(*left) + right / np.hypot(*right)
    axis /= np.hypot(*axis)
    return float((lead_left - lead_right) @ axis), float((tail_left - tail_right) @ axis)


_SHAPE: Final[dict[str, Callable[[Floats], float]]] = {
    "lead": lambda p: _ends(p)[0],
    "tail": lambda p: _ends(p)[1],
    "both": lambda p: sum(_ends(p)) / 2,
    "edges": lambda p: _lengths(p)[0] - _lengths(p)[1],
    "taper": lambda p: _lengths(p)[2] - _lengths(p)[3],
}


def fit_corners(
    measured: Mapping[str, Sequence[float]],
    *,
    length: float,
    width: float,
    u: float,
    swept: float = 0.0,
) -> Corners:
    """
    Fit the four corners of a panel to the lengths measured on it.

    Parameters
    ----------
    measured : mapping
        By name, `SIDES` and `DIAGONALS`; each one or more readings. [mm]
    length, width : float
        Nominal sizes. With fewer than five of the six lengths they stand in for sides that were not measured, held
        only to within `LOOSE` of their size; what would rest more on them than on what was measured is not reported.
        [mm]
    u : float
        Standard uncertainty of one length. [mm]
    swept : float
        Left edge less right edge that the panel's camber makes; used only to tell which length slipped. [mm]

    Returns
    -------
    Corners
        Five lengths fix the shape, the sixth checks it; both diagonals alone give the mean out-of-square, for a
        parallelogram by ``D1^2 - D2^2 = 4 L W cos(angle)``; without a diagonal nothing is square or out of it.
    """
    if not any(measured.get(name) for name in DIAGONALS):
        return Corners(
            edges=_difference(measured.get("left"), measured.get("right"), u),
            taper=_difference(measured.get("lead"), measured.get("tail"), u),
        )
    nominal = dict(zip(SIDES, (length, length, width, width), strict=True))
    names = [name for name in NAMES for _ in measured.get(name, ())]
    readings = [reading for name in NAMES for reading in measured.get(name, ())]
    # five lengths of the six fix the figure by themselves, and nothing nominal may bend it
    missing = [name for name in SIDES if not measured.get(name)] if len(set(names)) < FIXED else []
    index = [NAMES.index(name) for name in names + missing]
    values = np.array(readings + [nominal[name] for name in missing])
    start = np.array([length, 0.0, width, length, width])

    def solve(share: float, leave: int | None = None) -> nonlinear.Fit:
        us = np.array([u] * len(names) + [share * nominal[name] for name in missing])
        keep = np.arange(len(index)) != (-1 if leave is None else leave)
        at = np.array(index)[keep]
        return nonlinear.fit(lambda p: _lengths(p)[at], start, values[keep], us[keep])

    found = solve(LOOSE)
    exact = solve(1e-6) if missing else found
    spare = len(names) - FIXED if not missing else 0
    slipped = spare > 0 and found.chi2 > float(chi_square_point(spare, FOUND))
    grow = float(np.sqrt(max(found.chi2 / spare, 1.0))) if slipped else 1.0
    told: dict[str, Known] = {}
    for name, function in _SHAPE.items():
        u_all, u_measured = found.u_of(function), exact.u_of(function)
        if u_all**2 <= 2 * u_measured**2:
            told[name] = Known(value=float(function(found.unknowns)), u=grow * u_all)
    misclosure = None
    if len(names) == len(set(names)) == len(NAMES):
        i = names.index("from_left")
        left_over = 1 - found.hat[i]
        misclosure = Known(value=float(found.residual[i] / left_over), u=u / float(np.sqrt(left_over)))
    slip = None
    if slipped:
        strength = np.abs(found.residual) / (u * np.sqrt(np.maximum(1 - found.hat, 1e-12)))
        suspects = np.flatnonzero(strength > 0.99 * strength.max())
        odd = [_oddness(solve(LOOSE, leave=int(i)).unknowns, swept) for i in suspects]
        worst = int(suspects[int(np.argmin(odd))])
        by = float(found.residual[worst] / (1 - found.hat[worst]))
        slip = Slip(name=names[worst], by=by, alone=len({names[i] for i in suspects}) == 1)
    return Corners(**told, misclosure=misclosure, slip=slip, corners=_corners(found.unknowns))


def _oddness(p: Floats, swept: float) -> float:
    """How far a panel is from a rectangle, bent so that its edges differ: sum of squares of what tells it. [mm^2]"""
    bent = {"lead": swept / 2, "tail": -swept / 2, "edges": swept, "taper": 0.0}
    return float(sum((_SHAPE[name](p) - value) ** 2 for name, value in bent.items()))


def _difference(one: Sequence[float] | None, other: Sequence[float] | None, u: float) -> Known | None:
    if not one or not other:
        return None
    value = float(np.mean(one) - np.mean(other))
    return Known(value=value, u=u * float(np.sqrt(1 / len(one) + 1 / len(other))))
