"""
Where a bolt end can be stopped, and what a section is after it was: levers, and what is known then.

A person swings a loose bolt end until the tape reads the stop, at the point nearest that end. So the deviation at that
point becomes the stop less the target, with the uncertainty of a new reading; at the pivot what was known stays;
tightening then moves the bolt end a little (creep). Deviations and covariances are of a section's two ends, without
what all readings share (the tape's zero): that stays as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.machine.layout import Section

__all__ = ["BOTH", "ENDS", "LEAVE", "LOOSE", "Ways", "at_place", "best_stop", "grid", "levers", "watch_place", "ways"]

Floats = NDArray[np.float64]
ENDS: Final = ("entry", "exit")
LEAVE, BOTH = 0, 3
LOOSE: Final = np.array([(False, False), (True, False), (False, True), (True, True)])
"""Sets of bolt ends that may be loose, entry and exit; `LEAVE` and `BOTH` are the first and the last."""
SHORTEST: Final = 0.05
"""Share of a section's length that a point has to be away from the pivot to be watched."""


@lru_cache
def grid(target: float, mark: float, within: float) -> Floats:
    """
    Stops about a wanted reading: marks of the tape and halfways between them.

    Parameters
    ----------
    target, mark, within : float
        Wanted reading, smallest mark of the tape, and how far from the target stops are of use. [mm]

    Returns
    -------
    (m,) array
        Readings, nearest to the target first; never empty. [mm]
    """
    half = mark / 2
    middle = round(target / half)
    reach = int(np.ceil(within / half)) + 1
    stops = half * np.arange(middle - reach, middle + reach + 1)
    off = np.abs(stops - target)
    # a stop on a mark comes before a halfway one as near
    order = np.lexsort((np.arange(middle - reach, middle + reach + 1) % 2, np.round(off, 6)))
    kept = stops[order][np.round(off[order], 6) <= max(within, half / 2 + 1e-6)]
    kept.setflags(write=False)
    return np.asarray(kept)


def best_stop(target: float, mark: float) -> float:
    """The mark or halfway nearest to a wanted reading. [mm]"""
    return float(grid(target, mark, 0.0)[0])


def watch_place(section: Section, loosen: int) -> float:
    """Place from the entry end of the point at which a bolt end is watched: that nearest it, away from the pivot."""
    pivot, bolt = section.bolts[1 - loosen], section.bolts[loosen]
    away = [p for p in section.points if abs(p - pivot) >= SHORTEST * section.length] or list(section.points)
    return min(away, key=lambda place: (abs(place - bolt), place))


def _line(length: ArrayLike, one: ArrayLike, other: ArrayLike) -> Floats:
    """Deviations at both ends (rows) from those at two places (columns), by the straight face; (..., 2, 2)."""
    to, x, y = (np.asarray(value) for value in (length, one, other))
    return np.asarray(np.array([[y, y - to], [0.0 - x, to - x]]) / (y - x)).T


def at_place(length: ArrayLike, place: ArrayLike) -> Floats:
    """Deviation at a place from those at both ends, (..., 2)."""
    share = np.asarray(place) / np.asarray(length)
    return np.array([1 - share, share]).T


def levers(section: Section, loosen: int, watch: float | None = None) -> tuple[Floats, Floats, Floats, Floats]:
    """
    How one bolt end swings about the other.

    Returns
    -------
    at_pivot : (2,) array
        The deviation at the pivot from those at both ends.
    kept, told, crept : (2,) arrays
        Deviations at both ends from that at the pivot, from that at the watched point, and from what tightening does
        to the bolt end.
    """
    return _levers(section.length, section.bolts, loosen, watch_place(section, loosen) if watch is None else watch)


def _levers(
    length: ArrayLike, bolts: Sequence[ArrayLike], loosen: int, watch: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    """The same of many sections, (..., 2) each."""
    pivot, bolt = bolts[1 - loosen], bolts[loosen]
    told = _line(length, pivot, watch)
    return at_place(length, pivot), told[..., 0], told[..., 1], _line(length, pivot, bolt)[..., 1]


class Ways(NamedTuple):
    """
    What loosening each set of bolt ends makes of n sections; the sets as in `LOOSE`.

    Attributes
    ----------
    kept : (n, 4, 2, 2) array
        Deviations at both ends (rows) from those before.
    told : (n, 4, 2, 2) array
        From the stops at the entry and at the exit bolt end, less the targets there.
    fresh : (n, 4, 2, 2) array
        Covariance of what is new. [mm^2]
    at_bolts : (n, 2, 2) array
        Deviations at the bolt ends from those at both ends.
    """

    kept: Floats
    told: Floats
    fresh: Floats
    at_bolts: Floats

    def after(
        self, i: NDArray[np.int64], kind: NDArray[np.int64], before: Floats, stop: Floats
    ) -> tuple[Floats, Floats]:
        """
        Sections i after moves to stops.

        Parameters
        ----------
        i, kind : (m,) int arrays
            Section and set of bolt ends that are loose.
        before : (n, 2) array
            Deviation at entry and exit end of all sections. [mm]
        stop : (m, 2) array
            Stops less the targets; nothing where a bolt end stays tight. [mm]

        Returns
        -------
        value, move : (m, 2) arrays
            Deviation at both ends, and how far the bolt ends go, toward the string positive, by the best estimate. [mm]
        """
        stays = np.einsum("nkij,nj->nki", self.kept, before)
        value = stays[i, kind] + np.einsum("mij,mj->mi", self.told[i, kind], stop)
        move = np.einsum("mij,mj->mi", self.at_bolts[i], before[i] - value)
        return value, np.where(LOOSE[kind], move, 0.0)


def ways(sections: Sequence[Section], watch: Floats, swing_u: Floats, both_u: Floats, creep: float) -> Ways:
    """
    What may be done with sections: leave them, swing either end about the other, or loosen both.

    Parameters
    ----------
    sections : sequence of Section
    watch : (n, 2) array
        Place from the entry end where the entry, and where the exit end is watched, as of `watch_place`; where both
        are loose, the first and the last point are. [mm]
    swing_u, both_u : (n, 2) arrays
        Standard uncertainty of the reading at a stop where one end, and where both, are loose. [mm]
    creep : float
        Standard uncertainty of what tightening does to a bolt end. [mm]
    """
    length = np.array([s.length for s in sections])
    bolts = [np.array([s.bolts[end] for s in sections]) for end in (0, 1)]
    outer = np.array([(s.points[0], s.points[-1]) for s in sections]).T
    kept, told, fresh = (np.zeros((len(sections), len(LOOSE), 2, 2)) for _ in range(3))
    kept[:, LEAVE] = np.eye(2)
    for end in (0, 1):
        at_pivot, stays, read, crept = _levers(length, bolts, end, watch[:, end])
        kept[:, 1 + end] = _outer(stays, at_pivot)
        told[:, 1 + end, :, end] = read
        fresh[:, 1 + end] = swing_u[:, end, None, None] ** 2 * _outer(read, read) + creep**2 * _outer(crept, crept)
    read, crept = _line(length, *outer), _line(length, *bolts)
    told[:, BOTH] = read
    fresh[:, BOTH] = read * both_u[:, None] ** 2 @ np.swapaxes(read, 1, 2) + creep**2 * crept @ np.swapaxes(crept, 1, 2)
    return Ways(kept, told, fresh, np.stack([at_place(length, bolt) for bolt in bolts], axis=1))


def _outer(rows: Floats, columns: Floats) -> Floats:
    return np.asarray(rows[:, :, None] * columns[:, None])
