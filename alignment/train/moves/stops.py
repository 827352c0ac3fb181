"""
Where a bolt end can be stopped, and what a section is after it was: levers, and what is known then.

A person swings a loose bolt end until the tape reads the stop, at the point nearest that end. So the deviation at that
point becomes the stop less the target, with the uncertainty of a new reading; at the pivot what was known stays;
tightening then moves the bolt end a little (creep). Deviations and covariances are of a section's two ends, without
what all readings share (the tape's zero): that stays as it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.instruments import Tape
from alignment.machine.layout import Section

__all__ = ["ENDS", "Moved", "best_stop", "grid", "levers", "set_both", "stop_u", "swing", "watch_place"]

Floats = NDArray[np.float64]
ENDS: Final = ("entry", "exit")
SHORTEST: Final = 0.05
"""Share of a section's length that a point has to be away from the pivot to be watched."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Moved:
    """
    A section after a move, for m stops tried at once.

    Attributes
    ----------
    value : (m, 2) array
        Deviation at entry and exit end. [mm]
    covariance : (2, 2) array
        Of these, without what all readings share: the same for every stop. [mm^2]
    move : (m, 2) array
        How far the entry and the exit bolt end go, toward the string positive, by the best estimate. [mm]
    """

    value: Floats
    covariance: Floats
    move: Floats


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
    return np.asarray(kept)


def best_stop(target: float, mark: float) -> float:
    """The mark or halfway nearest to a wanted reading. [mm]"""
    return float(grid(target, mark, 0.0)[0])


def watch_place(section: Section, loosen: int) -> float:
    """Place from the entry end of the point at which a bolt end is watched: that nearest it, away from the pivot."""
    pivot, bolt = section.bolts[1 - loosen], section.bolts[loosen]
    away = [p for p in section.points if abs(p - pivot) >= SHORTEST * section.length] or list(section.points)
    return min(away, key=lambda place: (abs(place - bolt), place))


def stop_u(tape: Tape, reading: float) -> float:
    """Standard uncertainty of the reading at a stop, that of any one reading. [mm]"""
    return float(tape.reading_u(reading))


def _line(section: Section, places: tuple[float, float]) -> Floats:
    """Deviations at both ends (rows) from those at two places (columns), by the straight face."""
    one, other = places
    run = other - one
    return np.array([[(other - x) / run, (x - one) / run] for x in (0.0, section.length)])


def _at(section: Section, place: float) -> Floats:
    """Deviation at a place from those at both ends."""
    share = place / section.length
    return np.array([1 - share, share])


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
    pivot, bolt = section.bolts[1 - loosen], section.bolts[loosen]
    kept, told = _line(section, (pivot, watch_place(section, loosen) if watch is None else watch)).T
    return _at(section, pivot), kept, told, _line(section, (pivot, bolt))[:, 1]


def swing(
    section: Section, value: ArrayLike, covariance: ArrayLike, loosen: int, stop: ArrayLike, *, u: float, creep: float
) -> Moved:
    """
    Swing one bolt end about the other until the watched point shows a stop.

    Parameters
    ----------
    section : Section
        Places are from its entry end.
    value : (2,) array
        Deviation at entry and exit end before. [mm]
    covariance : (2, 2) array
        Of these, without what all readings share. [mm^2]
    loosen : {0, 1}
        Entry or exit bolt end.
    stop : (m,) array
        Stops less the target at the watched point. [mm]
    u : float
        Standard uncertainty of the reading at the stop. [mm]
    creep : float
        Standard uncertainty of what tightening does to the bolt end. [mm]

    Returns
    -------
    Moved
    """
    before, known = np.asarray(value, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    to = np.atleast_1d(np.asarray(stop, dtype=np.float64))
    at_pivot, kept, told, crept = levers(section, loosen)
    after = np.outer(np.full(len(to), at_pivot @ before), kept) + np.outer(to, told)
    spread = (
        (at_pivot @ known @ at_pivot) * np.outer(kept, kept)
        + u**2 * np.outer(told, told)
        + creep**2 * np.outer(crept, crept)
    )
    move = np.zeros((len(to), 2))
    move[:, loosen] = (before - after) @ _at(section, section.bolts[loosen])
    return Moved(value=after, covariance=spread, move=move)


def set_both(section: Section, value: ArrayLike, stops: ArrayLike, *, u: tuple[float, float], creep: float) -> Moved:
    """
    Loosen both bolt ends and set the first and the last point to their stops; see `swing`.

    Parameters
    ----------
    value : (2,) array
        Deviation at entry and exit end before; only the moves depend on it. [mm]
    stops : (m, 2) array
        Stops less the targets at the first and the last point. [mm]
    u : (float, float)
        Standard uncertainty of the readings at the two stops. [mm]
    """
    before, to = np.asarray(value, dtype=np.float64), np.asarray(stops, dtype=np.float64).reshape(-1, 2)
    turn = _line(section, (section.points[0], section.points[-1]))
    after = to @ turn.T
    crept = _line(section, section.bolts)
    spread = turn @ np.diag(np.square(u)) @ turn.T + creep**2 * crept @ crept.T
    move = (before - after) @ np.array([_at(section, bolt) for bolt in section.bolts]).T
    return Moved(value=after, covariance=spread, move=move)
